"""Made-up captures for the scheme tests: noise under a wandering envelope, and heartbeats."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Capture

RATE = 500.0


def muscle(
    rng: np.random.Generator, attempts: int, seconds: float, *, channels: int = 1, rms: float = 80.0
) -> Array:
    """(attempts, channels, samples) uV at `RATE`, all channels under one envelope."""
    count = round(seconds * RATE)
    knots = rng.standard_normal((attempts, 1, count // 50 + 2))
    envelope = np.exp(0.6 * knots.repeat(50, axis=2)[..., :count])
    return rms * envelope * rng.standard_normal((attempts, channels, count))


def emg(samples: Array, *, rate_hz: float | None = RATE, unit: str = "uV") -> Capture:
    return Capture(samples=samples, rate_hz=rate_hz, signal="emg", unit=unit)


def beats(rng: np.random.Generator, attempts: int, count: int) -> Array:
    """(attempts, 1, count) intervals in s."""
    return rng.normal(0.9, 0.05, (attempts, 1, count))


def intervals(samples: Array, *, rate_hz: float | None = None, unit: str = "s") -> Capture:
    return Capture(samples=samples, rate_hz=rate_hz, signal="intervals", unit=unit)


def walking(rng: np.random.Generator, attempts: int, seconds: float, *, rate_hz: float = 100.0) -> Capture:
    """Three axes in g: two steps a stride of about 1.1 s, whose heights wander from step to step."""
    count = round(seconds * rate_hz)
    samples = np.zeros((attempts, 3, count))
    for row in samples:
        strides = 1.1 * (1 + 0.02 * rng.standard_normal(int(seconds)))
        phase = np.interp(
            np.arange(count) / rate_hz, np.r_[0, strides.cumsum()], np.arange(len(strides) + 1)
        )
        height = np.exp(0.3 * rng.standard_normal(2 * len(strides) + 2))
        at = np.interp(2 * phase, np.arange(len(height)), height)
        row[2] = 1 + 0.25 * at * np.cos(4 * np.pi * phase) + 0.08 * np.cos(2 * np.pi * phase)
        row[0] = 0.1 * at * np.sin(8 * np.pi * phase)
    samples += 0.002 * rng.standard_normal(samples.shape)
    return Capture(samples=samples, rate_hz=rate_hz, signal="acceleration", unit="g")
