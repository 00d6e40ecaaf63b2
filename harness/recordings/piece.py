"""One capture of one attempt, as the roster joins it out of rows of a manifest."""

from __future__ import annotations

from dataclasses import dataclass

from harness.recordings.manifest import Row

__all__ = ["NOBODY", "Piece"]

NOBODY = -1  # attacker of a row that names none


@dataclass(frozen=True, slots=True)
class Piece:
    """One capture of one attempt: where it lies, and whose it is in numbers."""

    row: Row  # the first of its rows
    channels: tuple[str, ...] | None  # None: all that there are
    subject: int
    session: int
    attempt: int
    attacker: int
