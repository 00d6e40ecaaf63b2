"""What else tells attempts apart: day, devices, condition, declared group."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from harness.contracts import DEVICE_A, DEVICE_B
from harness.intake.taken import Taken
from harness.strata import KINDS, owners_label

__all__ = ["Strata", "Stratum"]

NOT_STATED = "not stated"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stratum:
    """One value of one kind, and how much there is of it."""

    kind: str
    value: str
    subjects: int
    sessions: int
    attempts: int


class Strata:
    """Counts of complete attempts by what their owners' rows state."""

    def __init__(self) -> None:
        self._found: dict[tuple[str, str], set[tuple[int, int, int]]] = defaultdict(set)

    def see(self, sitting: Sequence[Taken]) -> None:
        """Take note of the captures of one sitting."""
        own: dict[tuple[int, int, int], dict[str, Taken]] = defaultdict(dict)
        for taken in sitting:
            if taken.role in (DEVICE_A, DEVICE_B):
                own[taken.subject, taken.session, taken.attempt].setdefault(taken.role, taken)
        for key, pair in own.items():
            if len(pair) < 2:
                continue
            a, b = pair[DEVICE_A].strata, pair[DEVICE_B].strata
            for kind in KINDS:
                self._found[kind, owners_label(kind, a, b) or NOT_STATED].add(key)

    def found(self) -> list[Stratum]:
        """By kind; a kind of which nothing is stated is left out."""
        stated = {kind for kind, value in self._found if value != NOT_STATED}
        return [
            Stratum(
                kind=kind,
                value=value,
                subjects=len({key[0] for key in keys}),
                sessions=len({key[:2] for key in keys}),
                attempts=len(keys),
            )
            for kind in KINDS
            for (other, value), keys in sorted(self._found.items())
            if other == kind and kind in stated
        ]
