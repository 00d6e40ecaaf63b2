"""What is done to a signal before anything is read from it.

The corner of 20 Hz against movement artefact follows De Luca et al., J. Biomech. 43 (2010)
1573-1579 (corner from memory).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.signal import butter, iirnotch, sosfiltfilt, tf2sos

from harness.contracts import Array, frozen

__all__ = ["band_passed", "condition", "high_passed", "window_power"]

_ORDER = 2  # of the high-pass; running it forwards and backwards doubles it
_NOTCH_QUALITY = 30.0  # a notch of 50 Hz is 1.7 Hz wide


def condition(
    samples: Array, rate_hz: float, *, high_pass_hz: float, mains_hz: float, mains_harmonics: int
) -> Array:
    """High-pass and mains notches, without phase shift, along the last axis.

    Parameters
    ----------
    samples : float, shape (..., samples)
        Finite.
    rate_hz : float
        Sampling rate.
    high_pass_hz : float
        Corner of a Butterworth high-pass.
    mains_hz : float
        Mains frequency; 0 for no notch.
    mains_harmonics : int
        Notches at that many multiples of it, from the first, as far as they lie below half the rate.

    Returns
    -------
    float64, shape of `samples`

    Raises
    ------
    ValueError
        If the corner does not lie below half the rate.
    """
    if not 0 < high_pass_hz < rate_hz / 2:
        raise ValueError(
            f"`high_pass_hz` must lie between 0 and half the sampling rate, {rate_hz / 2:g} Hz, "
            f"got {high_pass_hz:g}"
        )
    return _both_ways(_sections(float(rate_hz), high_pass_hz, mains_hz, mains_harmonics), samples)


def high_passed(samples: Array, rate_hz: float, high_pass_hz: float) -> Array:
    """A Butterworth high-pass without phase shift and without notches; as `condition`."""
    return condition(samples, rate_hz, high_pass_hz=high_pass_hz, mains_hz=0.0, mains_harmonics=0)


def band_passed(samples: Array, rate_hz: float, low_hz: float, high_hz: float) -> Array:
    """A Butterworth band-pass without phase shift, along the last axis.

    Raises
    ------
    ValueError
        If the corners do not ascend within 0 and half the rate.
    """
    if not 0 < low_hz < high_hz < rate_hz / 2:
        raise ValueError(
            f"the corners of a band-pass must ascend between 0 and half the sampling rate, {rate_hz / 2:g} "
            f"Hz, got {low_hz:g} and {high_hz:g}"
        )
    sections = butter(_ORDER, (low_hz, high_hz), "bandpass", fs=rate_hz, output="sos")
    # a filter this slow rings for long at the ends, unless it runs in over a mirrored stretch
    return _both_ways(sections, samples, int(2 * rate_hz / low_hz))


def _both_ways(sections: Array, samples: Array, padding: int = 0) -> Array:
    padding = min(max(padding, 3 * (2 * len(sections) + 1)), samples.shape[-1] - 1)
    filtered: Array = sosfiltfilt(sections.copy(), samples, axis=-1, padlen=padding)
    return filtered


@lru_cache(maxsize=32)
def _sections(rate_hz: float, high_pass_hz: float, mains_hz: float, harmonics: int) -> Array:
    parts = [butter(_ORDER, high_pass_hz, "highpass", fs=rate_hz, output="sos")]
    for multiple in range(1, harmonics + 1):
        if 0 < multiple * mains_hz < rate_hz / 2:
            parts.append(tf2sos(*iirnotch(multiple * mains_hz, _NOTCH_QUALITY, fs=rate_hz)))
    return frozen(np.vstack(parts))


def window_power(samples: Array, edges: Array) -> Array:
    """Mean square between neighbouring `edges`, (..., windows); the unit of the samples, squared.

    Rectifying and averaging would give the envelope as well; the square adds up over channels.
    """
    with np.errstate(over="ignore"):  # an absurd amplitude becomes inf, which the caller sees
        squared = np.square(samples[..., : edges[-1]])
    power: Array = np.add.reduceat(squared, edges[:-1], axis=-1) / np.diff(edges)
    return power
