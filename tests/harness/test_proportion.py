"""Limits of proportions: against published tables, an independent implementation, and by coverage."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mpmath import mp, mpf, quad
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.proportion import (
    ICC_FLOOR,
    clopper_pearson,
    clustered_rate,
    intraclass_upper,
    subject_rate,
)

PEOPLE, ATTEMPTS = 10, 30
SUBJECT = np.repeat(np.arange(PEOPLE), ATTEMPTS)


# Newcombe, Statistics in Medicine 17 (1998) 857-872, table I: the four proportions; the exact limits were
# computed anew.
@pytest.mark.parametrize(
    ("hits", "trials", "low", "high"),
    [
        (81, 263, 0.2527, 0.3676),
        (15, 148, 0.0578, 0.1617),
        (0, 20, 0.0, 0.1684),
        (1, 29, 0.0009, 0.1776),
    ],
)
def test_exact_limits_of_published_proportions(hits: int, trials: int, low: float, high: float) -> None:
    assert clopper_pearson(hits, trials) == pytest.approx((low, high), abs=5e-5)


# 0 of n: 1 - .05**(1/n), an identity
@pytest.mark.parametrize(
    ("trials", "high"),
    [(30, 0.095034), (100, 0.029513), (300, 0.009936), (1000, 0.002991), (3000, 0.000998)],
)
def test_no_success_still_has_an_upper_limit(trials: int, high: float) -> None:
    found = clopper_pearson(0, trials, level=0.9)[1]
    assert found == pytest.approx(high, abs=6e-7)
    assert found == pytest.approx(1 - 0.05 ** (1 / trials), rel=1e-12)


@given(trials=st.integers(1, 2000), share=st.floats(0, 1), level=st.floats(0.5, 0.999))
def test_limits_agree_with_statsmodels(trials: int, share: float, level: float) -> None:
    hits = round(share * trials)
    low, high = proportion_confint(hits, trials, alpha=1 - level, method="beta")
    expected = (np.nan_to_num(low, nan=0.0), np.nan_to_num(high, nan=1.0))
    assert clopper_pearson(hits, trials, level=level) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("hits", "trials"), [(0.7, 12.5), (3.25, 61.2)])
def test_fractional_counts_solve_the_beta_integral(hits: float, trials: float) -> None:
    """By quadrature at 30 digits: the limits cut tails of .025 off the two beta distributions."""
    low, high = clopper_pearson(hits, trials)
    with mp.workdps(30):

        def below(x: float, a: float, b: float) -> float:
            # t = s**8 takes the singularity at 0 away
            whole = mp.beta(mpf(a), mpf(b))
            root = mpf(x) ** (mpf(1) / 8)
            return float(
                quad(lambda s: 8 * s ** (8 * mpf(a) - 1) * (1 - s**8) ** (mpf(b) - 1), [0, root]) / whole
            )

        assert below(low, hits, trials - hits + 1) == pytest.approx(0.025, rel=1e-8)
        assert 1 - below(high, hits + 1, trials - hits) == pytest.approx(0.025, rel=1e-8)


@pytest.mark.parametrize(("hits", "trials"), [(-1, 3), (4, 3), (0, 0), (float("nan"), 3)])
def test_counts_out_of_range_are_refused(hits: float, trials: float) -> None:
    with pytest.raises(ValueError, match=r"`hits` must lie in 0\.\.trials with trials above 0, got"):
        clopper_pearson(hits, trials)


@pytest.mark.parametrize("level", [0.0, 1.0, float("nan")])
def test_a_level_must_lie_between_0_and_1(level: float) -> None:
    with pytest.raises(ValueError, match="`level` must lie strictly between 0 and 1, got"):
        clopper_pearson(1, 3, level=level)


# No success among 10 people x 30, 20 x 30 and 40 x 10, with the floor of .2: n / (1 + (m - 1) .2)
@pytest.mark.parametrize(
    ("people", "attempts", "high"), [(10, 30, 0.066), (20, 30, 0.033), (40, 10, 0.021)]
)
def test_without_a_success_people_count_more_than_attempts(people: int, attempts: int, high: float) -> None:
    subject = np.repeat(np.arange(people), attempts)
    none = np.zeros(len(subject))
    found = clustered_rate(none, none, subject, side="estimate")
    effective = people * attempts / (1 + (attempts - 1) * ICC_FLOOR)
    assert found.high == pytest.approx(1 - 0.05 ** (1 / effective), rel=1e-9)
    assert found.high == pytest.approx(high, abs=5e-4)
    assert (found.value, found.low, found.subjects, found.attempts) == (0, 0, people, people * attempts)


def test_one_attempt_each_is_a_plain_binomial() -> None:
    hits = np.r_[np.ones(4), np.zeros(36)]
    found = clustered_rate(hits, hits, np.arange(40), side="estimate")
    assert (found.low, found.high) == pytest.approx(clopper_pearson(4, 40, level=0.9))


def test_subject_as_the_unit() -> None:
    hits = np.zeros(300, bool)
    found = subject_rate(hits, SUBJECT, side="estimate")
    assert found.high == pytest.approx(1 - 0.05 ** (1 / 10))  # .259
    hits[[0, 1, 2, 45]] = True
    assert subject_rate(hits, SUBJECT, side="estimate").value == 0.2


@pytest.mark.parametrize("rate", [0.1, 1 / 3, 0.3])
def test_rounding_of_equal_fractions_is_no_variation(rate: float) -> None:
    assert np.isnan(intraclass_upper(np.full(300, rate), SUBJECT))


def test_hits_that_only_the_upper_bound_knows_cluster_too() -> None:
    """The upper limit rests on the upper bounds, so their clustering counts."""
    clustered = np.repeat([1.0, *[0.0] * 9], ATTEMPTS)
    known = clustered_rate(clustered, clustered, SUBJECT, side="estimate")
    bracketed = clustered_rate(np.zeros(300), clustered, SUBJECT, side="estimate")
    assert bracketed.high == pytest.approx(known.high)
    assert bracketed.value == 0


def test_upper_limit_of_the_correlation_is_exact_for_normal_people() -> None:
    """Equal sizes and normal values: the F limit covers 90 % exactly; 2000 runs, exact 99 % region."""
    rng, truth = np.random.default_rng(5), 0.3
    covered = 0
    for _ in range(2000):
        values = np.sqrt(truth) * rng.normal(0, 1, PEOPLE)[SUBJECT] + np.sqrt(1 - truth) * rng.normal(
            0, 1, 300
        )
        covered += intraclass_upper(values, SUBJECT) >= truth
    assert binom.ppf(0.005, 2000, 0.9) <= covered <= binom.ppf(0.995, 2000, 0.9)


def test_people_who_always_or_never_succeed_count_once_each() -> None:
    """Correlation 1, above the floor: 300 attempts of ten people are ten."""
    hits = np.repeat([1.0, 0.0] * 5, ATTEMPTS)
    found = clustered_rate(hits, hits, SUBJECT, side="estimate")
    assert (found.low, found.high) == pytest.approx(clopper_pearson(5, 10, level=0.9))


def test_one_person_with_most_attempts_weighs_down_the_sample() -> None:
    """Sizes as an attempt meets them: 91 * 91 + 9 over 100, not the mean size of 10."""
    subject = np.r_[np.zeros(91, int), np.arange(1, 10)]
    none = np.zeros(100)
    effective = 100 / (1 + ((91**2 + 9) / 100 - 1) * ICC_FLOOR)
    found = clustered_rate(none, none, subject, side="estimate").high
    assert found == pytest.approx(1 - 0.05 ** (1 / effective), rel=1e-9)


def test_correlation_within_people_is_recognised() -> None:
    """Between the people all, within them nothing: 1. Nothing between them: below the floor."""
    assert intraclass_upper(np.repeat([0.0, 1.0] * 5, ATTEMPTS), SUBJECT) == 1
    alternating = np.tile([0.0, 1.0], 150)
    assert intraclass_upper(alternating, SUBJECT) < 0.01
    assert np.isnan(intraclass_upper(np.zeros(300), SUBJECT))
    assert np.isnan(intraclass_upper(np.arange(5.0), np.zeros(5, int)))


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32), people=st.integers(1, 8), spread=st.floats(0, 1))
def test_limits_hold_the_value_and_ignore_names_and_order(seed: int, people: int, spread: float) -> None:
    rng = np.random.default_rng(seed)
    subject = rng.integers(0, people, 40)
    low = rng.random(40) * spread
    high = low + (1 - low) * rng.random(40)
    found = clustered_rate(low, high, subject, side="estimate")
    assert 0 <= found.low <= found.value <= found.high <= 1
    assert found.value == pytest.approx(low.mean())
    order = rng.permutation(40)
    renamed = clustered_rate(low[order], high[order], 1000 - 7 * subject[order], side="estimate")
    assert (renamed.low, renamed.value, renamed.high) == pytest.approx((found.low, found.value, found.high))
    wider = clustered_rate(low, high, subject, side="estimate", level=0.99)
    assert wider.low <= found.low
    assert wider.high >= found.high


def test_bad_input_is_named() -> None:
    one = np.ones(3)
    with pytest.raises(ValueError, match="must be of one length, got 3, 2 and 3"):
        clustered_rate(one, one[:2], np.arange(3), side="estimate")
    with pytest.raises(ValueError, match=r"must lie in 0\.\.1, got values from 1 to 2"):
        clustered_rate(one, 2 * one, np.arange(3), side="estimate")
    with pytest.raises(ValueError, match=r"must lie in 0\.\.1, got values from nan"):
        clustered_rate(one * np.nan, one, np.arange(3), side="estimate")
    with pytest.raises(ValueError, match=r"must lie in 0\.\.1, got values from nan"):
        clustered_rate(one, one * np.nan, np.arange(3), side="estimate")
    with pytest.raises(ValueError, match=r"`low_hits` must not lie above `high_hits`, got one 0\.8 above"):
        clustered_rate(0.9 * one, 0.1 * one, np.arange(3), side="estimate")
    with pytest.raises(ValueError, match="`hits` and `subject` must be of one length, got 3 and 2"):
        subject_rate(np.zeros(3, bool), np.arange(2), side="estimate")
    with pytest.raises(InsufficientData, match="a rate needs at least one attempt, got none"):
        clustered_rate(one[:0], one[:0], np.arange(0), side="estimate")
    with pytest.raises(InsufficientData, match="a rate needs at least one subject, got none"):
        subject_rate(np.zeros(0, bool), np.arange(0), side="estimate")
    with pytest.raises(ValueError, match="`side` must be one of"):
        clustered_rate(one, one, np.arange(3), side="upwards")


# Coverage. Beta-binomial people: a chance of their own each, Beta(p (1 - r) / r, (1 - p)(1 - r) / r), has
# intra-class correlation r.


def simulated(rate: float, icc: float, rng: np.random.Generator) -> Array:
    own = np.full(PEOPLE, rate)
    if icc > 0:
        own = rng.beta(rate * (1 - icc) / icc, (1 - rate) * (1 - icc) / icc, PEOPLE)
    return (rng.random(PEOPLE * ATTEMPTS) < own[SUBJECT]).astype(float)


Limits = Callable[[Array], tuple[float, float]]


def times_covered(
    limits: Limits, rate: float, icc: float, *, repetitions: int, seed: int
) -> tuple[int, int]:
    """How often the lower limit lay at most, and the upper one at least, at the true rate."""
    rng = np.random.default_rng(seed)
    found = np.array([limits(simulated(rate, icc, rng)) for _ in range(repetitions)])
    return int((found[:, 0] <= rate).sum()), int((found[:, 1] >= rate).sum())


def clustered(hits: Array) -> tuple[float, float]:
    found = clustered_rate(hits, hits, SUBJECT, side="estimate")
    return found.low, found.high


def pooled(hits: Array) -> tuple[float, float]:
    return clopper_pearson(hits.sum(), hits.size, level=0.9)


def least_covered(repetitions: int, checks: int) -> int:
    """Fewer than this is below 95 % at level 1 - .01 / checks, by the exact binomial distribution."""
    return int(binom.ppf(0.01 / checks, repetitions, 0.95))


CELLS = [(rate, icc) for rate in (0.01, 0.1) for icc in (0.0, 0.05, 0.2)]


def test_each_limit_covers_where_it_is_hardest() -> None:
    """Findings rest on the lower limit, claims on the upper one: each alone promises 95 %."""
    for rate, seed in ((0.1, 3), (0.01, 4)):
        assert min(times_covered(clustered, rate, 0.2, repetitions=1000, seed=seed)) >= least_covered(
            1000, 4
        )


def test_pooled_attempts_fail_the_same_check() -> None:
    low, high = times_covered(pooled, 0.1, 0.2, repetitions=1000, seed=3)
    assert max(low, high) < least_covered(1000, 4)


@pytest.mark.slow
@pytest.mark.parametrize(("rate", "icc"), CELLS)
def test_each_limit_covers(rate: float, icc: float) -> None:
    seed = CELLS.index((rate, icc))
    low, high = times_covered(clustered, rate, icc, repetitions=4000, seed=seed)
    assert min(low, high) >= least_covered(4000, 2 * len(CELLS))


def test_attackers_are_people_too() -> None:
    """Sixty victims and eight mimics: zero successes bound the odds by the eight, not by the sixty."""
    subject, attacker = np.repeat(np.arange(60), 10), np.arange(600) % 8
    none = np.zeros(600)
    alone = clustered_rate(none, none, subject, side="attacker-at-least")
    both = clustered_rate(none, none, subject, side="attacker-at-least", attacker=attacker)
    nobody = clustered_rate(none, none, subject, side="attacker-at-least", attacker=np.full(600, -1))
    assert nobody == alone
    effective = 600 / (1 + 9 * ICC_FLOOR + 74 * ICC_FLOOR)
    assert both.high == pytest.approx(1 - 0.05 ** (1 / effective))
    assert both.high > 5 * alone.high


def two_way_coverage(*, counted: bool, repetitions: int = 600) -> float:
    """Coverage of the upper limit at rate .1 where victims and eight mimics both differ."""
    rng = np.random.default_rng(17)
    subject, attacker = np.repeat(np.arange(60), 10), np.tile(np.arange(8), 75)
    held = 0
    for _ in range(repetitions):
        # each mimic has odds of their own: beta with mean .1 and an intra-class correlation of .2
        odds = rng.beta(0.4, 3.6, 8)[attacker]
        hits = (rng.random(600) < odds).astype(float)
        found = clustered_rate(
            hits, hits, subject, side="attacker-at-least", attacker=attacker if counted else None
        )
        held += found.high >= 0.1
    return held / repetitions


def test_the_limit_covers_where_mimics_differ_and_would_not_without_them() -> None:
    least = binom.ppf(0.005, 600, 0.95) / 600
    assert two_way_coverage(counted=True) >= least
    assert two_way_coverage(counted=False) < least
