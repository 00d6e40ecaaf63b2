"""The worst of many: what it looks like, what it is at least, and what chance alone would show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import binom

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.proportion import clopper_pearson

__all__ = ["Worst", "worst_share"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Worst:
    """The group with the largest share.

    Attributes
    ----------
    share : Estimate
        Of that group, its limits corrected for how many there are.
    group : int
        Which one; of several the one of most attempts, then the first.
    by_chance : float
        What the worst share would reach in one case of twenty if all groups were alike.
    """

    share: Estimate
    group: int
    by_chance: float


def worst_share(hits: Array, group: Array, *, subjects: int, method: str, level: float = 0.9) -> Worst:
    """Largest share of successes among people, or among pairs of victim and attacker.

    Parameters
    ----------
    hits : (attempts,) bool
    group : (attempts,) int
        Attempts of one group are taken as independent of one another.
    subjects : int
        People behind them, for the record.
    method : str
        Slug for the Estimate.
    level : float
        Two-sided, for all groups at once (Bonferroni).

    Returns
    -------
    Worst

    Raises
    ------
    InsufficientData
        If there is no attempt.
    """
    if len(hits) == 0:
        raise InsufficientData("the worst of many needs at least one attempt, got none")
    names, index, made = np.unique(group, return_inverse=True, return_counts=True)
    won = np.bincount(index, hits.astype(float), minlength=len(names))
    worst = int(np.lexsort((np.arange(len(names)), -made, -won / made))[0])
    low, high = clopper_pearson(won[worst], float(made[worst]), level=1 - (1 - level) / len(names))
    value = float(won[worst] / made[worst])
    return Worst(
        share=Estimate(
            value=value,
            low=low,
            high=high,
            level=level,
            unit="probability",
            side="attacker-at-least",
            evidence="counted",
            subjects=subjects,
            attempts=len(hits),
            method=method,
        ),
        group=int(names[worst]),
        by_chance=_by_chance(float(hits.mean()), made),
    )


def _by_chance(rate: float, made: Array) -> float:
    """The share that the worst of groups of one rate reaches with a chance of at least a twentieth."""
    sizes, many = np.unique(made, return_counts=True)
    shares = np.unique(np.concatenate([np.arange(n + 1) / n for n in sizes]))
    below = np.array(
        [np.prod(binom.cdf(np.ceil(sizes * share - 1e-9) - 1, sizes, rate) ** many) for share in shares]
    )
    return float(shares[np.flatnonzero(1 - below >= 0.05)[-1]])
