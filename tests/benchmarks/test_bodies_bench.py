"""Speed of the simulated muscle: against one FFT per unit and attempt, and against real time."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy import fft

from fixtures.bodies.acting import Act
from fixtures.bodies.muscle import Electrode, potentials, record
from fixtures.scenario import ROLES, CargoBike
from harness.contracts import Array

PLAN = CargoBike(subjects=4, sessions=1)


def fastest(work: Callable[[], Any], *, repeats: int) -> float:
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return float(best)


def test_synthesis_against_one_fft_per_unit_and_attempt(benchmark: Any) -> None:
    act = Act(PLAN, (0,), (0, 0))
    body, volley = act.person.muscle, act.volley
    kernels = potentials(body, Electrode(), rate_hz=PLAN.rate_hz)
    trains = volley.matrix.toarray().reshape(PLAN.attempts, -1, body.pool.units, volley.frame)
    trains = np.ascontiguousarray(trains.transpose(0, 2, 1, 3)).reshape(PLAN.attempts, body.pool.units, -1)
    size = fft.next_fast_len(trains.shape[2] + volley.frame, real=True)

    def per_attempt() -> Array:
        shapes = fft.rfft((body.gain * kernels).astype(np.float32), size, axis=1)
        whole = [fft.irfft((fft.rfft(one, size, axis=1) * shapes).sum(axis=0), size) for one in trains]
        return np.stack(whole)[:, : volley.samples]

    fast = record(body, volley, kernels)
    np.testing.assert_allclose(fast, per_attempt(), atol=1e-4 * np.abs(fast).max())
    slow = fastest(per_attempt, repeats=3)
    benchmark.pedantic(record, args=(body, volley, kernels), rounds=10, warmup_rounds=1)
    ratio = slow / benchmark.stats.stats.min
    benchmark.extra_info["times faster"] = round(ratio, 1)
    assert ratio >= 5


@pytest.mark.parametrize("streams", [frozenset(f"{role}:emg" for role in ROLES)], ids=["ten-roles"])
def test_a_sitting_renders_a_thousand_times_faster_than_it_lasts(
    benchmark: Any, streams: frozenset[str]
) -> None:
    sittings = iter(PLAN.sittings())
    benchmark.pedantic(
        lambda sitting: PLAN.block(sitting, streams), setup=lambda: ((next(sittings),), {}), rounds=4
    )
    simulated = PLAN.attempts * len(ROLES) * PLAN.seconds
    assert simulated / benchmark.stats.stats.min >= 1000
