"""Polynomials through points of which some are wrong, against trying all polynomials."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from harness.contracts import Array
from schemes.codes.field import field
from schemes.interpolation import evaluate, through_most


def points(rng: np.random.Generator, count: int, number: int, m: int) -> Array:
    return np.stack([rng.permutation(2**m)[:number] for _ in range(count)])


def test_values_as_written_out() -> None:
    """3 + 2 x over GF(16) at 0, 1 and 8, with 2 * 8 = x x^3 = x + 1 = 3."""
    assert evaluate(np.array([[3, 2]]), np.array([[0, 1, 8]]), m=4).tolist() == [[3, 1, 0]]


def test_finds_exactly_what_trying_all_polynomials_finds() -> None:
    rng = np.random.default_rng(1)
    count, number, k, m = 300, 7, 2, 4
    x = points(rng, count, number, m)
    sent = rng.integers(0, 16, (count, k))
    y = evaluate(sent, x, m=m) ^ np.where(rng.random(x.shape) < 0.4, rng.integers(0, 16, x.shape), 0)
    given = rng.random(x.shape) < 0.9
    coefficients, found = through_most(x, y, given, k=k, m=m)
    allowed = (given.sum(axis=1) - k) // 2
    right = np.zeros(count, bool)
    for candidate in product(range(16), repeat=k):
        tried = np.tile(candidate, (count, 1))
        wrong = ((evaluate(tried, x, m=m) != y) & given).sum(axis=1)
        fits = (wrong <= allowed) & (given.sum(axis=1) >= k)
        assert (found[fits]).all()
        assert (coefficients[fits] == candidate).all()
        right |= fits
    assert np.array_equal(found, right)
    assert 50 < found.sum() < 250
    assert not coefficients[~found].any()


@pytest.mark.parametrize("m", [8, 12, 16])
@pytest.mark.parametrize("zero_is_wrong", [True, False])
def test_places_of_the_errors_do_not_matter(m: int, zero_is_wrong: bool) -> None:
    """An error at x = 0 makes the locator a multiple of x."""
    rng = np.random.default_rng(m)
    x = points(rng, 40, 15, m)
    x[:, 0] = np.where((x[:, 1:] == 0).any(axis=1), x[:, 0], 0)
    sent = rng.integers(0, 2**m, (40, 5))
    wrong = np.arange(15) < 5 if zero_is_wrong else np.arange(15) >= 10
    y = evaluate(sent, x, m=m) ^ np.where(wrong, rng.integers(1, 2**m, x.shape), 0)
    coefficients, found = through_most(x, y, np.ones(x.shape, bool), k=5, m=m)
    assert found.all()
    assert np.array_equal(coefficients, sent)


def test_rows_are_found_independently() -> None:
    rng = np.random.default_rng(5)
    x = points(rng, 200, 12, 8)
    y = rng.integers(0, 256, x.shape)
    y[::2] = evaluate(rng.integers(0, 256, (100, 4)), x[::2], m=8)
    given = rng.random(x.shape) < 0.8
    coefficients, found = through_most(x, y, given, k=4, m=8)
    assert found[::2].sum() > 90
    again, ok = through_most(x[3:9], y[3:9], given[3:9], k=4, m=8)
    assert np.array_equal(again, coefficients[3:9])
    assert np.array_equal(ok, found[3:9])


def test_fewer_points_than_coefficients_give_nothing() -> None:
    x = np.arange(6)[None]
    _, found = through_most(x, x, np.arange(6)[None] < 2, k=3, m=8)
    assert not found.any()


def test_inverse_of_zero_never_counts() -> None:
    assert field(8).inverses[0] == 0
