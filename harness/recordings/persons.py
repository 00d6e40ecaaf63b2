"""Whom the files themselves say they were recorded from, held against the manifest."""

from __future__ import annotations

from collections.abc import Mapping

from harness.errors import CorpusError
from harness.recordings.edf_header import FREE_TEXT
from harness.recordings.manifest import OWNERS, Row, shown

__all__ = ["Persons"]


class Persons:
    """Fixed facts of each subject, as the headers of the owners' recordings state them."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._known: dict[tuple[str, str], tuple[str, Row]] = {}
        self._labels: dict[tuple[str, str], dict[str, Row]] = {}

    def see(self, row: Row, person: Mapping[str, str]) -> None:
        """Take note of one capture.

        Raises
        ------
        CorpusError
            If its header contradicts an earlier one of the same subject.
        """
        if row.role not in OWNERS:
            return
        for fact, value in person.items():
            known, other = self._known.setdefault((row.subject, fact), (value, row))
            if known != value and fact != FREE_TEXT:
                one, two = sorted([(other.line, known), (row.line, value)])
                raise CorpusError(
                    f"{self._name} lines {one[0]} and {two[0]}, `subject`: the headers of "
                    f"{shown(row.subject)} must state one {fact}, got {shown(one[1])} and {shown(two[1])}"
                )
            self._labels.setdefault((fact, value), {}).setdefault(row.subject, row)

    def shared(self) -> list[str]:
        """One sentence for each code that the headers of several subjects state."""
        return [
            f"{self._name} lines {', '.join(str(row.line) for row in rows.values())}, `subject`: "
            f"the headers of {', '.join(map(shown, rows))} state the same {fact}, {shown(value)}"
            for (fact, value), rows in self._labels.items()
            if len(rows) > 1 and fact in ("patient code", FREE_TEXT)
        ]
