"""Waveforms that an adversary drives sensors with, and knows."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Capture

__all__ = ["on_grid", "railed", "wave"]

_TONE = np.sin(2 * np.pi * (np.arange(4096) + 0.5) / 4096)  # a table is several times faster than sines
SPREAD = 20.0  # greatest over least loudness of a wave (assumption): envelopes are to follow it


def wave(blank: Capture, peak: float, *, hold_s: float, rng: np.random.Generator) -> Array:
    """Tones of random phase at every sample, as loud as a random level that holds for `hold_s`.

    Where a sample lasts longer than half of that, or the capture is an event series, the level is the peak
    throughout: a value is then ``peak * sin(phase)`` with independent, uniform phases.

    Returns
    -------
    (attempts, samples) float64, in the capture's unit
    """
    rows, _, samples = blank.samples.shape
    tones = (peak * _TONE)[rng.integers(0, len(_TONE), (rows, samples), dtype=np.uint16)]
    held = _held(blank, hold_s)
    if held < 2:
        return tones
    levels = SPREAD ** -rng.uniform(0, 1, (rows, -(-samples // held)))
    tones *= np.repeat(levels, held, axis=1)[:, :samples]
    return np.asarray(tones)


def railed(blank: Capture, rail: float, *, hold_s: float, rng: np.random.Generator) -> Array:
    """Random signs of one size, each held for `hold_s`, or a sample: (attempts, samples)."""
    rows, _, samples = blank.samples.shape
    held = max(1, _held(blank, hold_s))
    signs = rng.choice((-rail, rail), (rows, -(-samples // held)))
    return np.repeat(signs, held, axis=1)[:, :samples]


def _held(blank: Capture, hold_s: float) -> int:
    return 0 if blank.rate_hz is None else round(blank.rate_hz * hold_s)


def on_grid(told: Array, rate_hz: float | None, blank: Capture) -> Array:
    """The same waveform at another sensor, by its channels, rate and length; silent beyond its end."""
    rows, channels, samples = blank.samples.shape
    same = rate_hz is None or blank.rate_hz is None or blank.rate_hz == rate_hz
    place = np.arange(samples)
    if not same and rate_hz is not None and blank.rate_hz is not None:
        place = np.floor(place * (rate_hz / blank.rate_hz)).astype(np.intp)
    inside = place < told.shape[1]
    found = np.zeros((rows, samples))
    found[:, inside] = told[:, place[inside]]
    return np.repeat(found[:, None, :], channels, axis=1)
