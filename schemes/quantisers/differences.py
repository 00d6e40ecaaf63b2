"""Bits from which of two windows is the stronger."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array, Capture, Witness
from harness.streams import stream
from schemes.quantisers.checks import choice, whole_number
from schemes.quantisers.series import Series

__all__ = ["DifferenceSigns"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DifferenceSigns(Series):
    """The sign of the difference of two windowed numbers; 1 where the later, or second, is the greater.

    `pairs` says which two make bit i:

    "neighbours"
        Windows i and i + 1. Each window serves two bits, so of independent numbers neighbouring bits
        agree with probability 1/3: they have 1/6 for three of one direction, not 1/4.
    "disjoint"
        Windows 2i and 2i + 1: independent numbers give independent bits, for twice the time.
    "random"
        As many windows, no window twice, paired at random by the public `seed`: a slow drift that makes
        neighbours alike is averaged out.

    The features are the differences, whose sign is the bit.

    A bit from the order of two measurements is robust against gain and needs no threshold; random pairs
    follow ring-oscillator fingerprints, Suh and Devadas, DAC 2007 (from memory).
    """

    pairs: str = "neighbours"
    seed: int = 0

    def __post_init__(self) -> None:
        self.check()
        choice("pairs", self.pairs, ("neighbours", "disjoint", "random"))
        whole_number("seed", self.seed, 0)

    @property
    def labels(self) -> Array:
        """One bit a symbol."""
        return np.array([[0], [1]], np.uint8)

    def quantise(self, capture: Capture, count: int) -> Witness:
        """Symbols (attempts, count) of 0 and 1; features (attempts, count, 1)."""
        numbers, acquired = self.numbers(capture, self._windows(count))
        first, second = self._pairs(count)
        difference = numbers[:, second] - numbers[:, first]
        return Witness(
            symbols=(difference > 0).astype(np.uint8),
            alphabet=2,
            acquired=acquired,
            features=difference[..., None],
        )

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) the windows' length."""
        return self.lasting(capture, self._windows(count))

    def _windows(self, count: int) -> int:
        return count + 1 if self.pairs == "neighbours" else 2 * count

    def _pairs(self, count: int) -> tuple[Array, Array]:
        if self.pairs == "neighbours":
            return np.arange(count), np.arange(1, count + 1)
        order = np.arange(2 * count)
        if self.pairs == "random":
            order = stream(self.seed, "pairs of windows", count).permutation(order)
        return order[::2], order[1::2]
