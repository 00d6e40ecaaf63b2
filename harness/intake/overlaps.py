"""Attempts that were cut from the same stretch of one recording."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

from harness.contracts import DEVICE_A, DEVICE_B
from harness.intake.taken import Taken

__all__ = ["Overlaps"]

_TOLERANCE_S = 1e-6


class Overlaps:
    """Where the owners' captures lie in their recordings; two attempts must not share samples."""

    def __init__(self) -> None:
        self._cuts: dict[tuple[object, ...], list[tuple[float, float, str]]] = defaultdict(list)

    def see(self, taken: Taken) -> None:
        """Take note of one capture; one of no rate has no place in time."""
        if taken.role in (DEVICE_A, DEVICE_B) and taken.origin is not None and taken.rate_hz is not None:
            key = (*taken.origin, taken.role, taken.signal)
            self._cuts[key].append((taken.start_s, taken.start_s + taken.seconds, taken.place))

    def found(self) -> list[tuple[str, str, float]]:
        """Pairs of places, and the seconds that they share; each capture with the next one only."""
        shared = []
        for cuts in self._cuts.values():
            ordered = sorted(cuts)
            for (_, stop, one), (start, end, two) in pairwise(ordered):
                common = min(stop, end) - start
                if common > _TOLERANCE_S:
                    shared.append((one, two, common))
        return shared
