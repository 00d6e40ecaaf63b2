"""Key ranking as ratios against plain shift-and-add, in one run.

The alternative adds one bit of one key after another to two histograms of 4096 bins, one of costs
rounded up and one of costs rounded down: what one would write first. Both run in one thread and are
timed by processor time.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from threadpoolctl import threadpool_limits

from harness.contracts import Array
from harness.ranking import on_grid, product_ranks

KEYS, PLAIN_BINS = 1000, 4096


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


def shift_and_add(penalty: Array, limit: Array) -> tuple[Array, Array]:
    """Keys certainly cheaper than a limit, and possibly not dearer; `penalty` (keys, bits) of a flip."""
    below, upto = np.empty(len(penalty)), np.empty(len(penalty))
    for row, (cost, own) in enumerate(zip(penalty, limit.tolist(), strict=True)):
        for rounded, out in ((np.ceil, below), (np.floor, upto)):
            ways = np.zeros(PLAIN_BINS + 1)
            ways[0] = 1
            for step in rounded(cost * (PLAIN_BINS / own)).astype(int).tolist():
                if step == 0:
                    ways *= 2
                elif step <= PLAIN_BINS:
                    ways[step:] += ways[:-step].copy()
            out[row] = ways[: -1 if out is below else None].sum()
    return below, upto


def drawn(bits: int, odds: float) -> tuple[list[Array], Array]:
    """Costs of two candidates a bit by log-odds near `odds`, and keys as likely as these say."""
    rng = np.random.default_rng(bits)
    told = np.abs(rng.normal(odds, 1, (KEYS, bits)))
    log_prob = -np.logaddexp(0, np.stack([-told, told], axis=2))
    true = (rng.random((KEYS, bits)) < 1 / (1 + np.exp(told))).astype(np.intp)
    true[:, 0] |= ~true.any(axis=1)
    return [-on_grid(log_prob[:, i]) for i in range(bits)], true


# Ranks below a hundred leave little to save: either way takes a tenth of a millisecond a key.
@pytest.mark.parametrize(
    ("bits", "odds", "goal"), [(128, 2, 3.5), (256, 2, 2.7), (128, 4, 2.7), (128, 6, 1.5)]
)
def test_a_thousand_keys(bits: int, odds: float, goal: float) -> None:
    costs, true = drawn(bits, odds)
    penalty = np.stack([c[:, 1] - c[:, 0] for c in costs], axis=1)
    limit = (penalty * true).sum(axis=1)
    ours = product_ranks(costs, true)
    below, upto = shift_and_add(penalty, limit)
    # both bracket the same truth, so they overlap
    assert (ours.fewer_low <= upto).all()
    assert (below <= ours.fewer_high).all()
    gaps = [
        float(np.median(np.log2((high + 1) / (low + 1))))
        for low, high in ((ours.fewer_low, ours.upto_high), (below, upto))
    ]
    ours_s = seconds(lambda: product_ranks(costs, true), repeats=5)
    theirs_s = seconds(lambda: shift_and_add(penalty, limit), repeats=2)
    print(
        f"\n{KEYS} keys of {bits} bits at median log2 rank {np.median(np.log2(upto)):.1f}: {ours_s:.3f} s "
        f"against {theirs_s:.3f} s, {theirs_s / ours_s:.1f} times, at brackets of {gaps[0]:.2f} "
        f"and {gaps[1]:.2f} bit"
    )
    assert gaps[0] < 1.4 * gaps[1] + 0.05
    assert theirs_s > goal * ours_s
