"""Learned leakage and its permutation tests as ratios against what one would write first, in one run.

The alternatives are scikit-learn's logistic regression, bit by bit and fold by fold, and a loop over
shuffles and bits. All run in one thread and are timed by processor time.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from scipy.special import expit
from sklearn.linear_model import LogisticRegression
from threadpoolctl import threadpool_limits

from harness.contracts import Array
from harness.estimators.leakage.learned import held_out_gain
from harness.estimators.leakage.learners import folds_of, linear
from harness.estimators.leakage.shuffles import agreement, shuffles, weighed

BITS, ATTEMPTS, FEATURES, SHUFFLES, TESTED = 128, 2000, 16, 999, 300


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


def test_learned_leakage(record_property: Callable[[str, object], None]) -> None:
    rng = np.random.default_rng(0)
    view = rng.standard_normal((ATTEMPTS, FEATURES))
    bits = (rng.random((ATTEMPTS, BITS)) < expit(view @ rng.normal(0, 0.3, (FEATURES, BITS)))).astype(int)
    subject = np.repeat(np.arange(100), 20)
    fold = folds_of(subject, 5)

    def plain() -> Array:
        surprise = np.empty(bits.shape)
        for part in range(5):
            out = fold == part
            centre, scale = view[~out].mean(axis=0), view[~out].std(axis=0)
            known, asked = (view[~out] - centre) / scale, (view[out] - centre) / scale
            for k in range(BITS):
                told = LogisticRegression(C=1.0).fit(known, bits[~out, k]).predict_proba(asked)[:, 1]
                surprise[out, k] = -np.log2(np.where(bits[out, k] == 1, told, 1 - told))
        return 1 - surprise

    ours = held_out_gain(view, bits, subject, learners=(linear,))
    assert ours.mean() == pytest.approx(plain().mean(), abs=1e-4)  # theirs stops earlier
    fast = seconds(lambda: held_out_gain(view, bits, subject, learners=(linear,)), repeats=5)
    slow = seconds(plain, repeats=2)
    print(f"\nlearned leakage, 128 bits: {slow / fast:.1f} x scikit-learn ({fast:.3f} s)")
    record_property("ratio", slow / fast)
    assert slow / fast > 4


def test_permutations(record_property: Callable[[str, object], None]) -> None:
    rng = np.random.default_rng(1)
    told, true = rng.integers(0, 2, (2, TESTED, BITS))
    scores = rng.standard_normal(true.shape)
    subject = np.repeat(np.arange(TESTED // 10), 10)
    orders = shuffles(subject, SHUFFLES, rng)
    some = orders[:50]

    def by_loop(of: Callable[[int, Array], float]) -> Array:
        return np.array([[of(k, o) for k in range(BITS)] for o in some])

    def agreed() -> Array:
        return by_loop(lambda k, o: (told[:, k] == true[o, k]).sum())

    def summed() -> Array:
        return by_loop(lambda k, o: (scores[:, k] * true[o, k]).sum())

    assert (agreement(told, true, subject, some) == agreed()).all()
    assert np.allclose(weighed(scores, true.astype(float), some), summed())
    for what, fast, slow, goal in (
        ("agreement", lambda: agreement(told, true, subject, orders), agreed, 30),
        ("real-valued scores", lambda: weighed(scores, true.astype(float), orders), summed, 12),
    ):
        ratio = seconds(slow, repeats=2) * len(orders) / len(some) / seconds(fast, repeats=5)
        print(f"\npermutations, B = 999, 128 bits, {what}: {ratio:.0f} x a loop (goal {goal})")
        record_property(what, ratio)
        assert ratio > goal / 2
