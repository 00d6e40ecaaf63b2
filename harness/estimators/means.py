"""Means and medians over people: the subject is the unit."""

from __future__ import annotations

import numpy as np
from scipy.stats import binom, t

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData

__all__ = ["subject_mean", "subject_means", "subject_median"]


def subject_means(values: Array, subject: Array) -> tuple[Array, Array, Array]:
    """(people,) pseudonyms, their mean values, and their numbers of attempts."""
    people, index, sizes = np.unique(subject, return_inverse=True, return_counts=True)
    return people, np.bincount(index, values, minlength=len(people)) / sizes, sizes


def subject_mean(
    values: Array,
    subject: Array,
    *,
    unit: str,
    side: str,
    method: str,
    evidence: str = "counted",
    level: float = 0.95,
) -> Estimate:
    """Mean over subject means, with Student's t interval over people.

    Parameters
    ----------
    values : (attempts,) float, finite
    subject : (attempts,) int
    unit, side, method, evidence : str
        Passed on to the Estimate.
    level : float
        Two-sided.

    Returns
    -------
    Estimate
        With one subject the interval is open (NaN): one person says nothing about others.

    Raises
    ------
    InsufficientData
        If there is no attempt.
    """
    if len(values) == 0:
        raise InsufficientData("a mean needs at least one attempt, got none")
    people, means, _ = subject_means(values, subject)
    value = float(means.mean())
    half = float("nan")
    least, most = (0.0, 1.0) if unit == "probability" else (-np.inf, np.inf)
    if len(people) > 1:
        error = float(means.std(ddof=1)) / np.sqrt(len(people))
        half = float(t.ppf((1 + level) / 2, len(people) - 1)) * error
    return Estimate(
        value=value,
        low=float(np.maximum(value - half, least)),
        high=float(np.minimum(value + half, most)),
        level=level,
        unit=unit,
        side=side,
        evidence=evidence,
        subjects=len(people),
        attempts=len(values),
        method=method,
    )


def subject_median(
    low: Array, high: Array, subject: Array, *, unit: str, side: str, method: str, level: float = 0.95
) -> Estimate:
    """Median over people of each person's median, with an order-statistic interval.

    Parameters
    ----------
    low, high : (attempts,) float
        Lower and upper bound of each attempt's value; +inf allowed.
    subject : (attempts,) int
    level : float
        Two-sided; the interval covers at least this whatever the distribution, being the sign
        test turned round.

    Returns
    -------
    Estimate
        Value: median of the upper bounds, which is what certainly suffices. Ends are NaN where there are
        too few people for the level or the bound is infinite.

    Raises
    ------
    InsufficientData
        If there is no attempt.
    """
    if len(low) == 0:
        raise InsufficientData("a median needs at least one attempt, got none")
    people = np.unique(subject)
    lows = np.sort([float(np.median(low[subject == p])) for p in people])
    highs = np.sort([float(np.median(high[subject == p])) for p in people])
    n = len(people)
    k = int(binom.ppf((1 - level) / 2, n, 0.5))  # P(X < k) <= tail
    ends = (np.nan, np.nan) if k < 1 else (lows[k - 1], highs[n - k])
    least, most = (float(end) if np.isfinite(end) else float("nan") for end in ends)
    return Estimate(
        value=float(np.median(highs)),
        low=least,
        high=most,
        level=level,
        unit=unit,
        side=side,
        evidence="counted",
        subjects=n,
        attempts=len(low),
        method=method,
    )
