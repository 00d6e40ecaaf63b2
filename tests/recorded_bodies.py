"""Bursts of muscle-like noise, as two devices with clocks of their own record them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.ndimage import gaussian_filter1d

from harness.contracts import Array
from harness.intake.taken import Taken
from harness.recordings import write_arrays, write_manifest

RATE = 1000.0


def effort(seconds: float, rng: np.random.Generator, *, rate: float = RATE) -> Array:
    """Between 0 and 1: squeezes of uneven length at uneven distances, at rest in between."""
    count = int(seconds * rate)
    level = np.zeros(count)
    at = 0.4
    while at < seconds:
        length = rng.uniform(0.2, 0.9)
        level[int(at * rate) : int((at + length) * rate)] = rng.uniform(0.4, 1.0)
        at += length + rng.uniform(0.3, 1.2)
    return np.asarray(gaussian_filter1d(level, 0.03 * rate))


def pair(
    seconds: float,
    seed: int,
    *,
    offset_s: float = 0.0,
    drift_ppm: float = 0.0,
    floor_uv: float = 2.0,
) -> tuple[Array, Array]:
    """What devices A and B record of one body: the same muscle, each with noise of its own.

    What happens at second t of A's record stands at t + offset + drift * t of B's.
    """
    rng = np.random.default_rng(seed)
    level = effort(seconds + 4, rng)
    muscle = rng.normal(size=len(level)) * level * 100
    own = np.arange(len(level)) / RATE - 2  # two seconds before the record begins
    times = np.arange(int(seconds * RATE)) / RATE
    a = np.interp(times, own, muscle)
    b = np.interp((times - offset_s) / (1 + drift_ppm * 1e-6), own, muscle)
    return tuple(x + rng.normal(size=len(x)) * floor_uv for x in (a, b))  # type: ignore[return-value]


def taken(samples: Array, role: str = "device-a", **more: object) -> Taken:
    """One capture of subject 0, session 0, attempt 0."""
    fields: dict[str, object] = {
        "role": role,
        "signal": "emg",
        "unit": "uV",
        "subject": 0,
        "session": 0,
        "attempt": 0,
        "samples": np.atleast_2d(samples),
        "rate_hz": RATE,
        **more,
    }
    return Taken(**fields)  # type: ignore[arg-type]


def write_people(
    folder: Path, *, subjects: int = 3, sessions: int = 2, attempts: int = 2, seconds: float = 6
) -> Path:
    """A sound corpus: one NPZ for each person and session, and what an `other-site` sensor saw."""
    rows: list[dict[str, object]] = []
    for subject in range(subjects):
        for session in range(sessions):
            arrays: dict[str, Array] = {}
            for attempt in range(attempts):
                seed = subject * 100 + session * 10 + attempt
                a, b = pair(seconds, seed)
                far = pair(seconds, seed + 7000)[0]
                for role, samples in (("device-a", a), ("device-b", b), ("other-site", far)):
                    array = f"{role}-{attempt}"
                    arrays[array] = samples[np.newaxis]
                    rows.append(
                        {
                            "file": f"p{subject}-{session}.npz",
                            "array": array,
                            "subject": f"p{subject}",
                            "session": session,
                            "attempt": attempt,
                            "role": role,
                            "signal": "emg",
                            "rate_hz": int(RATE),
                            "unit": "uV",
                            "day": session + 1,
                            "condition": "dry",
                        }
                    )
            write_arrays(folder / f"p{subject}-{session}.npz", arrays)
    write_manifest(folder, rows)
    return folder
