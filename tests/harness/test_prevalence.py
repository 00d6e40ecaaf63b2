"""People who are weak and were not seen to be."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import InsufficientData
from harness.estimators.prevalence import weak_prevalence
from harness.estimators.proportion import clopper_pearson


def limit(hits: np.ndarray, subject: np.ndarray, odds: float) -> float:
    return weak_prevalence(hits, subject, odds=odds, side="attacker-at-most", method="x").high


def test_where_nobody_is_missed_it_is_the_exact_limit() -> None:
    for seen in (0, 3, 10):
        exact = clopper_pearson(float(seen), 10.0, level=0.9)[1]
        assert limit(np.arange(10) < seen, np.arange(10), 1.0) == pytest.approx(exact)


def test_few_attempts_leave_more_weak_people_unseen() -> None:
    many = limit(np.zeros(600, bool), np.repeat(np.arange(60), 10), 0.1)
    few = limit(np.zeros(120, bool), np.repeat(np.arange(60), 2), 0.1)
    sure = limit(np.zeros(60, bool), np.arange(60), 1.0)
    assert sure < many < few


def test_the_limit_is_where_so_few_seen_become_unlikely() -> None:
    """By enumeration of who is weak and who of them is seen, with unequal numbers of attempts."""
    subject = np.array([0, 0, 0, 1, 2, 2, 3])
    hits = np.array([0, 1, 0, 0, 0, 0, 0], bool)
    share = limit(hits, subject, 0.4)
    shown = share * (1 - 0.6 ** np.array([3, 1, 2, 1]))
    at_most_one = sum(
        float(np.prod(np.where(seen, shown, 1 - shown)))
        for seen in itertools.product([False, True], repeat=4)
        if sum(seen) <= 1
    )
    assert share == 1.0 or at_most_one == pytest.approx(0.05)


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.1, 0.5, 1.0]))
def test_the_value_lies_below_and_names_do_not_matter(seed: int, odds: float) -> None:
    rng = np.random.default_rng(seed)
    subject, hits = rng.integers(0, 8, 30), rng.random(30) < 0.1
    order = rng.permutation(30)
    one = weak_prevalence(hits, subject, odds=odds, side="attacker-at-most", method="x")
    other = weak_prevalence(hits[order], 7 - subject[order], odds=odds, side="attacker-at-most", method="x")
    assert 0 <= one.value <= one.high <= 1
    assert (one.value, one.high) == pytest.approx((other.value, other.high))


def test_what_makes_no_sense_is_refused() -> None:
    with pytest.raises(InsufficientData, match="at least one attempt"):
        limit(np.zeros(0, bool), np.zeros(0, int), 0.5)
    with pytest.raises(ValueError, match="`odds`"):
        limit(np.zeros(2, bool), np.zeros(2, int), 0.0)
    with pytest.raises(ValueError, match="one length"):
        limit(np.zeros(2, bool), np.zeros(3, int), 0.5)
