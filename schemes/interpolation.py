"""Polynomials over GF(2^m) through points of which some are wrong, a batch at a time.

References
----------
Welch and Berlekamp, US patent 4,633,470 (1986) (from memory): if N(x) = y E(x) at all points, with E
of degree at most t and N of degree below k + t, then N / E is the polynomial of degree below k that
agrees with all but at most t of at least k + 2t points.
"""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from schemes.codes.field import Field, field

__all__ = ["evaluate", "through_most"]

_CHUNK = 64  # systems at a time: their matrices stay in cache


def evaluate(coefficients: Array, x: Array, *, m: int) -> Array:
    """Values (count, points) of polynomials (count, k), lowest power first, at x (count, points)."""
    over = field(m)
    value = np.zeros(x.shape, over.exp.dtype)
    for column in coefficients.T[::-1]:
        value = over.times(value, x) ^ column[:, None]
    return value


def through_most(x: Array, y: Array, given: Array, *, k: int, m: int) -> tuple[Array, Array]:
    """The polynomial of degree below k that agrees with all but few of the given points.

    Parameters
    ----------
    x, y : int, shape (count, points)
        Elements of GF(2^m); the given x of a row differ.
    given : bool, shape (count, points)
        Points that are there.
    k : int
        Coefficients.
    m : int
        Degree of the field, 3 to 16.

    Returns
    -------
    coefficients : shape (count, k)
        Lowest power first; zero where there is none.
    found : bool, shape (count,)
        Where a polynomial agrees with all but (g - k) // 2 of the g given points; it is the only one.
    """
    over = field(m)
    coefficients = np.zeros((len(x), k), over.exp.dtype)
    found = np.zeros(len(x), np.bool_)
    first = np.argsort(~given, axis=1, kind="stable")  # given points to the front
    number = given.sum(axis=1)
    for count in np.unique(number[number >= k]):
        same = np.flatnonzero(number == count)
        for start in range(0, same.size, _CHUNK):
            some = same[start : start + _CHUNK]
            at = first[some, :count]
            points = [np.take_along_axis(v[some], at, axis=1).astype(over.exp.dtype) for v in (x, y)]
            coefficients[some], found[some] = _solve(points[0], points[1], k, over)
    return coefficients, found


def _solve(x: Array, y: Array, k: int, over: Field) -> tuple[Array, Array]:
    errors = (x.shape[1] - k) // 2
    powers = [np.ones_like(x)]
    for _ in range(k + errors - 1):
        powers.append(over.times(powers[-1], x))
    numerator = np.stack(powers, axis=2)  # (count, points, k + errors)
    denominator = over.times(numerator[..., : errors + 1], y[..., None])
    solution = _kernel(np.concatenate([denominator, numerator], axis=2), over)
    quotient, exact = _divide(solution[:, errors + 1 :], solution[:, : errors + 1], k, over)
    wrong = (evaluate(quotient, x, m=over.m) != y).sum(axis=1)
    found = exact & (wrong <= errors)
    return quotient * found[:, None].astype(quotient.dtype), found


def _kernel(matrix: Array, over: Field) -> Array:
    """Solutions (count, unknowns) of matrix (count, points, unknowns) times v = 0; zero if no other.

    Columns are eliminated from the left. Up to a system's first column without a pivot, column c has its
    pivot in row c; that column, read off there, is the solution.
    """
    count, points, unknowns = matrix.shape
    solution = np.zeros((count, unknowns), matrix.dtype)
    index = np.arange(count)  # systems still without a solution
    for column in range(unknowns):
        free = ~matrix[:, column:, column].any(axis=1)
        if free.any():
            solution[index[free], :column] = matrix[free, :column, column]
            solution[index[free], column] = 1
            matrix, index = matrix[~free], index[~free]
        if not index.size or column == points:
            break
        systems = np.arange(len(index))
        pivot = column + (matrix[:, column:, column] != 0).argmax(axis=1)
        row = matrix[systems, pivot, column:]
        matrix[systems, pivot] = matrix[:, column]
        row = over.times(row, over.inverses.take(row[:, :1]))
        factor = matrix[:, :, column].copy()
        factor[:, column] = 0
        matrix[:, :, column:] ^= over.times(factor[:, :, None], row[:, None])
        matrix[:, column, column:] = row
    return solution


def _divide(numerator: Array, denominator: Array, k: int, over: Field) -> tuple[Array, Array]:
    """Quotients (count, k) of polynomials, lowest power first, and where nothing remains."""
    quotient = np.zeros((len(numerator), k), numerator.dtype)
    exact = np.zeros(len(numerator), np.bool_)
    width = denominator.shape[1]
    degree = width - 1 - (denominator[:, ::-1] != 0).argmax(axis=1)
    nonzero = denominator.any(axis=1)
    for d in range(width):
        some = np.flatnonzero(nonzero & (degree == d))
        if not some.size:
            continue
        rest, divisor = numerator[some], denominator[some, : d + 1]
        lead = over.inverses.take(divisor[:, d])
        for power in range(k - 1, -1, -1):
            factor = over.times(rest[:, power + d], lead)
            quotient[some, power] = factor
            rest[:, power : power + d + 1] ^= over.times(divisor, factor[:, None])
        exact[some] = ~rest.any(axis=1)
    return quotient, exact
