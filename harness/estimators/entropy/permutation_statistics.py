"""The statistics by which orders of one sequence are compared, for many orders of it at once."""

from __future__ import annotations

import bz2
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np

from harness.contracts import Array

__all__ = ["LAGS", "STATISTICS", "block_ones", "block_values", "order_statistics"]

LAGS = (1, 2, 8, 16, 32)
_PLAIN = (
    "excursion",
    "directional-runs",
    "longest-directional-run",
    "increases-or-decreases",
    "median-runs",
    "longest-median-run",
    "average-collision",
    "longest-collision",
)
STATISTICS = (
    *_PLAIN,
    *(f"periodicity-{p}" for p in LAGS),
    *(f"covariance-{p}" for p in LAGS),
    "compression",
)
"""Eleven statistics; periodicity and covariance count once at each of five lags."""

_Values: TypeAlias = dict[str, Array]


def block_ones(bits: Array) -> Array:
    """How many ones are in each eight bits of every row, the last eight filled up with zeros.

    References
    ----------
    NIST SP 800-90B (2018) §5.1, "Conversion I" (from memory, with its example).

    Examples
    --------
    >>> s = np.array([[1, 0, 0, 0, 1, 1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 1, 0, 0, 1, 1]])
    >>> block_ones(s).tolist(), block_values(s).tolist()
    ([[4, 6, 2]], [[142, 219, 48]])
    """
    return np.asarray(np.bitwise_count(block_values(bits)))


def block_values(bits: Array) -> Array:
    """Each eight bits of every row as a number, the first bit weighing most ("Conversion II")."""
    return np.packbits(np.asarray(bits, np.uint8), axis=1)


def order_statistics(
    rows: Array, *, binary: bool, middle: float, names: Sequence[str] = STATISTICS
) -> _Values:
    """The statistics of SP 800-90B §5.1.1–5.1.11, of every row.

    Parameters
    ----------
    rows : (orders, n) uint8
        Orders of one sequence, n at least 2.
    binary : bool
        Symbols are 0 and 1: directions, periodicity and covariance are then of the ones in each eight
        bits, collisions of eight bits read as a number.
    middle : float
        The median of the sequence; for bits, one half.
    names : sequence of str
        Which of `STATISTICS`.

    Returns
    -------
    dict of str to (orders,) array
        int64, but float64 for "average-collision". "excursion" is n times the standard's, so that it is
        a whole number: every tie is exact. A lag as long as the sequence gives 0, and so do collisions
        where nothing recurs.

    References
    ----------
    NIST SP 800-90B (2018) §5.1.1–5.1.11 (from memory, held against its examples).

    Examples
    --------
    >>> s = np.array([[2, 1, 1, 2, 0, 1, 0, 1, 1, 2]], np.uint8)
    >>> found = order_statistics(s, binary=False, middle=1.0)
    >>> float(found["average-collision"][0]), int(found["longest-collision"][0])
    (3.0, 4)
    """
    wanted = set(names)
    numbers = block_ones(rows) if binary else rows
    found: _Values = {}
    if "excursion" in wanted:
        found["excursion"] = _excursion(rows)
    if wanted & {"directional-runs", "longest-directional-run", "increases-or-decreases"}:
        found |= _directions(numbers)
    if wanted & {"median-runs", "longest-median-run"}:
        found["median-runs"], found["longest-median-run"] = _runs(rows >= middle)
    if wanted & {"average-collision", "longest-collision"}:
        blocks = block_values(rows) if binary else rows
        found["average-collision"], found["longest-collision"] = _collisions(blocks)
    for lag in LAGS:
        ahead, behind = numbers[:, lag:], numbers[:, :-lag]
        if f"periodicity-{lag}" in wanted:
            found[f"periodicity-{lag}"] = np.count_nonzero(ahead == behind, axis=1)
        if f"covariance-{lag}" in wanted:
            # whole numbers far below 2^53: exact in float64, where products of rows are fast
            found[f"covariance-{lag}"] = np.einsum(
                "ij,ij->i", ahead.astype(np.float64), behind.astype(np.float64)
            ).astype(np.int64)
    if "compression" in wanted:
        found["compression"] = _compressed(rows)
    return {name: found[name] for name in names}


def _excursion(rows: Array) -> Array:
    n = rows.shape[1]
    sums = np.cumsum(rows, axis=1, dtype=np.int64)
    away = sums * n - np.arange(1, n + 1) * sums[:, -1:]
    return np.asarray(np.abs(away).max(axis=1))


def _directions(numbers: Array) -> _Values:
    if numbers.shape[1] < 2:
        nothing = np.zeros(len(numbers), np.int64)
        return dict.fromkeys(
            ("directional-runs", "longest-directional-run", "increases-or-decreases"), nothing
        )
    rises = numbers[:, 1:] >= numbers[:, :-1]
    runs, longest = _runs(rises)
    up = np.count_nonzero(rises, axis=1)
    return {
        "directional-runs": runs,
        "longest-directional-run": longest,
        "increases-or-decreases": np.maximum(up, rises.shape[1] - up),
    }


def _runs(flags: Array) -> tuple[Array, Array]:
    """How many runs every row has, and how long the longest is."""
    n = flags.shape[1]
    begins = np.ones(flags.shape, bool)
    np.not_equal(flags[:, 1:], flags[:, :-1], out=begins[:, 1:])
    start = np.flatnonzero(begins.ravel())
    length = np.diff(np.append(start, flags.size))
    longest = np.maximum.reduceat(length, np.flatnonzero(start % n == 0))
    return np.count_nonzero(begins, axis=1), longest


def _collisions(rows: Array) -> tuple[Array, Array]:
    """Symbols until one recurs, again and again: their mean, and the most."""
    n = rows.shape[1]
    order = np.argsort(rows, axis=1, kind="stable")
    in_order = np.take_along_axis(rows, order, axis=1)
    recurs = np.full(rows.shape, n, np.int64)  # where the same symbol comes next
    later = np.where(in_order[:, 1:] == in_order[:, :-1], order[:, 1:], n)
    np.put_along_axis(recurs, order[:, :-1], later, axis=1)
    first = np.minimum.accumulate(recurs[:, ::-1], axis=1)[:, ::-1]  # first recurrence from here on
    mean, most = np.zeros(len(rows)), np.zeros(len(rows), np.int64)
    for row, ends in enumerate(first.tolist()):
        at, count, longest = 0, 0, 0
        while at < n and (end := ends[at]) < n:
            longest = max(longest, end + 1 - at)
            at = end + 1
            count += 1
        mean[row], most[row] = (at / count if count else 0.0), longest
    return mean, most


def _compressed(rows: Array) -> Array:
    """Bytes of bzip2 of every row, written as numbers with a space between."""
    words = [str(symbol).encode() for symbol in range(int(rows.max()) + 1)]
    return np.array([len(bz2.compress(b" ".join([words[s] for s in row]))) for row in rows.tolist()])
