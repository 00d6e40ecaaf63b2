"""Interval for the mean of values that lie between 0 and 1, whatever their distribution."""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import brentq

from harness.contracts import Array

__all__ = ["bounded_mean"]

_STAKE = 0.5  # share of the capital that a single value may cost at most


def bounded_mean(values: Array, *, level: float = 0.95) -> tuple[float, float]:
    """Interval for the mean of independent values in [0, 1], by betting.

    Against each candidate mean one bets that values lie above (or below) it, with stakes that rest on
    earlier values only. Against the true mean no such game wins in expectation, so a capital of 2 / (1 -
    level) is reached in at most that share of cases: a candidate at which it is reached lies outside.
    Nothing is assumed of the distribution, and where the values vary little the interval is short.

    Parameters
    ----------
    values : (n,) float
        Independent, each in [0, 1], of one mean.
    level : float
        Two-sided; each end alone holds at (1 + level) / 2.

    Returns
    -------
    low, high : float

    Raises
    ------
    ValueError
        If there is no value or one outside [0, 1].

    References
    ----------
    Waudby-Smith and Ramdas, J. R. Statist. Soc. B 86 (2024) 1-27 (from memory): betting on means of bounded
    variables, stakes by the empirical variance so far.

    Examples
    --------
    >>> low, high = bounded_mean(np.full(100, 0.25))
    >>> bool(low < 0.25 < high)
    True
    """
    x = np.asarray(values, np.float64)
    if x.ndim != 1 or x.size == 0 or not (np.min(x) >= 0 and np.max(x) <= 1):
        raise ValueError("`values` must be one-dimensional, not empty and in [0, 1]")
    target = math.log(2 / (1 - level))
    mean = float(x.mean())
    return min(mean, _low(x, target)), max(mean, 1 - _low(1 - x, target))


def _low(x: Array, target: float) -> float:
    """Least mean against which betting on larger values stays below the target."""
    n = np.arange(1, x.size + 1)
    mean = (0.5 + np.cumsum(x)) / (n + 1)
    variance = (0.25 + np.cumsum((x - mean) ** 2)) / (n + 1)
    before = np.concatenate([[0.25], variance[:-1]])  # a stake may rest on earlier values only
    stake = np.sqrt(2 * target / (x.size * before))

    def surplus(candidate: float) -> float:
        bets = np.minimum(stake, _STAKE / candidate)
        return float(np.log1p(bets * (x - candidate)).sum()) - target

    least = 1e-300
    if surplus(least) <= 0:
        return 0.0
    # the capital falls as the candidate rises, and against a candidate of 1 it can only fall
    return float(brentq(surplus, least, 1.0, xtol=1e-300, rtol=1e-12, maxiter=5000))
