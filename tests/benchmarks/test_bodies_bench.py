"""Speed of the simulated muscle: against one FFT per unit and attempt, and against real time."""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy import fft

from fixtures.bodies.acting import Act
from fixtures.bodies.muscle import Electrode, potentials
from fixtures.bodies.volleys import record
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


SHORT = CargoBike(subjects=1000, sessions=2, attempts=5, seconds=3.0)  # 10^4 attempts
FIVE = frozenset(f"{role}:emg" for role in ("device-a", "device-b", "mimic", "remote", "other-site"))


def test_ten_thousand_short_attempts_render_a_thousand_times_faster_than_they_last(benchmark: Any) -> None:
    """A hundredth of them; short attempts are the worst case, as every sitting has bodies of its own.

    Processor time, so that others on the machine do not count.
    """
    every = SHORT.sittings()[::100]
    SHORT.block(every[0], FIVE)
    simulated = len(every) * SHORT.attempts * len(FIVE) * SHORT.seconds
    ratios = []

    def render() -> None:
        start = time.process_time()
        for sitting in every:
            SHORT.block(sitting, FIVE)
        ratios.append(simulated / (time.process_time() - start))

    benchmark.pedantic(render, rounds=5)
    benchmark.extra_info["times real time"] = round(max(ratios))
    assert max(ratios) >= 1000


def test_memory_does_not_grow_with_the_sittings() -> None:
    peaks = []
    SHORT.block(SHORT.sittings()[0], FIVE)  # what is imported and planned at first use
    for count in (3, 30):
        tracemalloc.start()
        for sitting in SHORT.sittings()[:count]:
            SHORT.block(sitting, FIVE)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0]
