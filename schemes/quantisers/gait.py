"""Bits from how each cycle of walking departs from the mean cycle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from harness.contracts import Array, Capture, Witness
from schemes.conditioning import band_passed
from schemes.quantisers.checks import ascending, number, whole_number
from schemes.quantisers.series import magnitude

__all__ = ["GaitDeviation", "cycle_length"]

_POINTS = 10  # a part of a cycle is read at so many points


@dataclass(frozen=True, slots=True, kw_only=True)
class GaitDeviation:
    """Is each part of each walking cycle above or below the same part of the attempt's mean cycle?

    The magnitude of acceleration, band-passed between `band_hz`, is cut into cycles of one length, two
    steps, from the start of the attempt. That length is where the autocorrelation is highest within
    `cycle_s`, which each device finds for itself. Every cycle is cut into `parts`; a bit is the sign of a
    part's mean less that of the mean cycle. So the parts of one place sum to 0 over an attempt.

    Steps that come early or late move the whole wave, and that is most of what the bits tell: a cycle's
    parts follow from one another, and a cycle mostly repeats the one before. An attempt has far fewer
    bits of entropy than symbols.

    An attempt is acquired if it lasts as many of the longest cycles as the bits need, without a gap, and
    the band-passed root mean square reaches `activity` and the autocorrelation at the cycle `regular`.

    Bits from the deviation from the mean gait cycle follow Schürmann, Brüsch, Sigg and Wolf, IEEE PerCom
    2017 (from memory: 0.5 to 12 Hz and four bits a cycle); one cycle length for all of an attempt, and
    what an attempt must show to be acquired, are assumptions.
    """

    units: ClassVar[frozenset[str]] = frozenset({"g"})

    parts: int = 4
    band_hz: tuple[float, float] = (0.5, 12.0)
    cycle_s: tuple[float, float] = (0.8, 1.35)
    activity: float = 0.02
    regular: float = 0.2

    def __post_init__(self) -> None:
        whole_number("parts", self.parts, 1, 64)
        for field in ("band_hz", "cycle_s"):
            ascending(field, getattr(self, field))
            number(field, getattr(self, field)[0], positive=True)
        number("activity", self.activity, positive=True)
        number("regular", self.regular, positive=False)

    @property
    def labels(self) -> Array:
        """One bit a symbol."""
        return np.array([[0], [1]], np.uint8)

    def quantise(self, capture: Capture, count: int) -> Witness:
        """Symbols (attempts, count) of 0 and 1; features (attempts, count, 1) in g.

        Raises
        ------
        ValueError
            If the capture is not in g with a sampling rate that the band fits.
        """
        length = self._length(capture, count)
        attempts = len(capture.samples)
        features, acquired = np.zeros((attempts, count)), np.zeros(attempts, np.bool_)
        samples = capture.samples[..., :length]
        whole = np.isfinite(samples).all(axis=(1, 2))
        if samples.shape[-1] == length and whole.any():
            features[whole], acquired[whole] = self._deviations(samples[whole], capture, count)
        return Witness(
            symbols=(features > 0).astype(np.uint8),
            alphabet=2,
            acquired=acquired,
            features=features[..., None],
        )

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) as many of the longest cycles as the bits need."""
        rate = capture.rate_hz or 1.0
        return np.full(len(capture.samples), self._length(capture, count) / rate)

    def _length(self, capture: Capture, count: int) -> int:
        rate = capture.rate_hz
        if rate is None or capture.unit != "g":
            raise ValueError(
                f"walking needs a capture in 'g' with a sampling rate, got {rate} Hz and {capture.unit!r}"
            )
        return int(np.ceil(self._cycles(count) * self.cycle_s[1] * rate)) + 1

    def _cycles(self, count: int) -> int:
        return -(-count // self.parts)

    def _deviations(self, samples: Array, capture: Capture, count: int) -> tuple[Array, Array]:
        rate = capture.rate_hz or 1.0
        with np.errstate(over="ignore", invalid="ignore"):  # absurd amplitudes are not acquired
            wave = band_passed(magnitude(samples)[:, 0], rate, *self.band_hz)
            size = np.sqrt(np.square(wave).mean(axis=1))
        sound = np.isfinite(size) & np.isfinite(wave).all(axis=1)
        wave[~sound] = 0.0
        length, regular = cycle_length(wave, self.cycle_s[0] * rate, self.cycle_s[1] * rate)
        cycles = self._cycles(count)
        points = np.arange(cycles * self.parts * _POINTS) / (self.parts * _POINTS)
        at = length[:, None] * points
        left = at.astype(np.intp)
        share = at - left
        low, high = (np.take_along_axis(wave, left + step, axis=1) for step in (0, 1))
        read = (low + share * (high - low)).reshape(len(wave), cycles, self.parts, _POINTS)
        means = np.add.reduce(read, axis=3) / _POINTS
        away = (means - means.mean(axis=1, keepdims=True)).reshape(len(wave), -1)[:, :count]
        return away, sound & (size >= self.activity) & (regular >= self.regular)


def cycle_length(wave: Array, least: float, most: float) -> tuple[Array, Array]:
    """Lag of the highest autocorrelation within least..most samples, and that autocorrelation.

    Parameters
    ----------
    wave : float, shape (attempts, samples)
        About zero mean.
    least, most : float
        Samples.

    Returns
    -------
    lag : (attempts,) samples, refined by a parabola through three points, within least..most
    height : (attempts,) relative to lag 0; 0 for a wave of zeros
    """
    low, high = int(np.ceil(least)), int(np.floor(most))
    spectrum = np.fft.rfft(wave, n=wave.shape[1] + high + 2, axis=1)
    products = np.fft.irfft(np.square(np.abs(spectrum)), n=wave.shape[1] + high + 2, axis=1)
    best = products[:, low : high + 1].argmax(axis=1) + low
    before, top, after = (np.take_along_axis(products, best[:, None] + d, axis=1)[:, 0] for d in (-1, 0, 1))
    bend = before - 2 * top + after
    move = np.divide(before - after, 2 * bend, out=np.zeros_like(bend), where=bend < 0)
    height = np.divide(top, products[:, 0], out=np.zeros_like(top), where=products[:, 0] > 0)
    return np.clip(best + np.clip(move, -0.5, 0.5), least, most), height
