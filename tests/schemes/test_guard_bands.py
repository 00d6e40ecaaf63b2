"""Guard bands: which features are kept, what that says, and what it is worth, against arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import ndtr, ndtri
from scipy.stats import beta, chi2_contingency

from harness.contracts import Array
from schemes.guard_bands import clearance, kept_indices
from schemes.zero_leakage import cell


def mismatch(rho: float, features: int, kept: int) -> float:
    """P(signs differ) for the `kept` of `features` with the largest |a|.

    Given a, B's sign differs with probability Φ(-ρ |a| / √(1 - ρ²)); the share of |a| below its j-th
    smallest value is Beta(j, features + 1 - j).
    """

    def differs(share: float) -> float:
        size = ndtri((1 + share) / 2)
        return float(ndtr(-rho * size / np.sqrt(1 - rho**2)))

    ranks = range(features - kept + 1, features + 1)

    def density(share: float) -> float:
        return float(np.mean([beta(j, features + 1 - j).pdf(share) for j in ranks]))

    return quad(lambda s: differs(s) * density(s), 0, 1, limit=200)[0]


def correlated(seed: int, attempts: int, features: int, rho: float) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    a = rng.standard_normal((attempts, features))
    return a, rho * a + np.sqrt(1 - rho**2) * rng.standard_normal(a.shape)


@pytest.mark.parametrize("kept", [8, 12, 16])
def test_signs_differ_as_often_as_the_integral_says(kept: int) -> None:
    attempts, rho = 20_000, 0.9
    a, b = correlated(kept, attempts, 16, rho)
    at = kept_indices(clearance(ndtr(a), 2), kept)
    differ = np.take_along_axis((a > 0) != (b > 0), at, axis=1).mean(axis=1)
    error = differ.std() / np.sqrt(attempts)  # features of one attempt are not chosen independently
    assert abs(differ.mean() - mismatch(rho, 16, kept)) < 3.5 * error


def test_without_guard_bands_the_integral_is_the_known_one() -> None:
    """arccos(ρ) / π (Sheppard 1899, from memory)."""
    assert mismatch(0.9, 12, 12) == pytest.approx(np.arccos(0.9) / np.pi, abs=1e-6)
    assert mismatch(0.9, 16, 8) < 0.3 * mismatch(0.9, 16, 16)


@pytest.mark.parametrize("levels", [2, 4, 8])
def test_being_kept_tells_nothing_of_the_cell(levels: int) -> None:
    u = ndtr(correlated(levels, 4000, 16, 0.5)[0])
    kept = np.zeros(u.shape, bool)
    np.put_along_axis(kept, kept_indices(clearance(u, levels), 6), True, axis=1)
    symbols = cell(u, levels)
    table = [[int((kept[symbols == s] == k).sum()) for k in (False, True)] for s in range(levels)]
    assert chi2_contingency(table).pvalue > 0.01 / 3


def test_being_kept_tells_of_the_cell_if_features_lean() -> None:
    u = ndtr(correlated(1, 4000, 16, 0.5)[0] + 0.3)
    kept = np.zeros(u.shape, bool)
    np.put_along_axis(kept, kept_indices(clearance(u, 2), 6), True, axis=1)
    table = [[int((kept[(u > 0.5) == s] == k).sum()) for k in (False, True)] for s in (False, True)]
    assert chi2_contingency(table).pvalue < 1e-20


def test_clearance_as_written_out() -> None:
    u = np.array([0.0, 0.2, 0.5, 1.0])
    assert clearance(u, 2) == pytest.approx([0.5, 0.3, 0.0, 0.5])
    assert clearance(np.array([0.0, 0.125, 0.3, 0.5, 0.99]), 4) == pytest.approx([0, 0.125, 0.05, 0, 0.01])


@given(seed=st.integers(0, 2**32), features=st.integers(1, 30), data=st.data())
def test_the_clearest_are_kept_in_ascending_order(seed: int, features: int, data: st.DataObject) -> None:
    count = data.draw(st.integers(0, features))
    values = np.random.default_rng(seed).random((3, features))
    at = kept_indices(values, count)
    assert (np.diff(at, axis=1) > 0).all()
    for row, chosen in zip(values, at, strict=True):
        assert sorted(row[chosen]) == sorted(row)[features - count :]


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: clearance(np.zeros(2), 1), "2 to 256, got 1"),
        (lambda: kept_indices(np.zeros((2, 5)), 6), "at least 6 features to keep 6, got 5"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        call()
