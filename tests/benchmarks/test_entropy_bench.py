"""The ten entropy estimators on a million bits, and the slowest two against loops, in one run.

The loops count contexts by the number that their bits make, and keep scores in lists: plain Python at its
quickest, for bits only. The loop over lags runs on a part of the bits and is scaled up, as its time is
proportional to it. All run in one thread and are timed by processor time.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from threadpoolctl import threadpool_limits

from harness.contracts import Array
from harness.estimators.entropy.counting import counting_hits
from harness.estimators.entropy.lag import lag_hits
from harness.estimators.entropy.non_iid import ESTIMATORS

BITS = 1_000_000


@pytest.fixture(autouse=True)
def one_thread() -> Iterator[None]:
    with threadpool_limits(1):
        yield


def seconds(run: Callable[[], object], *, repeats: int) -> float:
    times = []
    for _ in range(repeats):
        start = time.process_time()
        run()
        times.append(time.process_time() - start)
    return min(times)


def fair_bits() -> Array:
    return np.random.default_rng(1).integers(0, 2, BITS).astype(np.uint8)


def counting_loop(s: list[int], depth: int = 16, entries: int = 100_000) -> list[bool]:
    zeros, ones = ([[0] * 2 ** (d + 1) for d in range(depth)] for _ in range(2))
    masks = [2 ** (d + 1) - 1 for d in range(depth)]
    sizes, scores, winner, right = [0] * depth, [0] * depth, 0, []
    before = s[0]
    for i in range(1, len(s)):
        came = s[i]
        hit, leader = False, winner
        for d in range(min(depth, i)):
            context = before & masks[d]
            none, one = zeros[d][context], ones[d][context]
            if (none or one) and (one >= none) == came:
                if d == leader:
                    hit = True
                scores[d] += 1
                if scores[d] >= scores[winner]:
                    winner = d
            table = ones[d] if came else zeros[d]
            if table[context]:
                table[context] += 1
            elif sizes[d] < entries:
                sizes[d] += 1
                table[context] = 1
        if i >= 2:
            right.append(hit)
        before = (before << 1 | came) & masks[-1]
    return right


def lag_loop(s: list[int], lags: int = 128) -> list[bool]:
    scores, winner, right = [0] * lags, 0, []
    for i in range(1, len(s)):
        came = s[i]
        right.append(winner < i and s[i - 1 - winner] == came)
        for d in range(min(lags, i)):
            if s[i - 1 - d] == came:
                scores[d] += 1
                if scores[d] >= scores[winner]:
                    winner = d
    return right


@pytest.mark.parametrize(
    ("name", "ours", "loop", "part", "goal"),
    [("counting", counting_hits, counting_loop, 1_000_000, 8), ("lag", lag_hits, lag_loop, 100_000, 20)],
)
def test_against_a_loop(
    name: str,
    ours: Callable[[Array], Array],
    loop: Callable[[list[int]], list[bool]],
    part: int,
    goal: float,
) -> None:
    bits = fair_bits()
    some = bits[:part].tolist()
    assert ours(bits[:part]).tolist() == loop(some)
    ours_s = seconds(lambda: ours(bits), repeats=8)
    loop_s = seconds(lambda: loop(some), repeats=1) * BITS / part
    print(
        f"\n{name}, 1e6 bits: {ours_s:.2f} s against a loop's {loop_s:.1f} s, {loop_s / ours_s:.1f} times"
    )
    assert loop_s > goal * ours_s


def test_all_ten() -> None:
    bits = fair_bits()
    each = {
        method: seconds(lambda e=estimator: e(bits), repeats=2) for method, estimator in ESTIMATORS.items()
    }
    total = sum(each.values())
    print("\n" + ", ".join(f"{method} {s:.3f}" for method, s in each.items()) + f"; in all {total:.2f} s")
    assert total <= 2.5


def test_memory() -> None:
    """Peak of what is allocated beyond the bits themselves."""
    bits = fair_bits()
    peaks = {}
    for method, estimator in ESTIMATORS.items():
        tracemalloc.start()
        estimator(bits)
        peaks[method] = tracemalloc.get_traced_memory()[1] / 2**20
        tracemalloc.stop()
    print("\n" + ", ".join(f"{method} {mb:.0f} MB" for method, mb in peaks.items()))
    assert max(peaks.values()) <= 120
