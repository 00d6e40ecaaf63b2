"""Chances under the null, none of them an approximation that errs towards alarm.

A key bit that is uniform and independent of some weights is a fair sign. A weighted sum of fair signs, in
units of the root of the sum of squared weights, exceeds z in size with a chance of at most 2 exp(-z²/2).
This holds for any number of attempts and any weights, so that nothing has to be calibrated.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import entr
from scipy.stats import beta

from harness.contracts import Array

__all__ = ["LEVEL", "TOLD", "advantage", "bits_of", "chi_square_tail", "least_rows", "ratio", "sign_tail"]

LEVEL = 1e-4
"""A detector is heard among all if its corrected p is below this (assumption: there are at most 16)."""
TOLD = 2e-3
"""A report may speak of a p-value below this, so the sentence names what was found (assumption)."""
_MISSED = 0.05  # lower limits of effects are at 95 %, over everything that was looked at


def sign_tail(z: Array | float) -> Array:
    """Upper bound of the chance that a normalised sum of fair signs is at least |z| in size.

    Examples
    --------
    >>> [round(float(p), 4) for p in sign_tail(np.array([0.0, 3.0, -5.0]))]
    [1.0, 0.0222, 0.0]

    References
    ----------
    Hoeffding, J. Amer. Statist. Assoc. 58 (1963) 13–30; for sums divided by the root of their own squares,
    symmetric terms: Efron, J. Amer. Statist. Assoc. 64 (1969) 1278–1302 (both from memory).
    """
    return np.asarray(np.minimum(1.0, 2.0 * np.exp(-np.square(np.asarray(z, float)) / 2)))


def chi_square_tail(total: float, terms: int) -> float:
    """Upper bound of the chance that the squares of `terms` independent such sums add up to `total`.

    Chernoff's bound of a chi-square variable, whose moments dominate those of sums of signs.
    """
    if total <= terms:
        return 1.0
    x = total / terms
    return float(math.exp(terms / 2 * (math.log(x) + 1 - x)))


def ratio(total: Array, squares: Array) -> Array:
    """Sums in units of the root of their squares; 0 where there is nothing to sum."""
    return np.asarray(total / np.sqrt(np.where(squares > 0, squares, 1.0)))


def least_rows(looks: int) -> int:
    """Attempts below which even a bit that never varies could not be told from chance.

    Examples
    --------
    >>> least_rows(128)
    30
    """
    return math.ceil(2 * math.log(2 * looks / LEVEL))


def advantage(mean: Array | float, rows: Array | float, looks: int) -> Array:
    """Lower limit of |mean| of a sign, from a mean over `rows` signs; 0 at least.

    Clopper–Pearson, over everything that was looked at.
    """
    share = (1 + np.abs(np.asarray(mean, float))) / 2
    n = np.asarray(rows, float)
    low = beta.ppf(_MISSED / (2 * looks), share * n, (1 - share) * n + 1)
    return np.asarray(np.maximum(2 * low - 1, 0.0))


def bits_of(gain: Array | float) -> Array:
    """Bits of Shannon entropy that a sign of mean `gain` lacks.

    What single bits lack adds up to no more than what the whole key lacks, whatever their dependence, and
    min-entropy lacks at least as much. So the sum is a lower limit of what is given away.

    Examples
    --------
    >>> bits_of(np.array([0.0, 0.5, 1.0])).round(3).tolist()
    [0.0, 0.189, 1.0]
    """
    p = (1 + np.abs(np.asarray(gain, float))) / 2
    return np.asarray(1 - (entr(p) + entr(1 - p)) / math.log(2))
