"""Envelopes: how strong a signal is from moment to moment, whatever its polarity and wave form."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.signal import butter, sosfiltfilt

from harness.contracts import Array

__all__ = ["envelope", "filled", "highpassed", "resampled", "window_rms"]

SLOW_HZ = 15.0  # most movement of cables and electrodes lies below 15–20 Hz
_FAST_HZ = 100.0  # a signal sampled more slowly is movement itself, and only its mean is taken off


@lru_cache
def _sections(cutoff_hz: float, kind: str, rate_hz: float) -> Array:
    return np.asarray(butter(2, cutoff_hz, kind, fs=rate_hz, output="sos"))


def filled(samples: Array) -> Array:
    """(channels, samples) about the mean of each channel, gaps at 0."""
    mean = np.nanmean(samples, axis=-1, keepdims=True)
    return np.asarray(np.nan_to_num(samples - mean, nan=0.0))


def highpassed(samples: Array, rate_hz: float) -> Array:
    """Without gaps, and without slow movement where the rate shows more than that."""
    centred = filled(samples)
    if rate_hz <= _FAST_HZ or centred.shape[-1] < 32:
        return centred
    return np.asarray(sosfiltfilt(_sections(SLOW_HZ, "highpass", rate_hz), centred))


def envelope(samples: Array, rate_hz: float, cutoff_hz: float) -> Array:
    """(samples,) mean over channels of the rectified signal, low-passed."""
    rectified = np.abs(highpassed(samples, rate_hz)).mean(axis=0)
    cutoff = min(cutoff_hz, 0.2 * rate_hz)
    if len(rectified) < 16:
        return np.asarray(rectified)
    return np.asarray(sosfiltfilt(_sections(cutoff, "lowpass", rate_hz), rectified))


def resampled(values: Array, rate_hz: float, wanted_hz: float, *, shift_s: float = 0.0) -> Array:
    """Values at even steps from `shift_s` on, interpolated; NaN where there are none."""
    times = np.arange(int(len(values) / rate_hz * wanted_hz)) / wanted_hz + shift_s
    own = np.arange(len(values)) / rate_hz
    return np.asarray(np.interp(times, own, values, left=np.nan, right=np.nan))


def window_rms(samples: Array, rate_hz: float, seconds: float) -> Array:
    """(channels, windows) RMS of consecutive windows; a window with a gap is left out of all channels."""
    size = max(round(seconds * rate_hz), 8)
    count = samples.shape[-1] // size
    kept = ~np.isnan(samples[:, : count * size]).reshape(len(samples), count, size).any(axis=(0, 2))
    windows = highpassed(samples, rate_hz)[:, : count * size].reshape(len(samples), count, size)
    return np.asarray(np.sqrt((windows[:, kept] ** 2).mean(axis=-1)))
