"""Symbols from the level of a windowed number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from harness.contracts import Array, Capture, Witness
from schemes import gf2
from schemes.quantisers.checks import choice, finite, number, whole_number
from schemes.quantisers.series import Series, standardised

__all__ = ["EvenSteps", "LevelSymbols"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelSymbols(Series):
    """Which of `levels` equiprobable cells a windowed number falls into, Gray-coded.

    `cells` says of what the cells are equiprobable:

    "gaussian"
        Of a normal variable with `mean` and `deviation`, given in advance in the unit of the number.
    "attempt"
        Of a normal variable with the attempt's own median and robust deviation. Two numbers of the
        attempt go into that, so its symbols are weakly dependent.
    "ranks"
        Of the attempt's own numbers: every level comes as often as every other, by force, and equal
        numbers go by time. Knowing all symbols but one gives that one. With m symbols of a levels, of
        numbers that come in every order alike, an attempt has log2(m! / ((m/a)!)^a) bits instead of
        m log2(a): 253.4 of 264 for 132 symbols of 4 levels. One number that two devices
        rank differently moves others with it.

    The features are standardised numbers, or normal scores of the ranks; cells end at the same places.

    Quantising a Gaussian feature into equiprobable cells follows Linnartz and Tuyls, AVBPA 2003
    (from memory).
    """

    levels: int = 4
    cells: str = "attempt"
    mean: float = 0.0
    deviation: float = 1.0

    def __post_init__(self) -> None:
        self.check()
        whole_number("levels", self.levels, 2, 256)
        choice("cells", self.cells, ("gaussian", "attempt", "ranks"))
        number("deviation", self.deviation, positive=True)
        finite("mean", self.mean)

    @property
    def labels(self) -> Array:
        """Gray code: neighbouring levels differ in one bit."""
        return gf2.gray(self.levels, (self.levels - 1).bit_length())

    def quantise(self, capture: Capture, count: int) -> Witness:
        """Symbols (attempts, count), 0 the lowest level; features (attempts, count, 1)."""
        numbers, acquired = self.numbers(capture, count)
        if self.cells == "ranks":
            order = np.argsort(np.argsort(numbers, axis=1, kind="stable"), axis=1)
            features = ndtri((order + 0.5) / count)
            symbols = order * self.levels // count
        else:
            features = (
                (numbers - self.mean) / self.deviation
                if self.cells == "gaussian"
                else standardised(numbers)
            )
            cuts = ndtri(np.arange(1, self.levels) / self.levels)
            symbols = np.searchsorted(cuts, features, side="right")
        return Witness(
            symbols=symbols.astype(np.uint8),
            alphabet=self.levels,
            acquired=acquired,
            features=features[..., None],
        )

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) the windows' length."""
        return self.lasting(capture, count)


@dataclass(frozen=True, slots=True, kw_only=True)
class EvenSteps(Series):
    """Multi-level Gray code: a standardised windowed number in 2^bits even steps, the outer ones open.

    Steps of `step` robust deviations, as many below the attempt's median as above. The steps are not
    equally likely: of a normal variable, 2 bits at a step of 1 give .16, .34, .34, .16, which is 1.90 bits.
    A finer step spreads the middle and fills the ends.

    Several bits of one measurement under a Gray code: Jana et al., ACM MobiCom 2009 (from memory).
    """

    bits: int = 2
    step: float = 1.0

    def __post_init__(self) -> None:
        self.check()
        whole_number("bits", self.bits, 1, 8)
        number("step", self.step, positive=True)

    @property
    def labels(self) -> Array:
        """Gray code: neighbouring steps differ in one bit."""
        return gf2.gray(2**self.bits, self.bits)

    def quantise(self, capture: Capture, count: int) -> Witness:
        """Symbols (attempts, count), 0 the lowest step; features (attempts, count, 1) in steps."""
        numbers, acquired = self.numbers(capture, count)
        features = standardised(numbers) / self.step
        half = 2 ** (self.bits - 1)
        symbols = np.clip(np.floor(features), -half, half - 1) + half
        return Witness(
            symbols=symbols.astype(np.uint8),
            alphabet=2**self.bits,
            acquired=acquired,
            features=features[..., None],
        )

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) the windows' length."""
        return self.lasting(capture, count)
