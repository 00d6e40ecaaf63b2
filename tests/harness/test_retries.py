"""Tries until a key: exact for known people, free of bias for sampled ones, and bad input."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from harness.errors import InsufficientData
from harness.estimators.retries import (
    agreement_within,
    expected_tries,
    mean_tries,
    time_until_key,
    tries_for_share,
    tries_quantile,
)

CHANCES = st.floats(0.01, 1)


@given(p=CHANCES, share=st.floats(0.01, 0.99))
def test_one_person_is_geometric(p: float, share: float) -> None:
    one = np.ones(1)
    assert expected_tries(np.array([p]), one) == pytest.approx(1 / p)
    found = tries_quantile(np.array([p]), one, share=share)
    assert 1 - (1 - p) ** found >= share - 1e-9
    assert found == 1 or 1 - (1 - p) ** (found - 1) < share + 1e-9


@given(chances=st.lists(CHANCES, min_size=1, max_size=6))
def test_people_who_differ_take_longer_than_their_mean_tells(chances: list[float]) -> None:
    p, w = np.array(chances), np.full(len(chances), 1 / len(chances))
    assert expected_tries(p, w) >= 1 / p.mean() - 1e-9


def test_somebody_who_never_agrees_makes_the_mean_infinite() -> None:
    p, w = np.array([0.9, 0.0]), np.array([0.95, 0.05])
    assert expected_tries(p, w) == math.inf
    assert tries_quantile(p, w, share=0.94) == 2
    assert tries_quantile(p, w, share=0.96) == math.inf
    assert tries_quantile(np.array([0.0]), np.ones(1), share=0.5) == math.inf


@settings(max_examples=50, deadline=None)
@given(size=st.integers(1, 7), agreed=st.integers(0, 7), tries=st.integers(1, 7))
def test_a_person_s_value_is_the_share_of_choices(size: int, agreed: int, tries: int) -> None:
    if agreed > size or tries > size:
        return
    outcomes = np.arange(size) < agreed
    chosen = [any(c) for c in itertools.combinations(outcomes.tolist(), tries)]
    found = agreement_within(outcomes, np.zeros(size, int), tries=tries)
    assert found.value == pytest.approx(np.mean(chosen), abs=1e-9)
    assert np.isnan(found.low)


@settings(max_examples=30, deadline=None)
@given(p=st.floats(0.05, 0.95), size=st.integers(1, 6), tries=st.integers(1, 7))
def test_values_are_free_of_bias(p: float, size: int, tries: int) -> None:
    """Summed over every number of agreements that may come, with its probability."""
    tries = min(tries, size + 1)
    subject = np.zeros(size, int)
    mean = sum(
        binom.pmf(k, size, p) * mean_tries(np.arange(size) < k, subject, tries=tries).value
        for k in range(size + 1)
    )
    assert mean == pytest.approx(sum((1 - p) ** j for j in range(tries)), abs=1e-9)
    if tries <= size:
        within = sum(
            binom.pmf(k, size, p) * agreement_within(np.arange(size) < k, subject, tries=tries).value
            for k in range(size + 1)
        )
        assert within == pytest.approx(1 - (1 - p) ** tries, abs=1e-9)


SUBJECT = np.repeat(np.arange(10), 4)
AGREED = np.random.default_rng(1).random(40) < 0.6


def test_more_tries_agree_more_often_and_take_longer() -> None:
    within = [agreement_within(AGREED, SUBJECT, tries=n) for n in (1, 2, 3, 4)]
    spent = [mean_tries(AGREED, SUBJECT, tries=n) for n in (1, 2, 3, 4, 5)]
    assert [e.value for e in within] == sorted(e.value for e in within)
    assert [e.value for e in spent] == sorted(e.value for e in spent)
    assert within[0].value == pytest.approx(AGREED.mean())
    assert (spent[0].value, spent[0].low, spent[0].high) == (1, 1, 1)
    for e in within + spent:
        assert e.low <= e.value <= e.high
    time = time_until_key(AGREED, np.full(40, 26.6), SUBJECT, tries=3)
    assert time.value == pytest.approx(26.6 * spent[2].value)
    assert (time.unit, time.high <= 3 * 26.6) == ("s", True)


def test_people_who_all_agree_may_have_been_lucky() -> None:
    """Ten of ten: Clopper–Pearson's lower limit of .6915 at 95 %, two-sided."""
    found = agreement_within(np.ones(40, bool), SUBJECT, tries=2)
    assert (found.value, found.high) == (1, 1)
    assert found.low == pytest.approx(0.025 ** (1 / 10))


def test_tries_for_a_share_turn_the_limits_round() -> None:
    found = tries_for_share(AGREED, SUBJECT, share=0.8)
    assert found.low <= found.value
    assert np.isnan(found.high) or found.value <= found.high
    first = agreement_within(AGREED, SUBJECT, tries=int(found.value))
    assert first.value >= 0.8
    with pytest.raises(InsufficientData, match=r"4 tries, .* agree in 0 of cases, less than 0\.5") as no:
        tries_for_share(np.zeros(40, bool), SUBJECT, share=0.5)
    assert no.value.partial is not None
    assert no.value.partial.value == 0


def test_bad_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="`agreed` must be one bool for each of 40 attempts, got float64"):
        agreement_within(AGREED * 1.0, SUBJECT, tries=1)
    with pytest.raises(
        ValueError, match="`seconds` must hold a time of at least 0 for each of 40 attempts"
    ):
        time_until_key(AGREED, np.full(40, np.nan), SUBJECT, tries=1)
    with pytest.raises(ValueError, match="`share` must lie strictly between 0 and 1, got 1"):
        tries_for_share(AGREED, SUBJECT, share=1.0)
    with pytest.raises(ValueError, match="`tries` must be at least 1, got 0"):
        mean_tries(AGREED, SUBJECT, tries=0)
    with pytest.raises(ValueError, match="`tries` must be at least 1, got 0"):
        agreement_within(AGREED, SUBJECT, tries=0)
    with pytest.raises(ValueError, match="`agreement` must hold probabilities"):
        expected_tries(np.array([1.1]), np.ones(1))
    with pytest.raises(ValueError, match="`weight` must hold probabilities that sum to 1, got a sum of 2"):
        tries_quantile(np.array([0.5, 0.5]), np.ones(2), share=0.5)


def test_too_few_attempts_are_named() -> None:
    with pytest.raises(
        InsufficientData, match="5 tries need as many attempts of everybody, got 4 of subject 0"
    ):
        agreement_within(AGREED, SUBJECT, tries=5)
    with pytest.raises(InsufficientData, match="at least one attempt, got none"):
        mean_tries(np.zeros(0, bool), np.zeros(0, int), tries=1)
