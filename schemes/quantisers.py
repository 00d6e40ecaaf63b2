"""From a capture to witness symbols."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from numbers import Integral, Real
from typing import Protocol, runtime_checkable

import numpy as np

from harness.contracts import Array, Capture, Witness
from schemes import gf2
from schemes.conditioning import condition, window_power

__all__ = ["IntervalBits", "Quantiser", "TrendSymbols"]

_NORMAL_MAD = 0.6744897501960817  # median of |x| for a standard normal x


@runtime_checkable
class Quantiser(Protocol):
    """Turns every attempt of a capture into `count` symbols, whatever the capture's length."""

    @property
    def labels(self) -> Array:
        """(alphabet, bits) uint8: symbol -> witness bits."""
        ...

    def quantise(self, capture: Capture, count: int) -> Witness: ...

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) seconds of the capture that `count` symbols need."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendSymbols:
    """How much the muscle envelope rises or falls from window to window, cut into ordered symbols.

    From the start of the attempt, windows of `window_s` seconds give the log of the mean square
    over all channels; successive differences, divided by their median absolute value (scaled so
    that a normal variable has deviation 1), are cut at `thresholds`.

    That scale makes half of an attempt's differences lie beyond ±0.674, so with the thresholds
    (-0.674, 0, 0.674) an attempt has as many outer as inner symbols: symbols are not independent.

    An attempt is acquired if it covers all windows without a gap and its conditioned root mean
    square over them reaches `activity_uv`. Below that the symbols are given all the same.
    """

    window_s: float = 0.2
    thresholds: tuple[float, ...] = (-0.674, 0.0, 0.674)
    high_pass_hz: float = 20.0
    mains_hz: float = 50.0
    mains_harmonics: int = 1
    activity_uv: float = 10.0

    def __post_init__(self) -> None:
        cuts = self.thresholds
        ascending = all(isinstance(cut, Real) for cut in cuts) and all(a < b for a, b in pairwise(cuts))
        if not 1 <= len(cuts) <= 255 or not ascending or not all(map(math.isfinite, cuts)):
            raise ValueError(f"`thresholds` must be 1 to 255 finite, ascending numbers, got {cuts}")
        for field in ("window_s", "high_pass_hz"):
            _require_number(field, getattr(self, field), positive=True)
        for field in ("mains_hz", "activity_uv"):
            _require_number(field, getattr(self, field), positive=False)
        if not isinstance(self.mains_harmonics, Integral) or self.mains_harmonics < 0:
            raise ValueError(
                f"`mains_harmonics` must be a whole number of 0 or more, got {self.mains_harmonics!r}"
            )

    @property
    def labels(self) -> Array:
        """Gray code: neighbouring symbols differ in one bit."""
        alphabet = len(self.thresholds) + 1
        return gf2.gray(alphabet, (alphabet - 1).bit_length())

    def quantise(self, capture: Capture, count: int) -> Witness:
        """Symbols (attempts, count), with the scaled differences as their features.

        Raises
        ------
        ValueError
            If the capture has no rate or is not in uV, or a window is shorter than two samples.
        """
        rate = capture.rate_hz
        if rate is None or capture.unit != "uV":
            got = f"{rate} Hz and {capture.unit!r}"
            raise ValueError(
                f"an envelope needs a capture with a sampling rate and the unit 'uV', got {got}"
            )
        if self.window_s * rate < 2:
            raise ValueError(f"`window_s` must cover two samples at {rate:g} Hz, got {self.window_s:g} s")
        edges = np.rint(np.arange(count + 2) * (self.window_s * rate)).astype(np.int64)
        attempts = len(capture.samples)
        trend = np.zeros((attempts, count))
        acquired = np.zeros(attempts, np.bool_)
        # rows are cut to one length first: a filter's end effect must not depend on the batch
        samples = capture.samples[..., : edges[-1]]
        whole = np.isfinite(samples).all(axis=(1, 2))
        if samples.shape[-1] == edges[-1] and whole.any():
            trend[whole], acquired[whole] = self._trend(samples[whole], rate, edges)
        symbols = np.searchsorted(self.thresholds, trend, side="right").astype(np.uint8)
        return Witness(
            symbols=symbols, alphabet=len(self.thresholds) + 1, acquired=acquired, features=trend[..., None]
        )

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) the windows that `count` differences lie between."""
        rate = capture.rate_hz or math.nan
        last = np.rint((count + 1) * (self.window_s * rate))
        return np.full(len(capture.samples), last / rate)

    def _trend(self, samples: Array, rate_hz: float, edges: Array) -> tuple[Array, Array]:
        filtered = condition(
            samples,
            rate_hz,
            high_pass_hz=self.high_pass_hz,
            mains_hz=self.mains_hz,
            mains_harmonics=self.mains_harmonics,
        )
        power = window_power(filtered, edges).mean(axis=1)  # (attempts, windows), over channels
        finite = np.isfinite(power).all(axis=1)
        power[~finite] = 0.0
        change = np.diff(np.log(np.maximum(power, np.finfo(float).tiny)), axis=1)
        scale = np.median(np.abs(change), axis=1, keepdims=True) / _NORMAL_MAD
        trend = np.divide(change, scale, out=np.zeros_like(change), where=scale > 0)
        mean_square = (power * np.diff(edges)).sum(axis=1) / edges[-1]
        return trend, finite & (np.sqrt(mean_square) >= self.activity_uv)


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalBits:
    """Chosen Gray bits of heartbeat intervals, counted in cells.

    An interval is ⌊interval / cell⌋ modulo 2^(highest kept bit + 1), Gray-coded; of that label the
    bits `kept` (0 = finest) make the symbol. The finest bit is the first that two sensors of one
    heart disagree on, the coarsest are the first that a camera sees.

    An attempt is acquired if it has enough intervals, all of them between `plausible_s`.
    """

    cell_s: float = 0.004
    kept: tuple[int, ...] = (1, 2, 3, 4)
    plausible_s: tuple[float, float] = (0.3, 2.0)

    def __post_init__(self) -> None:
        _require_number("cell_s", self.cell_s, positive=True)
        kept = self.kept
        whole = all(isinstance(bit, Integral) for bit in kept)
        if not whole or not 1 <= len(kept) <= 8 or list(kept) != sorted({b for b in kept if 0 <= b <= 30}):
            raise ValueError(f"`kept` must be 1 to 8 ascending bit numbers from 0 to 30, got {kept}")
        for bound in self.plausible_s:
            _require_number("plausible_s", bound, positive=True)
        if len(self.plausible_s) != 2 or not self.plausible_s[0] < self.plausible_s[1]:
            raise ValueError(f"`plausible_s` must be two ascending numbers, got {self.plausible_s}")

    @property
    def labels(self) -> Array:
        """Gray code: with consecutive bits kept, neighbours differ in one bit, also where they wrap."""
        return gf2.gray(2 ** len(self.kept), len(self.kept))

    def quantise(self, capture: Capture, count: int) -> Witness:
        """Symbols (attempts, count) of the first `count` intervals, with the intervals as features.

        Raises
        ------
        ValueError
            If the capture is not an event series in seconds.
        """
        if capture.rate_hz is not None or capture.unit != "s":
            got = f"{capture.rate_hz} Hz and {capture.unit!r}"
            raise ValueError(
                f"intervals need a capture without a sampling rate, in the unit 's', got {got}"
            )
        events = capture.samples[:, 0, :count]
        intervals = np.zeros((len(events), count))
        intervals[:, : events.shape[1]] = np.nan_to_num(events, posinf=0.0, neginf=0.0)
        low, high = self.plausible_s
        acquired: Array = np.all((intervals >= low) & (intervals <= high), axis=1)
        cells = np.floor(np.clip(intervals, 0.0, high) / self.cell_s).astype(np.int64)
        cells %= 2 << self.kept[-1]
        gray = cells ^ (cells >> 1)
        symbols = np.zeros_like(gray)
        bit = np.zeros_like(gray)
        for kept in reversed(self.kept):  # undo the Gray code, so that symbols are ordered as the cells are
            bit ^= gray >> kept & 1
            symbols = symbols << 1 | bit
        return Witness(
            symbols=symbols.astype(np.uint8),
            alphabet=2 ** len(self.kept),
            acquired=acquired,
            features=intervals[..., None],
        )

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) how long the first `count` intervals last."""
        return np.asarray(np.nansum(capture.samples[:, 0, :count], axis=1))


def _require_number(field: str, value: object, *, positive: bool) -> None:
    if not isinstance(value, Real) or not math.isfinite(value) or value < 0 or (positive and value == 0):
        expected = "positive" if positive else "0 or more"
        raise ValueError(f"`{field}` must be {expected} and finite, got {value!r}")
