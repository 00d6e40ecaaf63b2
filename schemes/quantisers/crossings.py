"""Symbols from where a windowed number crosses a level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array, Capture, Witness
from schemes import gf2
from schemes.quantisers.checks import choice, finite, whole_number
from schemes.quantisers.series import Series, standardised

__all__ = ["LevelCrossings"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCrossings(Series):
    """Where, or how long after one another, a standardised windowed number crosses `level`.

    A symbol is given `steps` windows of time. `edges` counts crossings "up" only, or "both" ways. `read`
    says what becomes of them:

    "slots"
        Bit i tells whether there is a crossing in the i-th slot of `steps` windows. These are at the
        same time the membership bits of a feature set over a universe of slots: one short slot an
        element, for sketches of sets. The set is as large as there are crossings, and that number is
        no secret.
    "gaps"
        Symbol i is the number of windows from crossing i to crossing i + 1, 1 to 2^bits, Gray-coded, the
        last standing for longer ones too. One crossing that one device misses shifts all later symbols. An
        attempt with fewer crossings than symbols in its time is not acquired.

    The features are how far the numbers go beyond the level on the nearer side, negative without a
    crossing and 0 for a mere touch, or the lengths of the gaps.

    Keys from where a shared fading signal crosses levels: Mathur et al., ACM MobiCom 2008 (from memory);
    there excursions beyond two levels, agreed on by messages.
    """

    window_s: float = 0.1
    level: float = 0.0
    steps: int = 2
    edges_counted: str = "both"
    read: str = "slots"
    bits: int = 2

    def __post_init__(self) -> None:
        self.check()
        finite("level", self.level)
        whole_number("steps", self.steps, 1)
        whole_number("bits", self.bits, 1, 8)
        choice("edges_counted", self.edges_counted, ("both", "up"))
        choice("read", self.read, ("slots", "gaps"))

    @property
    def labels(self) -> Array:
        """One bit a slot, or a Gray code of the gap."""
        bits = self.bits if self.read == "gaps" else 1
        return gf2.gray(2**bits, bits)

    def quantise(self, capture: Capture, count: int) -> Witness:
        """Symbols (attempts, count); features (attempts, count, 1)."""
        numbers, acquired = self.numbers(capture, count * self.steps + 1)
        beyond = standardised(numbers) - self.level
        before, after = beyond[:, :-1], beyond[:, 1:]
        crossed = (before < 0) & (after >= 0)
        reach = np.minimum(-before, after)
        if self.edges_counted == "both":
            crossed |= (before >= 0) & (after < 0)
            reach = np.maximum(reach, np.minimum(before, -after))
        if self.read == "gaps":
            features, enough = _gaps(crossed, count)
            symbols, acquired = np.clip(features - 1, 0, 2**self.bits - 1), acquired & enough
        else:
            symbols = crossed.reshape(-1, count, self.steps).any(axis=2)
            features = reach.reshape(-1, count, self.steps).max(axis=2)
        return Witness(
            symbols=symbols.astype(np.uint8),
            alphabet=len(self.labels),
            acquired=acquired,
            features=features[..., None].astype(np.float64),
        )

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) the windows' length."""
        return self.lasting(capture, count * self.steps + 1)


def _gaps(crossed: Array, count: int) -> tuple[Array, Array]:
    """(attempts, count) windows between the first crossings, 0 beyond the last; and were there enough."""
    # stable: crossings first, in order of time
    place = np.argsort(~crossed, axis=1, kind="stable")[:, : count + 1]
    there = np.take_along_axis(crossed, place, axis=1)
    if place.shape[1] <= count:
        short = count + 1 - place.shape[1]
        place, there = (np.pad(x, ((0, 0), (0, short))) for x in (place, there))
    return np.where(there[:, 1:], np.diff(place, axis=1), 0), np.asarray(there.all(axis=1))
