"""Symbols from how a muscle's envelope rises and falls."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from harness.contracts import Array, Capture, Witness
from schemes import gf2
from schemes.conditioning import condition, window_power
from schemes.quantisers.checks import ascending, number, whole_number
from schemes.quantisers.series import NORMAL_MAD

__all__ = ["TrendSymbols"]


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

    units: ClassVar[frozenset[str]] = frozenset({"uV"})

    window_s: float = 0.2
    thresholds: tuple[float, ...] = (-0.674, 0.0, 0.674)
    high_pass_hz: float = 20.0
    mains_hz: float = 50.0
    mains_harmonics: int = 1
    activity_uv: float = 10.0

    def __post_init__(self) -> None:
        ascending("thresholds", self.thresholds, 1, 255)
        for field in ("window_s", "high_pass_hz"):
            number(field, getattr(self, field), positive=True)
        for field in ("mains_hz", "activity_uv"):
            number(field, getattr(self, field), positive=False)
        whole_number("mains_harmonics", self.mains_harmonics, 0)

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
        scale = np.median(np.abs(change), axis=1, keepdims=True) / NORMAL_MAD
        trend = np.divide(change, scale, out=np.zeros_like(change), where=scale > 0)
        mean_square = (power * np.diff(edges)).sum(axis=1) / edges[-1]
        return trend, finite & (np.sqrt(mean_square) >= self.activity_uv)
