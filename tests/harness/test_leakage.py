"""Information limits and the permutation test, on channels of known truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.leakage import key_information, permutation_p_value, symbol_information

PEOPLE, ATTEMPTS, SYMBOLS = 10, 5, 16
SUBJECT = np.repeat(np.arange(PEOPLE), ATTEMPTS)

# Capacity of the binary symmetric channel, 1 - h(p): identities
CAPACITY = {0.1: 0.531004406411, 0.11: 0.500084041835, 0.25: 0.188721875541}


def gains(p: float, rng: np.random.Generator, *, rows: int = PEOPLE * ATTEMPTS) -> Array:
    """Bits per symbol that the right channel gains over fair coins."""
    wrong = rng.random((rows, SYMBOLS)) < p
    return 1 + np.where(wrong, np.log2(p), np.log2(1 - p)).mean(axis=1)


@pytest.mark.parametrize("p", CAPACITY)
def test_gain_estimates_the_capacity(p: float) -> None:
    """Within 4 sigma of 50 000 attempts."""
    rows = 50_000
    values = gains(p, np.random.default_rng(1), rows=rows)
    found = symbol_information(values, np.arange(rows))
    sigma = np.sqrt(p * (1 - p) / (rows * SYMBOLS)) * np.log2((1 - p) / p)
    assert abs(found.value - CAPACITY[p]) < 4 * sigma
    assert (found.unit, found.side) == ("bit/symbol", "attacker-at-least")
    assert np.isnan(found.high)


def covered(p: float, repetitions: int, seed: int, *, shift: float = 0.0) -> int:
    rng = np.random.default_rng(seed)
    return sum(
        symbol_information(gains(p, rng) + shift, SUBJECT).low <= CAPACITY[p] for _ in range(repetitions)
    )


@pytest.mark.parametrize(("p", "coverage"), [(0.1, 0.9407), (0.25, 0.9463)])
def test_lower_limit_covers_a_known_channel(p: float, coverage: float) -> None:
    """The limit promises .95; skew of 80 rare errors a person costs up to .009 with ten people.

    Coverage from 400 000 runs of binomial error counts, drawn apart from the estimator.
    """
    found = covered(p, 1000, 2)
    assert binom.ppf(0.0025, 1000, coverage) <= found <= binom.ppf(0.9975, 1000, coverage)


def test_an_estimate_that_is_too_high_fails_the_same_check() -> None:
    assert covered(0.25, 300, 3, shift=0.05) < binom.ppf(0.01 / 2, 300, 0.95)


def test_a_wrong_belief_gains_less_than_nothing_and_shows_nothing() -> None:
    found = symbol_information(np.full(50, -0.3), SUBJECT)
    assert (found.value, found.low) == (0, 0)


def test_what_is_known_of_a_key() -> None:
    """Eight fair bits through a channel of .1: 8 (1 - h) bits."""
    rng = np.random.default_rng(5)
    surprise = -np.log2(np.where(rng.random((20_000, 8)) < 0.1, 0.1, 0.9)).sum(axis=1)
    found = key_information(surprise, np.arange(20_000), entropy=8)
    sigma = np.sqrt(0.09 * 8 / 20_000) * np.log2(9)
    assert abs(found.value - 8 * CAPACITY[0.1]) < 4 * sigma
    assert found.unit == "bit"
    assert key_information(np.array([np.inf, 0.0]), np.arange(2), entropy=128).value == 0


def test_one_person_has_no_lower_limit() -> None:
    assert np.isnan(symbol_information(np.ones(4), np.zeros(4, int)).low)


def tables(rng: np.random.Generator, leak: float, *, people: int = 6, rows: int = 5) -> list[Array]:
    """Gains under a planted leak: a belief tells its own attempt's symbols with correlation `leak`."""
    made = []
    for _ in range(people):
        symbols = rng.choice([-1.0, 1.0], (rows, SYMBOLS))
        seen = leak * symbols + rng.normal(0, 1, (rows, SYMBOLS)) + rng.normal(0, 1, SYMBOLS)
        made.append(seen @ symbols.T / SYMBOLS)
    return made


def rejected(leak: float, repetitions: int, seed: int) -> int:
    rng = np.random.default_rng(seed)
    return sum(
        permutation_p_value(tables(rng, leak), rng=rng, repetitions=99).value <= 0.05
        for _ in range(repetitions)
    )


def test_size_is_exact_under_the_null() -> None:
    """99 permutations: p is uniform on 1/100, 2/100 ... without ties, so P(p <= .05) = .05."""
    found = rejected(0.0, 2000, 7)
    assert binom.ppf(0.005, 2000, 0.05) <= found <= binom.ppf(0.995, 2000, 0.05)


def test_a_planted_leak_is_found() -> None:
    """At this leak the trace lies 4.4 standard deviations off, so that of 100 runs hardly one misses."""
    assert rejected(0.4, 100, 8) >= 95


def test_diagonal_tables_reach_the_least_p() -> None:
    found = permutation_p_value([np.eye(5)] * 4, rng=np.random.default_rng(0), repetitions=999)
    assert found.value == 1 / 1000
    assert (found.subjects, found.attempts, found.low, found.high) == (4, 20, found.value, found.value)


def test_equal_statistics_count_against_the_attacker() -> None:
    found = permutation_p_value([np.full((4, 4), 0.1)] * 3, rng=np.random.default_rng(0), repetitions=99)
    assert found.value == 1


def test_what_is_missing_is_named() -> None:
    with pytest.raises(InsufficientData, match="needs two attempts of one subject, got none"):
        permutation_p_value([np.ones((1, 1))], rng=np.random.default_rng(0))
    with pytest.raises(InsufficientData, match="an information estimate needs at least one attempt"):
        symbol_information(np.zeros(0), np.zeros(0))
