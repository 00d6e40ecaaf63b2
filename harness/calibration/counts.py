"""Exact limits of counts, on the safe side where a count is not whole."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from scipy.stats import binom

from harness.calibration.lines import Trial
from harness.estimators.proportion import clopper_pearson

__all__ = [
    "FAMILY",
    "WRONG",
    "allowed",
    "at_least_so_many",
    "by_case",
    "counted",
    "limits",
    "two_sided",
    "worked",
]

WRONG = 0.05
"""Chance that a one-sided limit lies on the wrong side of what it bounds."""
FAMILY = 0.01
"""Chance that what is as it should be is faulted, in each family: cases, kinds of rules, kinds of
intervals, truths, adversaries of shuffled pairs.
"""
_ROUNDING = 1e-9  # sums of shares may miss a whole number by so much


def limits(hits: float, trials: int, *, level: float = 0.95) -> tuple[float, float]:
    """Clopper and Pearson's limits; hits between two whole numbers get the wider of both intervals.

    A mean of shares varies no more than the count of successes with the same mean does.

    Examples
    --------
    >>> [round(x, 4) for x in limits(20, 20)], limits(1.5, 20) == (limits(1, 20)[0], limits(2, 20)[1])
    ([0.8316, 1.0], True)
    """
    return (
        clopper_pearson(math.floor(hits + _ROUNDING), trials, level=level)[0],
        clopper_pearson(math.ceil(hits - _ROUNDING), trials, level=level)[1],
    )


def allowed(trials: int, promise: float) -> int:
    """The most alarms among so many audits that the promise allows: the 99.5 % point of the binomial.

    Examples
    --------
    >>> allowed(40, 0.01), allowed(320, 0.01)
    (3, 9)
    """
    return int(binom.ppf(0.995, trials, promise))


def at_least_so_many(hits: int, trials: int, chance: float) -> float:
    """P(at least `hits` of `trials`) if each comes with this chance.

    Examples
    --------
    >>> at_least_so_many(0, 20, 0.01), round(at_least_so_many(1, 20, 0.01), 3)
    (1.0, 0.182)
    """
    return float(binom.sf(hits - 1, trials, chance))


def two_sided(hits: float, trials: int, chance: float) -> float:
    """Twice the smaller tail of the binomial; hits between two whole numbers count for the milder of both.

    Examples
    --------
    >>> two_sided(5, 10, 0.5), round(two_sided(0, 10, 0.5), 4), round(two_sided(9.5, 10, 0.5), 4)
    (1.0, 0.002, 0.0215)
    """
    above = at_least_so_many(math.floor(hits + _ROUNDING), trials, chance)
    below = float(binom.cdf(math.ceil(hits - _ROUNDING), trials, chance))
    return min(1.0, 2 * min(above, below))


def by_case(trials: Iterable[Trial]) -> Mapping[str, list[Trial]]:
    """Trials of each case, in order."""
    found: dict[str, list[Trial]] = {}
    for trial in trials:
        found.setdefault(trial.case, []).append(trial)
    return found


def worked(trials: Iterable[Trial]) -> list[Trial]:
    """Trials that did not fail."""
    return [trial for trial in trials if trial.failure is None]


def counted(trials: Sequence[Trial]) -> dict[str, int]:
    """In how many of these trials each finding appeared, by id."""
    ids = sorted({id for trial in trials for id in trial.flagged})
    return {id: sum(id in trial.flagged for trial in trials) for id in ids}
