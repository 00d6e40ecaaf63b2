"""Rows of a manifest that contradict each other."""

from __future__ import annotations

from collections.abc import Sequence

from harness.errors import CorpusError
from harness.recordings.manifest import Row, shown

__all__ = ["RowsError", "check_streams", "refuse", "same_for_subject"]


class RowsError(CorpusError):
    """Two rows that cannot both stand; `lines` are theirs, the later one last."""

    def __init__(self, message: str, lines: tuple[int, int]) -> None:
        super().__init__(message)
        self.lines = lines

    def __reduce__(self) -> tuple[type[RowsError], tuple[str, tuple[int, int]]]:
        return RowsError, (str(self), self.lines)


def refuse(name: str, one: Row, two: Row, column: str, text: str) -> RowsError:
    """Return the error for two rows: the manifest's name, both lines, the column, what is wrong."""
    where = f", `{column}`" if column else ""
    return RowsError(f"{name} lines {one.line} and {two.line}{where}: {text}", (one.line, two.line))


def check_streams(rows: Sequence[Row], name: str) -> None:
    """Refuse a stream whose rate or unit changes: its captures could not stand in one array."""
    units: dict[str, Row] = {}
    rates: dict[str, Row] = {}
    for row in rows:
        other = units.setdefault(row.stream, row)
        one, two = (k.canonical_unit for k in (other, row))
        if one != two:
            text = f"must be one unit for all of {row.stream}, got {shown(one)} and {shown(two)}"
            raise refuse(name, other, row, "unit", text)
        if row.rate_hz is not None:
            other = rates.setdefault(row.stream, row)
            if other.rate_hz != row.rate_hz:
                text = f"must be one rate for all of {row.stream}, got {other.rate_hz:g} and"
                raise refuse(
                    name, other, row, "rate_hz", f"{text} {row.rate_hz:g}; name another sensor apart"
                )


def same_for_subject(rows: Sequence[Row], name: str) -> None:
    """Refuse a subject who belongs to two declared groups."""
    first: dict[str, Row] = {}
    for row in rows:
        other = first.setdefault(row.subject, row)
        if other.group != row.group:
            text = f"must be one group for subject {shown(row.subject)}, got {shown(other.group or '')} and"
            raise refuse(name, other, row, "group", f"{text} {shown(row.group or '')}")
