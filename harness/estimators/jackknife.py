"""How far a statistic of pooled people would move with other people."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.stats import t

from harness.contracts import Array

__all__ = ["GROUPS", "over_people"]

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
    people = np.unique(subject)
    value = statistic(np.arange(len(subject)))
    groups = min(GROUPS, len(people))
    if groups < 2:
        return value, float("nan")
    group = np.searchsorted(people, subject) % groups
    left_out = np.array([statistic(np.flatnonzero(group != g)) for g in range(groups)])
    spread = np.sqrt((groups - 1) / groups * ((left_out - left_out.mean()) ** 2).sum())
    return value, float(t.ppf((1 + level) / 2, groups - 1) * spread)
