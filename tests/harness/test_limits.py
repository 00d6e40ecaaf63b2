"""Limits of a row at another confidence: the same as if they had been computed from the attempts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from harness.contracts import Array, Estimate
from harness.estimators.entropy.given_helper import estimated_min_entropy
from harness.estimators.leakage import symbol_information
from harness.estimators.means import subject_mean, subject_median
from harness.estimators.proportion import clustered_rate, subject_rate
from harness.limits import effective_trials, lower_limit, upper_limit
from harness.results import Row, measured, unmeasured

CONFIDENCES = st.sampled_from([0.6, 0.9, 0.95, 0.975, 0.99, 1 - 0.05 / 7, 0.9995])


def row_of(estimate: Estimate, measure: str = "success-odds") -> Row:
    return measured(estimate, scheme="s", attack="a", measure=measure, data="simulated")


def rate_at(low: Array, high: Array, subject: Array, confidence: float, attacker: Array | None) -> Estimate:
    level = 2 * confidence - 1
    return clustered_rate(low, high, subject, side="attacker-at-least", level=level, attacker=attacker)


@given(
    people=st.integers(2, 30),
    each=st.integers(1, 12),
    rate=st.sampled_from([0.0, 0.01, 0.2, 0.5, 0.9, 1.0]),
    hands=st.integers(0, 5),
    seed=st.integers(0, 10**6),
    first=st.sampled_from([0.9, 0.95, 0.99]),
    wanted=CONFIDENCES,
)
def test_a_rate_at_another_confidence_is_the_rate_computed_anew(
    people: int, each: int, rate: float, hands: int, seed: int, first: float, wanted: float
) -> None:
    rng = np.random.default_rng(seed)
    subject = np.repeat(np.arange(people), each)
    hit = (rng.random(people * each) < rate).astype(float)
    attacker = rng.integers(0, hands, len(hit)) if hands else None
    row = row_of(rate_at(hit, hit, subject, first, attacker))
    anew = rate_at(hit, hit, subject, wanted, attacker)
    # an effective number near 0 or limits near 1 leave few digits to solve from
    assume(row.low == 0 or row.low > 1e-100)
    assert lower_limit(row, wanted) == pytest.approx(anew.low, rel=1e-6, abs=1e-9)
    assert upper_limit(row, wanted) == pytest.approx(anew.high, rel=1e-6, abs=1e-9)


@given(seed=st.integers(0, 10**6), gap=st.floats(0, 0.5), wanted=CONFIDENCES)
def test_odds_known_between_bounds_keep_both_bounds(seed: int, gap: float, wanted: float) -> None:
    rng = np.random.default_rng(seed)
    subject = np.repeat(np.arange(12), 6)
    low = (rng.random(72) < 0.3).astype(float)
    high = np.minimum(low + gap * (rng.random(72) < 0.5), 1.0)
    row = row_of(rate_at(low, high, subject, 0.95, None))
    anew = rate_at(low, high, subject, wanted, None)
    assume(row.low is not None and row.low > 0)
    assert lower_limit(row, wanted) == pytest.approx(anew.low, rel=1e-6, abs=1e-9)
    assert upper_limit(row, wanted) == pytest.approx(anew.high, rel=1e-6, abs=1e-9)


@given(weak=st.integers(0, 20), people=st.integers(1, 20), wanted=CONFIDENCES)
def test_shares_of_people_too(weak: int, people: int, wanted: float) -> None:
    hits = np.arange(people) < weak
    row = row_of(subject_rate(hits, np.arange(people), side="attacker-at-least"), "weak-people")
    anew = subject_rate(hits, np.arange(people), side="attacker-at-least", level=2 * wanted - 1)
    assert lower_limit(row, wanted) == pytest.approx(anew.low, rel=1e-6, abs=1e-9)
    assert upper_limit(row, wanted) == pytest.approx(anew.high, rel=1e-6, abs=1e-9)


def test_no_success_of_a_hundred_people_is_the_published_limit() -> None:
    # 1 - .05**(1/100), an identity
    none = np.zeros(100)
    row = row_of(clustered_rate(none, none, np.arange(100), side="attacker-at-least", level=0.98))
    assert effective_trials(row) == pytest.approx(100, rel=1e-9)
    assert upper_limit(row, 0.95) == pytest.approx(0.029513, abs=6e-7)
    assert lower_limit(row, 0.95) == 0


def test_ends_are_handed_on_unchanged_at_their_own_confidence() -> None:
    hit = np.array([1.0, 0.0, 0.0, 0.0, 1.0, 0.0])
    row = row_of(clustered_rate(hit, hit, np.arange(6) // 2, side="attacker-at-least"))
    assert (lower_limit(row, 0.95), upper_limit(row, 0.95)) == (row.low, row.high)


@pytest.mark.parametrize("unit", ["s", "probability"])
@given(
    values=st.lists(st.floats(0, 1), min_size=6, max_size=6),
    first=st.sampled_from([0.9, 0.95, 0.99]),
    wanted=CONFIDENCES,
)
def test_means_over_people_by_student(unit: str, values: list[float], first: float, wanted: float) -> None:
    x, subject = np.array(values), np.repeat(np.arange(3), 2)
    means = x.reshape(3, 2).mean(axis=1)
    assume(np.ptp(means) > 1e-6 or np.ptp(means) == 0)
    names = {
        "unit": unit,
        "side": "estimate",
        "method": "symbols" if unit == "probability" else "per-attempt",
    }
    measure = "bit-mismatch" if unit == "probability" else "time"
    row = row_of(subject_mean(x, subject, level=first, **names), measure)
    anew = subject_mean(x, subject, level=2 * wanted - 1, **names)
    assert row.low is not None
    assert row.high is not None
    low, high = lower_limit(row, wanted), upper_limit(row, wanted)
    assert low is not None
    assert high is not None
    if unit == "s" or wanted > (1 + first) / 2 or (row.low > 0 and row.high < 1):
        assert (low, high) == pytest.approx((anew.low, anew.high), rel=1e-6, abs=1e-9)
    else:  # where ends met the edge, never narrower than the truth
        assert low <= anew.low + 1e-9
        assert high >= anew.high - 1e-9


@given(gains=st.lists(st.floats(-1, 3), min_size=5, max_size=5), wanted=CONFIDENCES)
def test_information_has_a_lower_limit_and_no_upper(gains: list[float], wanted: float) -> None:
    x, subject = np.array(gains), np.arange(5)
    assume(np.ptp(x) > 1e-6)
    row = row_of(symbol_information(x, subject), "mutual-information")
    anew = symbol_information(x, subject, level=wanted)
    assert upper_limit(row, wanted) is None
    low = lower_limit(row, wanted)
    assert low is not None
    if row.low:
        assert low == pytest.approx(anew.low, rel=1e-6, abs=1e-9)
    else:
        assert low <= anew.low


def test_one_person_says_nothing_of_others() -> None:
    one = np.array([0.2, 0.4])
    names = {"unit": "probability", "side": "estimate", "method": "symbols"}
    row = row_of(subject_mean(one, np.zeros(2, int), **names), "bit-mismatch")
    assert lower_limit(row, 0.95) is None
    assert upper_limit(row, 0.95) is None


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), wanted=CONFIDENCES)
def test_entropy_by_jackknife(seed: int, wanted: float) -> None:
    rng = np.random.default_rng(seed)
    subject = np.repeat(np.arange(6), 5)
    symbols = rng.choice(3, p=[0.25, 0.5, 0.25], size=(30, 3)).astype(np.uint8)
    source = {
        "labels": np.array([[0, 0], [0, 1], [1, 1]], np.uint8),
        "parity": np.array([[1, 1, 0, 1, 1, 0], [0, 1, 1, 0, 1, 1]], np.uint8),
        "positions": np.arange(6)[None, :],
        "limit": 4.0,
    }
    row = row_of(estimated_min_entropy(symbols, subject, **source), "min-entropy")
    anew = estimated_min_entropy(symbols, subject, level=2 * wanted - 1, **source)
    assert row.low is not None
    assert row.high is not None
    assume(row.low > 0 and row.high < 4)
    assert lower_limit(row, wanted) == pytest.approx(anew.low, rel=1e-6, abs=1e-9)
    high = upper_limit(row, wanted)
    assert high is not None
    assert min(high, 4.0) == pytest.approx(anew.high, rel=1e-6, abs=1e-9)  # the row does not tell the limit


def test_medians_hand_on_an_end_that_is_sure_enough_and_nothing_else() -> None:
    ranks = np.arange(20.0)
    median = subject_median(
        ranks, ranks, np.arange(20), unit="log2", side="attacker-at-least", method="exact"
    )
    row = row_of(median, "key-rank")
    assert lower_limit(row, 0.95) == row.low
    assert upper_limit(row, 0.975) == row.high
    assert lower_limit(row, 0.98) is None
    few = subject_median(ranks[:4], ranks[:4], np.arange(4), unit="log2", side="estimate", method="exact")
    assert upper_limit(row_of(few, "key-rank"), 0.95) is None


def test_an_exact_figure_is_its_own_limit() -> None:
    value = Estimate(
        value=0.25, low=0.25, high=0.25, level=0.95, unit="probability", side="estimate", evidence="exact",
        subjects=1, attempts=1, method="design-effect",
    )  # fmt: skip
    assert lower_limit(row_of(value), 0.999) == upper_limit(row_of(value), 0.999) == 0.25
    counted = row_of(replace(value, low=0.1, high=0.4, evidence="counted", attempts=30))
    low = lower_limit(counted, 0.999)
    assert low is not None
    assert low < 0.1


def test_the_seen_share_is_no_limit_of_entropy() -> None:
    value = Estimate(
        value=1.8, low=1.8, high=1.9, level=0.99, unit="bit/symbol", side="defender-at-most",
        evidence="counted", subjects=1, attempts=1, method="most-common-value",
    )  # fmt: skip
    row = row_of(value, "min-entropy")
    assert lower_limit(row, 0.995) == 1.8
    assert lower_limit(row, 0.999) is None
    assert upper_limit(row, 0.95) is None


def test_what_was_not_measured_has_no_limit() -> None:
    row = unmeasured(
        "untested",
        "no",
        scheme="s",
        attack="a",
        measure="success-odds",
        unit="probability",
        data="recorded",
    )
    with pytest.raises(ValueError, match="measured"):
        lower_limit(row, 0.95)
    hit = np.ones(3)
    with pytest.raises(ValueError, match="confidence"):
        upper_limit(row_of(clustered_rate(hit, hit, np.arange(3), side="estimate")), 0.5)
