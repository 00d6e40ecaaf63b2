"""The greatest or the least of several means over the same people, with an interval that allows for it."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.stats import t

from harness.contracts import Array

__all__ = ["Interval", "at_least_0", "greatest_mean", "least_mean", "mean_ends"]

Interval = tuple[float, float, float]
"""Value, low, high."""


def mean_ends(values: Array, *, below: float, above: float) -> Interval:
    """Mean over people with Student's t ends.

    Parameters
    ----------
    values : (people,) float
    below, above : float
        Chance of missing on either side.

    Returns
    -------
    value, low, high : float
        With one person the ends are open (NaN).

    Examples
    --------
    >>> [round(x, 4) for x in mean_ends(np.array([1.0, 2.0, 3.0]), below=0.025, above=0.025)]
    [2.0, -0.4841, 4.4841]
    """
    mean = float(values.mean())
    if len(values) < 2:
        return mean, float("nan"), float("nan")
    error, df = float(values.std(ddof=1)) / math.sqrt(len(values)), len(values) - 1
    return mean, mean - float(t.isf(below, df)) * error, mean + float(t.isf(above, df)) * error


def greatest_mean(columns: Array, *, level: float) -> Interval:
    """The greatest of several means, and an interval for the greatest of the true ones.

    Only the lower end needs every mean's own limit to hold, so its chance of missing is shared among them;
    the upper end fails only with the limit of the mean that is truly the greatest.

    Parameters
    ----------
    columns : (people, means) float
    level : float
        Two-sided.

    Returns
    -------
    value, low, high : float
    """
    tail = (1 - level) / 2
    return _extreme(columns, max, below=tail / columns.shape[1], above=tail)


def least_mean(columns: Array, *, level: float) -> Interval:
    """The least of several means; as `greatest_mean`, turned round."""
    tail = (1 - level) / 2
    return _extreme(columns, min, below=tail, above=tail / columns.shape[1])


def _extreme(columns: Array, choose: Callable[..., float], *, below: float, above: float) -> Interval:
    found = [mean_ends(column, below=below, above=above) for column in columns.T]
    value, low, high = (choose(part) for part in zip(*found, strict=True))
    return value, low, high


def at_least_0(found: Interval) -> Interval:
    """An interval of a quantity that is never negative; open ends stay open."""
    value, low, high = (float(np.maximum(x, 0.0)) for x in found)
    return value, low, high
