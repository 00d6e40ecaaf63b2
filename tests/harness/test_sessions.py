"""Chances over sessions: known values, unbiased for a person, bounds in order."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import InsufficientData
from harness.estimators.proportion import clustered_rate
from harness.estimators.sessions import any_success, most_over_sessions, odds_over_sessions


def test_ten_sessions_of_known_odds() -> None:
    assert most_over_sessions(0.401, 10) == pytest.approx(1 - 0.599**10)
    assert most_over_sessions(0.401, 10) == pytest.approx(0.994, abs=5e-4)
    assert most_over_sessions(1.0, 3) == 1.0
    assert most_over_sessions(0.0, 3) == 0.0
    assert most_over_sessions(1e-12, 10) == pytest.approx(1e-11)


@given(st.integers(0, 8), st.integers(0, 8), st.integers(1, 12))
def test_drawing_attempts_without_repeats_is_counting(hits: int, misses: int, sessions: int) -> None:
    attempts = hits + misses
    if attempts == 0:
        return
    drawn = min(sessions, attempts)
    none = math.comb(misses, drawn) / math.comb(attempts, drawn)
    chance = np.repeat([1.0, 0.0], [hits, misses])
    assert any_success(chance, np.zeros(attempts, int), sessions=sessions) == pytest.approx([1 - none])


@given(st.lists(st.tuples(st.integers(0, 2), st.floats(0, 1)), min_size=1, max_size=9), st.integers(1, 4))
def test_chances_in_between_count_for_what_they_are(drawn: list[tuple[int, float]], sessions: int) -> None:
    """Against enumeration of every set of attempts of each person."""
    subject, chance = np.array([s for s, _ in drawn]), np.array([c for _, c in drawn])
    expected = []
    for person in np.unique(subject):
        fails = (1 - chance[subject == person]).tolist()
        sets = list(itertools.combinations(fails, min(sessions, len(fails))))
        expected.append(1 - sum(math.prod(some) for some in sets) / len(sets))
    assert any_success(chance, subject, sessions=sessions) == pytest.approx(expected)


@given(st.floats(0.01, 0.99))
def test_it_is_unbiased_for_a_person(p: float) -> None:
    one = np.zeros(6, int)
    mean = sum(
        math.comb(6, h)
        * p**h
        * (1 - p) ** (6 - h)
        * float(any_success((np.arange(6) < h).astype(float), one, sessions=4)[0])
        for h in range(7)
    )
    assert mean == pytest.approx(1 - (1 - p) ** 4)


def test_where_attackers_are_people_the_low_end_is_that_of_one_session() -> None:
    subject, attacker = np.repeat(np.arange(20), 5), np.arange(100) % 2
    hits = (attacker == 0).astype(float)
    odds = clustered_rate(hits, hits, subject, side="attacker-at-least", attacker=attacker)
    found = odds_over_sessions(hits, subject, odds=odds, sessions=5, attacker=attacker)
    assert (found.low, found.value) == (odds.low, 1.0)


@given(st.integers(0, 2**32 - 1), st.sampled_from([1, 2, 10, 100]))
def test_bounds_are_in_order(seed: int, sessions: int) -> None:
    rng = np.random.default_rng(seed)
    subject = np.repeat(np.arange(12), 5)
    hits = (rng.random(60) < rng.random()).astype(float)
    odds = clustered_rate(hits, hits, subject, side="attacker-at-least")
    found = odds_over_sessions(hits, subject, odds=odds, sessions=sessions)
    assert 0 <= found.low <= found.value <= found.high <= 1
    assert found.value >= odds.value - 1e-12  # more sessions never make it less likely


def test_what_makes_no_sense_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        most_over_sessions(0.5, 0)
    with pytest.raises(ValueError, match=r"0\.\.1"):
        most_over_sessions(1.5, 2)
    none = np.zeros(0)
    odds = clustered_rate(np.zeros(2), np.zeros(2), np.zeros(2), side="estimate")
    with pytest.raises(InsufficientData, match="at least one attempt"):
        odds_over_sessions(none, none, odds=odds, sessions=3)
