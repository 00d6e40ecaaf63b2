"""Key ranking as a ratio against plain shift-and-add, in one run.

The alternative adds one bit of one key after another to a histogram of costs at the same resolution:
what one would write first. It rounds every bit, where blocks of bits round once, so for brackets as
narrow it needs as many more bins. Both run in one thread and are timed by processor time.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from threadpoolctl import threadpool_limits

from harness.contracts import Array
from harness.ranking import BINS, on_grid, product_ranks

KEYS, BITS = 1000, 128
MORE = 11.6  # 128 roundings against those of 11 blocks


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


def shift_and_add(penalty: Array, flipped: Array, bins: int) -> tuple[Array, Array]:
    """Brackets of the number of keys cheaper than the true one; `penalty` (keys, bits) of a flip."""
    slack = penalty.shape[1] / 2  # every rounded penalty errs by at most half a bin
    below, upto = np.empty(len(penalty)), np.empty(len(penalty))
    for row, (cost, wrong) in enumerate(zip(penalty, flipped, strict=True)):
        steps = np.rint(cost * (bins / cost[wrong].sum())).astype(int)
        ways = np.zeros(bins + int(slack) + 1)
        ways[0] = 1
        for step in steps.tolist():
            if step == 0:
                ways *= 2
            elif step < len(ways):
                ways[step:] += ways[:-step].copy()
        total = np.cumsum(ways)
        below[row], upto[row] = total[int(np.ceil(bins - slack)) - 1], total[int(bins + slack)]
    return below, upto


def test_a_thousand_keys_of_128_bits() -> None:
    rng = np.random.default_rng(0)
    odds = np.abs(rng.normal(2, 1, (KEYS, BITS)))
    log_prob = -np.logaddexp(0, np.stack([-odds, odds], axis=2))
    costs = [-on_grid(log_prob[:, i]) for i in range(BITS)]
    true = (rng.random((KEYS, BITS)) < 1 / (1 + np.exp(odds))).astype(np.intp)
    true[:, 0] |= ~true.any(axis=1)
    penalty = np.stack([c[:, 1] - c[:, 0] for c in costs], axis=1)
    ours = product_ranks(costs, true)
    flipped = true.astype(bool)
    fine = round(BINS * MORE)
    below, upto = shift_and_add(penalty, flipped, fine)
    # both bracket the same truth, so they overlap
    assert (ours.fewer_low <= upto).all()
    assert (below <= ours.fewer_high + 1).all()
    gaps = [
        float(np.median(np.log2((high + 1) / (low + 1))))
        for low, high in ((ours.fewer_low, ours.upto_high), (below, upto))
    ]
    assert gaps[0] < 1.1 * gaps[1]
    ours_s = seconds(lambda: product_ranks(costs, true), repeats=3)
    theirs_s = seconds(lambda: shift_and_add(penalty, flipped, fine), repeats=2)
    coarse_s = seconds(lambda: shift_and_add(penalty, flipped, BINS), repeats=1)
    print(
        f"\n{KEYS} keys: {ours_s:.2f} s against {theirs_s:.2f} s, {theirs_s / ours_s:.1f} times, at "
        f"brackets of {gaps[0]:.2f} and {gaps[1]:.2f} bit; with bins as coarse as ours {coarse_s:.2f} s"
    )
    # no gain on smooth costs: this guards against becoming slower than what one would write first
    assert theirs_s > 0.5 * ours_s
