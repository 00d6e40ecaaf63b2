"""A recorded corpus read as far as is honest: what is damaged is left out and said."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from harness.errors import CorpusError
from harness.intake.taken import Taken
from harness.recordings.corpus import RecordedCorpus
from harness.recordings.manifest import Row, each_row
from harness.recordings.opening import assembled, read_manifest
from harness.recordings.persons import Persons
from harness.recordings.piece import Piece
from harness.recordings.pieces import Cut
from harness.recordings.plausible import Plausible
from harness.recordings.rows import RowsError

__all__ = ["Lenient"]

MOST_CONTRADICTIONS = 200
MOST = 1e30  # larger values overflow when they are squared or stored with fewer digits


class Lenient:
    """What can be used of a manifest and its files, with one sentence for each thing that cannot.

    Raises
    ------
    CorpusError
        If the manifest cannot be read at all, or nothing of it can be used.
    """

    def __init__(self, path: str | Path) -> None:
        folder, self.label, raw = read_manifest(path)
        self.complaints: list[str] = []
        rows = []
        for found in each_row(raw, name=self.label):
            if isinstance(found, CorpusError):
                self.complaints.append(str(found))
            else:
                rows.append(found)
        self.corpus = self._usable(folder, raw, rows)
        self._shapes: dict[str, tuple[Row, int, float | None]] = {}
        self._persons = Persons(self.label)
        self._plausible = Plausible(self.label)

    def _usable(self, folder: Path, raw: bytes, rows: list[Row]) -> RecordedCorpus:
        """Rows that contradict earlier ones are left out, one after the other."""
        for _ in range(MOST_CONTRADICTIONS):
            try:
                return assembled(folder, self.label, raw, rows)
            except RowsError as error:
                self.complaints.append(str(error))
                rows = [row for row in rows if row.line != error.lines[-1]]
            except CorpusError as error:
                first = f"; its first violation: {self.complaints[0]}" if self.complaints else ""
                raise CorpusError(f"{error}{first}") from None
        raise CorpusError(
            f"{self.label}: must have at most {MOST_CONTRADICTIONS} rows that contradict others, got more; "
            f"the first: {self.complaints[0]}"
        )

    def sittings(self) -> Iterator[list[Taken]]:
        """Yield the usable captures of every sitting; afterwards `complaints` are complete."""
        for key, cuts in self.corpus.cuts():
            found = []
            for piece, made in cuts:
                if isinstance(made, CorpusError):
                    self._complain(str(made))
                elif self._fits(piece, made) and key is not None:
                    found.append(_taken(piece, made))
            if key is not None:
                yield found
        for sentence in (*self._plausible.complaints(), *self._persons.shared()):
            self._complain(sentence)

    def _complain(self, sentence: str) -> None:
        if sentence not in self.complaints:
            self.complaints.append(sentence)

    def _fits(self, piece: Piece, made: Cut) -> bool:
        """Is it like the other captures of its stream, and of the person it is said to be of?"""
        row, shape = piece.row, (len(made.samples), made.rate_hz)
        most = float(np.nanmax(np.abs(made.samples)))
        if most > MOST:
            self._complain(
                f"{self.label} line {row.line}: {row.file} must hold values below {MOST:g}, got {most:g}"
            )
            return False
        other, *first = self._shapes.setdefault(row.stream, (row, *shape))
        if (first[0], first[1]) != shape:
            self._complain(
                f"{self.label} lines {other.line} and {row.line}: all of {row.stream} must have one number "
                f"of channels and one rate in hertz, got {first[0]} at {first[1]} and "
                f"{shape[0]} at {shape[1]}"
            )
            return False
        try:
            self._persons.see(row, made.person)
        except CorpusError as error:
            self._complain(str(error))
            return False
        self._plausible.see(row, made.samples)
        return True


def _taken(piece: Piece, made: Cut) -> Taken:
    row = piece.row
    strata = {
        "day": row.day,
        "device": row.device,
        "condition": row.condition,
        "group": row.group,
    }
    return Taken(
        role=row.role,
        signal=row.signal,
        unit=row.canonical_unit,
        subject=piece.subject,
        session=piece.session,
        attempt=piece.attempt,
        attacker=piece.attacker,
        samples=made.samples,
        rate_hz=made.rate_hz,
        effective_hz=made.effective_hz,
        limits=made.limits,
        line=row.line,
        origin=(row.file, row.array or ""),
        start_s=made.start_s,
        strata={name: str(value) for name, value in strata.items() if value is not None},
    )
