"""Figures of estimators that can be worked out by hand, where only their order was compared before."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import gammaincc
from scipy.stats import t

from harness.estimators.entropy.health import adaptive_proportion_cutoff
from harness.estimators.entropy.non_iid import non_iid
from harness.estimators.leakage.shuffles import several_attempts
from harness.estimators.paired import harm
from harness.estimators.proportion import clustered_rate
from harness.estimators.randomness.counts import block_frequency


def test_a_window_of_one_symbol_never_alarms() -> None:
    """Its first symbol is always in it: one more than the critical value is above the window."""
    assert adaptive_proportion_cutoff(1.0, window=1) == 2
    with pytest.raises(ValueError, match="`window` must be at least 1, got 0"):
        adaptive_proportion_cutoff(1.0, window=0)


def test_whose_symbols_they_are_is_kept_for_symbols_and_for_their_bits() -> None:
    found = non_iid(np.random.default_rng(0).integers(0, 4, 3100), attempts=5, subjects=3)
    assert {o.of for o in found.outcomes} == {"symbols", "bits"}
    for outcome in found.outcomes:
        assert outcome.estimate is not None
        assert (outcome.estimate.attempts, outcome.estimate.subjects) == (5, 3)


def test_a_positive_skewness_moves_the_limit_up_as_johnson_says() -> None:
    new = np.array([0.0, 0.0, 1.0, 0.0, 0.0, 5.0, 1.0, 0.0])
    n, mean, spread = 8, new.mean(), new.std(ddof=1)
    skewness = ((new - mean) ** 3).mean() / spread**3
    quantile = t.ppf(0.95, n - 1)
    moved = quantile + skewness * (1 + 2 * quantile**2) / (6 * math.sqrt(n))
    found = harm(np.zeros(n), new, scale="difference")
    assert found.limit == pytest.approx(mean + spread / math.sqrt(n) * moved)
    other = harm(np.zeros(n), -new, scale="difference")  # a negative one moves nothing
    assert other.limit == pytest.approx(-mean + spread / math.sqrt(n) * quantile)


def test_the_design_effect_rests_on_whichever_hits_cluster_more() -> None:
    """Hits that cluster by person make the interval wider, be they the lower or the upper ones."""
    who = np.repeat(np.arange(12), 10)
    apart = np.tile([1.0, 0.0], 60)
    clustered = (who % 2 == 0).astype(float)
    for spread, together in ((0.3, 0.0), (0.0, 0.3)):  # which of the two clusters
        low = 0.2 + spread * clustered + together * apart
        high = 0.6 + together * clustered + spread * apart
        even = clustered_rate(0.2 + 0.3 * apart, 0.6 + 0.3 * apart, who, side="estimate", icc_floor=0.01)
        found = clustered_rate(low, high, who, side="estimate", icc_floor=0.01)
        assert found.value == pytest.approx(even.value)
        assert found.low < even.low - 0.02
        assert found.high > even.high + 0.02


def test_blocks_of_the_chosen_length_are_counted_and_must_fit() -> None:
    bits = np.tile([1, 1, 0, 1], 32)[None]  # 4 * 4 * 32 blocks * (3/4 - 1/2)**2 = 32
    assert block_frequency(bits, block=4)[0, 0] == pytest.approx(gammaincc(16, 16))
    with pytest.raises(ValueError, match="`block` must be a whole number, 2 or more, got 1"):
        block_frequency(bits, block=1)


def test_attempts_of_one_person_stay_together_and_in_order() -> None:
    subject = np.array([5, 3, 5, 9, 3, 5])
    assert several_attempts(subject).tolist() == [1, 4, 0, 2, 5]
