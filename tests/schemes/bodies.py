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
