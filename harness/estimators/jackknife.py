"""How far a statistic of pooled people would move with other people."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.stats import t

from harness.contracts import Array

__all__ = ["GROUPS", "over_people", "understatement"]

GROUPS = 10
"""At most so many groups of people are left out, one at a time."""


def over_people(
    statistic: Callable[[Array], float], subject: Array, *, level: float = 0.95
) -> tuple[float, float]:
    """A statistic of all attempts, and the half-width of its interval.

    Parameters
    ----------
    statistic : callable
        From the numbers of some attempts to a smooth figure of them.
    subject : (attempts,) int
        People are left out whole, in at most `GROUPS` groups.
    level : float
        Two-sided, by Student's t over groups.

    Returns
    -------
    value, half : float
        One person says nothing about others: half is NaN.

    Raises
    ------
    ValueError
        If there is no attempt.
    """
    if len(subject) == 0:
        raise ValueError("a statistic must have at least one attempt, got none")
    value, left_out = _left_out(statistic, subject)
    groups = len(left_out)
    if groups < 2:
        return value, float("nan")
    spread = np.sqrt((groups - 1) / groups * ((left_out - left_out.mean()) ** 2).sum())
    return value, float(t.ppf((1 + level) / 2, groups - 1) * spread)


def understatement(statistic: Callable[[Array], float], subject: Array) -> float:
    """By how much a figure of few people may be too low, if it rises with the root of their number.

    A figure that takes the likeliest of several values which are nearly alike finds one that stands out by
    chance. What that takes away falls with the root of the number of people, and the jackknife's estimate
    of bias, which is for what falls with the number itself, sees half of it: so it counts twice.

    Parameters
    ----------
    statistic, subject
        As for `over_people`.

    Returns
    -------
    float
        At least 0; of one person 0, as nothing is known.
    """
    value, left_out = _left_out(statistic, subject)
    groups = len(left_out)
    return 0.0 if groups < 2 else 2 * (groups - 1) * max(0.0, value - float(left_out.mean()))


def _left_out(statistic: Callable[[Array], float], subject: Array) -> tuple[float, Array]:
    """The figure of everybody, and without each group; no groups of one person."""
    people = np.unique(subject)
    groups = min(GROUPS, len(people))
    group = np.searchsorted(people, subject) % groups
    without = range(groups) if groups > 1 else range(0)
    value = statistic(np.arange(len(subject)))
    return value, np.array([statistic(np.flatnonzero(group != g)) for g in without])
