"""One real number a window, the raw material of several quantisers.

What the number is follows from the capture's unit, so that one quantiser serves three bodies:

===== ============ ==========================================================================
unit  signal       number of a window
===== ============ ==========================================================================
"uV"  muscle       log of the mean square over all channels, high-passed and without mains
"g"   acceleration log of the mean square of the magnitude over all axes, without its slow part
"s"   intervals    the interval itself; a window is one beat and `window_s` is not used
===== ============ ==========================================================================
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from harness.contracts import Array, Capture
from schemes.conditioning import condition, high_passed, window_power
from schemes.quantisers.checks import ascending, number, whole_number

__all__ = ["NORMAL_MAD", "Series", "magnitude", "standardised"]

NORMAL_MAD = 0.6744897501960817  # median of |x| for a standard normal x
# unit: corner in Hz, and root mean square below which an attempt is not acquired
_USUAL = {"uV": (20.0, 10.0), "g": (0.5, 0.02)}  # the corner of 0.5 Hz and .02 g are assumptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """How windows become numbers; the quantisers that read them add their own parameters.

    Parameters
    ----------
    window_s : float
        Length of a window.
    high_pass_hz, activity : float
        Corner of the high-pass, and the root mean square, in the capture's unit, below which an attempt
        is not acquired. 0 stands for the usual ones: 20 Hz and 10 uV, or .5 Hz and .02 g.
    mains_hz, mains_harmonics
        Notches of muscle captures; 0 Hz for none.
    plausible_s : (float, float)
        An attempt with an interval outside is not acquired.
    """

    units: ClassVar[frozenset[str]] = frozenset({"uV", "g", "s"})

    window_s: float = 0.2
    high_pass_hz: float = 0.0
    mains_hz: float = 50.0
    mains_harmonics: int = 1
    activity: float = 0.0
    plausible_s: tuple[float, float] = (0.3, 2.0)

    def check(self) -> None:
        """Refuse what cannot be; a ValueError of one sentence."""
        number("window_s", self.window_s, positive=True)
        for field in ("high_pass_hz", "mains_hz", "activity"):
            number(field, getattr(self, field), positive=False)
        whole_number("mains_harmonics", self.mains_harmonics, 0)
        ascending("plausible_s", self.plausible_s)
        number("plausible_s", self.plausible_s[0], positive=True)

    def numbers(self, capture: Capture, windows: int) -> tuple[Array, Array]:
        """Numbers (attempts, windows), 0 where there are none, and acquired (attempts,) bool.

        Raises
        ------
        ValueError
            If the capture has another unit, has or lacks a rate, or a window is shorter than two samples.
        """
        if capture.unit == "s":
            return self._intervals(capture, windows)
        edges = self.edges(capture, windows)
        attempts = len(capture.samples)
        found, acquired = np.zeros((attempts, windows)), np.zeros(attempts, np.bool_)
        # rows are cut to one length first: a filter's end effect must not depend on the batch
        samples = capture.samples[..., : edges[-1]]
        whole = np.isfinite(samples).all(axis=(1, 2))
        if samples.shape[-1] == edges[-1] and whole.any():
            found[whole], acquired[whole] = self._powers(samples[whole], capture, edges)
        return found, acquired

    def lasting(self, capture: Capture, windows: int) -> Array:
        """(attempts,) seconds that the windows take."""
        if capture.rate_hz is None:
            return np.asarray(np.nansum(capture.samples[:, 0, :windows], axis=1))
        last = np.rint(windows * (self.window_s * capture.rate_hz))
        return np.full(len(capture.samples), last / capture.rate_hz)

    def edges(self, capture: Capture, windows: int) -> Array:
        """(windows + 1,) samples at which windows begin and end."""
        rate = capture.rate_hz
        if rate is None or capture.unit not in _USUAL:
            raise ValueError(
                "a capture must be in 'uV' or 'g' with a sampling rate, or intervals in 's' without one, "
                f"got {rate} Hz and {capture.unit!r}"
            )
        if self.window_s * rate < 2:
            raise ValueError(f"`window_s` must cover two samples at {rate:g} Hz, got {self.window_s:g} s")
        ends: Array = np.rint(np.arange(windows + 1) * (self.window_s * rate)).astype(np.int64)
        return ends

    def _powers(self, samples: Array, capture: Capture, edges: Array) -> tuple[Array, Array]:
        power = window_power(self.filtered(samples, capture), edges).mean(axis=1)
        finite = np.isfinite(power).all(axis=1)
        power[~finite] = 0.0
        mean_square = (power * np.diff(edges)).sum(axis=1) / edges[-1]
        enough = finite & (np.sqrt(mean_square) >= self.least(capture))
        return np.log(np.maximum(power, np.finfo(float).tiny)), enough

    def least(self, capture: Capture) -> float:
        """Root mean square below which an attempt is not acquired."""
        return float(self.activity or _USUAL[capture.unit][1])

    def filtered(self, samples: Array, capture: Capture) -> Array:
        """Finite samples (attempts, channels, n) conditioned; one channel, the magnitude, if in g."""
        rate = capture.rate_hz or math.nan
        corner = self.high_pass_hz or _USUAL[capture.unit][0]
        if capture.unit == "uV":
            return condition(
                samples,
                rate,
                high_pass_hz=corner,
                mains_hz=self.mains_hz,
                mains_harmonics=self.mains_harmonics,
            )
        return high_passed(magnitude(samples), rate, corner)

    def _intervals(self, capture: Capture, windows: int) -> tuple[Array, Array]:
        if capture.rate_hz is not None:
            raise ValueError(
                f"intervals in 's' must come without a sampling rate, got {capture.rate_hz} Hz"
            )
        events = capture.samples[:, 0, :windows]
        found = np.zeros((len(events), windows))
        found[:, : events.shape[1]] = np.nan_to_num(events, posinf=0.0, neginf=0.0)
        low, high = self.plausible_s
        acquired: Array = np.all((found >= low) & (found <= high), axis=1)
        return found, acquired


def magnitude(samples: Array) -> Array:
    """(attempts, 1, n): length of the vector of all axes, which does not depend on how a sensor is turned.

    A single axis is left as it is. What is too large for a square becomes 0.
    """
    if samples.shape[1] == 1:
        return samples
    with np.errstate(over="ignore"):
        size = np.sqrt(np.square(samples).sum(axis=1, keepdims=True))
    return np.where(np.isfinite(size), size, 0.0)


def standardised(numbers: Array) -> Array:
    """Each row less its median, divided by its robust deviation; 0 where that is 0.

    The deviation is the median distance from the median, scaled so that a normal variable has 1.
    """
    centred = numbers - np.median(numbers, axis=1, keepdims=True)
    scale = np.median(np.abs(centred), axis=1, keepdims=True) / NORMAL_MAD
    return np.asarray(np.divide(centred, scale, out=np.zeros_like(centred), where=scale > 0))
