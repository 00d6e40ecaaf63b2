"""Means and medians over people."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.stats.weightstats import DescrStatsW

from harness.errors import InsufficientData
from harness.estimators.means import subject_mean, subject_means, subject_median

SAYS = {"unit": "bit", "side": "estimate", "method": "test"}


def test_the_person_is_the_unit() -> None:
    values, subject = np.array([1.0, 1.0, 1.0, 4.0]), np.array([7, 7, 7, 2])
    people, means, sizes = subject_means(values, subject)
    assert (people.tolist(), means.tolist(), sizes.tolist()) == ([2, 7], [4, 1], [1, 3])
    assert subject_mean(values, subject, **SAYS).value == 2.5


def test_mean_and_interval_agree_with_statsmodels() -> None:
    values = np.random.default_rng(0).normal(3, 2, 12)
    found = subject_mean(values, np.arange(12), **SAYS)
    low, high = DescrStatsW(values).tconfint_mean(alpha=0.05)
    assert (found.low, found.value, found.high) == pytest.approx((low, values.mean(), high))


def test_repeating_attempts_of_the_same_people_adds_no_certainty() -> None:
    values, subject = np.random.default_rng(1).normal(0, 1, 8), np.arange(8)
    once = subject_mean(values, subject, **SAYS)
    often = subject_mean(np.repeat(values, 50), np.repeat(subject, 50), **SAYS)
    assert (often.low, often.high) == pytest.approx((once.low, once.high))
    assert (often.subjects, often.attempts) == (8, 400)


def test_one_person_leaves_the_interval_open() -> None:
    found = subject_mean(np.ones(5), np.zeros(5, int), **SAYS)
    assert np.isnan([found.low, found.high]).all()


def test_coverage_of_the_mean() -> None:
    """Normal people and attempts: exactly 95 %, so 1000 runs lie in the exact 99 % region."""
    rng = np.random.default_rng(2)
    subject = np.repeat(np.arange(8), 4)
    covered = 0
    for _ in range(1000):
        values = rng.normal(0, 1, 8)[subject] + rng.normal(0, 1, 32)
        found = subject_mean(values, subject, **SAYS)
        covered += found.low <= 0 <= found.high
    assert binom.ppf(0.005, 1000, 0.95) <= covered <= binom.ppf(0.995, 1000, 0.95)


def test_median_interval_is_the_sign_test_turned_round() -> None:
    """Ten people: second to ninth; two tails of 11/1024 leave 97.9 %."""
    values = np.random.default_rng(3).permutation(10.0 ** np.arange(10))
    found = subject_median(values, values, np.arange(10), **SAYS)
    assert (found.low, found.high) == (1e1, 1e8)
    assert found.value == (1e4 + 1e5) / 2
    # the next closer pair would miss the level
    assert 2 * binom.cdf(1, 10, 0.5) <= 0.05 < 2 * binom.cdf(2, 10, 0.5)


def test_bounds_widen_the_median() -> None:
    low = np.arange(10.0)
    found = subject_median(low, low + 5, np.arange(10), **SAYS)
    assert (found.low, found.value, found.high) == (1, 9.5, 13)  # the value certainly suffices


def test_ends_are_open_for_few_people_and_infinite_bounds() -> None:
    few = subject_median(np.arange(5.0), np.arange(5.0), np.arange(5), **SAYS)
    assert np.isnan([few.low, few.high]).all()
    unbounded = subject_median(np.arange(10.0), np.full(10, np.inf), np.arange(10), **SAYS)
    assert unbounded.low == 1
    assert np.isnan(unbounded.high)


def test_nothing_is_refused() -> None:
    none = np.zeros(0)
    with pytest.raises(InsufficientData, match="a mean needs at least one attempt, got none"):
        subject_mean(none, none, **SAYS)
    with pytest.raises(InsufficientData, match="a median needs at least one attempt, got none"):
        subject_median(none, none, none, **SAYS)


def test_a_share_stays_between_nothing_and_all() -> None:
    found = subject_mean(
        np.array([0.0, 1.0]), np.arange(2), unit="probability", side="estimate", method="test"
    )
    assert (found.low, found.high) == (0.0, 1.0)
