"""Positions inside cells: silent about the cell, and what they are worth, against arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import ndtr, ndtri
from scipy.stats import binom, chi2_contingency, norm

from harness.contracts import Array
from schemes.zero_leakage import cell, choose, position


def correlated(seed: int, count: int, correlation: float) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    a = rng.standard_normal(count)
    return a, correlation * a + np.sqrt(1 - correlation**2) * rng.standard_normal(count)


def agreement(levels: int, rho: float) -> float:
    """P(chosen cell = A's), by integrating over the position."""
    spread = np.sqrt(1 - rho**2)

    def at(share: float) -> float:
        point = ndtri((np.arange(levels) + share) / levels)
        halfway = rho * (point[1:] + point[:-1]) / 2
        edges = np.concatenate([[-np.inf], halfway, [np.inf]])
        return float(
            (ndtr((edges[1:] - rho * point) / spread) - ndtr((edges[:-1] - rho * point) / spread)).mean()
        )

    return quad(at, 0, 1, epsabs=1e-6)[0]


def test_cells_and_positions_as_written_out() -> None:
    u = np.array([0.0, 0.1, 0.25, 0.6, 0.9999, 1.0])
    assert cell(u, 4).tolist() == [0, 0, 1, 2, 3, 3]
    assert position(u, 4) == pytest.approx([0, 0.4, 0, 0.4, 0.9996, 1.0])


@given(
    levels=st.integers(2, 16),
    u=st.lists(st.floats(0, 1), min_size=1, max_size=30),
    correlation=st.floats(0.01, 1),
)
def test_the_same_feature_gives_the_same_cell(levels: int, u: list[float], correlation: float) -> None:
    feature = np.array(u)
    inside = position(feature, levels)
    assert ((inside >= 0) & (inside <= 1)).all()
    clear = (inside > 1e-6) & (inside < 1 - 1e-6)
    chosen = choose(feature, inside, levels)
    assert np.array_equal(chosen[clear], cell(feature, levels)[clear])
    # nearer to the mean, but in the same order
    shrunk = ndtr(correlation * ndtri(np.clip(feature, 1e-12, 1 - 1e-12)))
    again = choose(shrunk, inside, levels, correlation=correlation)
    assert np.array_equal(again[clear], cell(feature, levels)[clear])


@pytest.mark.parametrize("levels", [2, 4, 8])
def test_position_tells_nothing_of_the_cell_under_the_right_distribution(levels: int) -> None:
    u = ndtr(np.random.default_rng(levels).standard_normal(80_000))
    table = np.zeros((levels, 8))
    np.add.at(table, (cell(u, levels), np.floor(position(u, levels) * 8).astype(int)), 1)
    assert chi2_contingency(table).pvalue > 0.01 / 3
    assert np.abs(table - 10_000 / levels).max() < 5 * np.sqrt(10_000 / levels)


def test_position_tells_of_the_cell_under_a_wrong_distribution() -> None:
    """Features spread a fifth wider than is assumed: outer cells fill from outside."""
    u = ndtr(1.2 * np.random.default_rng(1).standard_normal(80_000))
    table = np.zeros((4, 8))
    np.add.at(table, (cell(u, 4), np.floor(position(u, 4) * 8).astype(int)), 1)
    assert chi2_contingency(table).pvalue < 1e-20


@pytest.mark.parametrize(("levels", "rho"), [(2, 0.8), (2, 0.95), (4, 0.95), (8, 0.99)])
def test_agreement_is_that_of_the_integral(levels: int, rho: float) -> None:
    count = 60_000
    a, b = correlated(levels, count, rho)
    u = ndtr(a)
    right = int((choose(ndtr(b), position(u, levels), levels, correlation=rho) == cell(u, levels)).sum())
    low, high = binom(count, agreement(levels, rho)).interval(1 - 0.01 / 4)
    assert low <= right <= high


def test_positions_are_worth_something() -> None:
    """Without them two signs agree with probability 1/2 + arcsin(ρ) / π (Sheppard 1899, from memory)."""
    a, b = correlated(3, 60_000, 0.9)
    plain = (cell(ndtr(a), 2) == cell(ndtr(b), 2)).mean()
    expected = 0.5 + np.arcsin(0.9) / np.pi
    assert plain == pytest.approx(expected, abs=4 * np.sqrt(expected * (1 - expected) / 60_000))
    assert agreement(2, 0.9) > expected + 0.08


def test_nearest_point_is_chosen_on_the_scale_of_normal_scores() -> None:
    """Two levels, A in the middle of a cell: points at -.674 and .674, so the sign decides."""
    b = ndtr(np.array([-0.01, 0.01, 3.0]))
    assert choose(b, np.full(3, 0.5), 2).tolist() == [0, 1, 1]
    # at a tenth of a cell: points at -1.645 and .126, halfway at -.76
    halfway = (norm.ppf(0.05) + norm.ppf(0.55)) / 2
    b = ndtr(halfway + np.array([-0.01, 0.01]))
    assert choose(b, np.full(2, 0.1), 2).tolist() == [0, 1]


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: cell(np.array([0.5]), 1), "2 to 256, got 1"),
        (lambda: cell(np.array([1.5]), 4), "between 0 and 1, got 1.5 to 1.5"),
        (lambda: position(np.array([np.nan]), 4), "between 0 and 1, got nan"),
        (
            lambda: choose(np.array([0.5]), np.array([0.5]), 4, correlation=0),
            "above 0 and at most 1, got 0",
        ),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        call()
