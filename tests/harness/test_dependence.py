"""Dependence of neighbours: seen where it is, and no oftener than said where it is not."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from harness.estimators.dependence import neighbours_p_value
from harness.streams import stream


def test_a_chain_is_seen_and_shares_of_single_people_are_not() -> None:
    rng = stream(0, "dependence")
    stays = (np.cumsum(rng.random((60, 40)) < 0.35, axis=1) + rng.integers(0, 2, (60, 1))) % 2
    assert neighbours_p_value(stays, alphabet=2, rng=rng) == 0.01
    biased = (rng.random((60, 40)) < rng.random((60, 1))).astype(int)
    assert neighbours_p_value(biased, alphabet=2, rng=rng) > 0.01


@pytest.mark.parametrize("symbols", [np.zeros((5, 9), int), np.ones((5, 1), int), np.zeros((0, 9), int)])
def test_where_nothing_can_be_seen_nothing_is(symbols: np.ndarray) -> None:
    assert neighbours_p_value(symbols, alphabet=2, rng=stream(0, "none")) == 1.0


def test_attempts_of_two_symbols_are_looked_at() -> None:
    """Sixty pairs, half of them turned: as even as can be, which one shuffle in ten is (by arithmetic)."""
    turned = np.tile([[0, 1], [1, 0]], (30, 1))
    found = neighbours_p_value(turned, alphabet=2, rng=stream(0, "two"), repetitions=999)
    assert 1000 * found - 1 == pytest.approx(999 * binom.pmf(30, 60, 0.5), abs=40)


def test_the_size_is_as_said() -> None:
    runs, hits = 300, 0
    for i in range(runs):
        rng = stream(i, "size of dependence")
        hits += neighbours_p_value(rng.integers(0, 3, (8, 20)), alphabet=3, rng=rng, repetitions=19) <= 0.05
    assert binom.ppf(0.005, runs, 0.05) <= hits <= binom.isf(0.005, runs, 0.05)
