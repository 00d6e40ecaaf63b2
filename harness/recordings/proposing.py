"""A manifest proposed from the names of files; what names do not say is asked for, never guessed."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from harness.errors import CorpusError, UsageError
from harness.recordings.arrays import DEFAULT_ARRAY, NpzSource
from harness.recordings.edf import EdfSource
from harness.recordings.files import open_below
from harness.recordings.manifest import OPTIONAL, REQUIRED
from harness.recordings.readers import FORMATS
from harness.recordings.reading import open_source
from harness.recordings.tables import CsvSource
from harness.recordings.units import CANONICAL, SAMPLED, factor
from harness.recordings.wfdb_records import WfdbSource

__all__ = ["Pattern", "Proposal", "propose"]

COLUMNS = (*REQUIRED, *OPTIONAL)
MOST_FILES = 200_000
_FIELD = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True, slots=True)
class Proposal:
    """Rows of a manifest, and files that the pattern did not fit."""

    rows: tuple[Mapping[str, str], ...]
    unmatched: tuple[str, ...]
    ambiguous: tuple[str, ...]  # the pattern can be read in two ways


class Pattern:
    """Names with fields in braces, as in ``{subject}_{session}_{attempt}_{role}.csv``.

    A field is one or more characters other than ``/``; a pattern with ``/`` is held against the path
    below the folder, one without against the file's name.

    Raises
    ------
    UsageError
        If a field is no column of a manifest, or nothing stands between two fields.
    """

    def __init__(self, text: str) -> None:
        parts = _FIELD.split(text)
        self.fields = parts[1::2]
        for name in self.fields:
            if name not in COLUMNS or name == "file":
                known = ", ".join(c for c in COLUMNS if c != "file")
                raise UsageError(f"`--pattern` must name columns of a manifest ({known}), got {name!r}")
        if not self.fields or "{" in "".join(parts[::2]) or "}" in "".join(parts[::2]):
            raise UsageError(f"`--pattern` must hold fields such as {{subject}}, got {text!r}")
        if "" in parts[2:-1:2]:
            raise UsageError(f"`--pattern` must have something between two fields, got {text!r}")
        self._whole_path = "/" in text
        self._greedy, self._shy = (re.compile(_expression(parts, count)) for count in ("+", "+?"))

    def match(self, path: str) -> dict[str, str] | None:
        """Return the fields of a path; None if it does not fit.

        Raises
        ------
        ValueError
            If it can be read in two ways.
        """
        name = path if self._whole_path else PurePosixPath(path).name
        one, two = self._greedy.fullmatch(name), self._shy.fullmatch(name)
        if one is None or two is None:
            return None
        if one.groupdict() != two.groupdict():
            raise ValueError(path)
        return one.groupdict()


def _expression(parts: Sequence[str], count: str) -> str:
    seen: set[str] = set()
    made = ""
    for k, part in enumerate(parts):
        if k % 2 == 0:
            made += re.escape(part)
        elif part in seen:
            made += f"(?P={part})"
        else:
            seen.add(part)
            made += f"(?P<{part}>[^/]{count})"
    return made


def propose(folder: Path, pattern: Pattern, stated: Mapping[str, str], *, below: str = "") -> Proposal:
    """Return rows for all recordings below a folder.

    Parameters
    ----------
    folder : Path
    pattern : Pattern
    stated : mapping of column to value
        What holds for all files; a field of the pattern must not be among them.
    below : str
        Where the folder lies below that of the manifest, "" if it is the same.

    Raises
    ------
    UsageError
        If a column is stated that is none, or twice; if a needed one is neither stated, in a name nor in
        the file's own header.
    CorpusError
        If a file that must be looked into is damaged.
    """
    for column in stated:
        if column not in COLUMNS or column == "file":
            raise UsageError(f"`--set` must name a column of a manifest, got {column!r}")
        if column in pattern.fields:
            raise UsageError(f"{column!r} must be given by the pattern or by an option, got both")
    rows, unmatched, ambiguous = [], [], []
    for path in _recordings(folder):
        try:
            found = pattern.match(path)
        except ValueError:
            ambiguous.append(path)
            continue
        if found is None:
            unmatched.append(path)
            continue
        row = {**stated, **found}
        missing = [c for c in ("subject", "session", "attempt", "role", "signal") if not row.get(c)]
        if missing:
            raise UsageError(
                f"every row needs its {missing[0]}, which neither the pattern nor an option gives; "
                f"put {{{missing[0]}}} into the pattern, or add --set {missing[0]}=..."
            )
        cells = {**row, **_looked_up(folder, path, row)}
        rows.append({"file": f"{below}/{path}" if below else path, **cells})
    return Proposal(tuple(rows), tuple(unmatched), tuple(ambiguous))


def _recordings(folder: Path) -> Iterator[str]:
    """Paths of the files of known kinds, sorted; links to folders are not followed."""
    found = []
    for path in folder.rglob("*"):
        if path.suffix.lower() in FORMATS and path.name != "manifest.csv" and path.is_file():
            found.append(path.relative_to(folder).as_posix())
            if len(found) > MOST_FILES:
                raise UsageError(f"{folder.name} must hold at most {MOST_FILES} recordings, got more")
    return iter(sorted(found))


def _looked_up(folder: Path, path: str, row: Mapping[str, str]) -> dict[str, str]:
    """Cells that the file itself gives, or a complaint that nobody gives them."""
    kind = FORMATS[PurePosixPath(path).suffix.lower()]
    signal = row["signal"]
    found: dict[str, str] = {}
    if not kind.header and not row.get("unit"):
        raise UsageError(f"{path} states no unit, and none is guessed; add --unit, as in --unit uV")
    events = signal not in SAMPLED
    if kind.numbered and not row.get("rate_hz") and not events:
        raise UsageError(f"{path} states no rate; add --rate, in hertz")
    looks = kind.header or kind.numbered or (not row.get("rate_hz") and not events)
    if not looks:
        return found
    try:
        with open_below(folder.resolve(), path) as handle:
            source = open_source(folder.resolve(), path, handle)
            if isinstance(source, NpzSource):
                found |= _array(path, source, row)
            elif isinstance(source, EdfSource | WfdbSource):
                _check_units(path, source, row)
            elif isinstance(source, CsvSource) and source.read(None, None).time_s is None:
                raise UsageError(f"{path} has no column time_s to give a rate; add --rate, in hertz")
    except CorpusError as error:
        raise CorpusError(f"{path} {error}") from None
    return found


def _array(path: str, source: NpzSource, row: Mapping[str, str]) -> dict[str, str]:
    names = source.arrays
    wanted = row.get("array") or DEFAULT_ARRAY
    if wanted in names:
        return {}
    if len(names) == 1 and not row.get("array"):
        return {"array": names[0]}
    told = ", ".join(names[:8])
    raise UsageError(f"{path} must hold an array {wanted!r}, got {told}; add --set array=NAME")


def _check_units(path: str, source: EdfSource | WfdbSource, row: Mapping[str, str]) -> None:
    """A header's unit is taken if it is known; a signal that we do not know needs a stated one."""
    if row.get("unit"):
        return
    signal = row["signal"]
    if signal not in CANONICAL:
        raise UsageError(f"{path}: the unit of {signal!r} must be stated; add --unit")
    for name, unit in zip(source.names, source.units, strict=True):
        if row.get("channel") in (None, "", name):
            try:
                factor(signal, unit, None)
            except CorpusError as error:
                raise UsageError(f"{path}, channel {name!a} {error}; or add --unit") from None
