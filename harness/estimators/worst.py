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


def worst_share(
    hits: Array,
    group: Array,
    *,
    subjects: int,
    method: str,
    most: Array | None = None,
    level: float = 0.9,
) -> Worst:
    """Largest share of successes among people, or among pairs of victim and attacker.

    Parameters
    ----------
    hits : (attempts,) bool or float
        Success of each attempt, or its chance where ties leave it open.
    group : (attempts,) int
        Attempts of one group are taken as independent of one another.
    subjects : int
        People behind them, for the record.
    method : str
        Slug for the Estimate.
    most : (attempts,) float, optional
        Upper bounds of these chances where `hits` are lower ones; upper limits rest on them.
    level : float
        Two-sided, for all groups at once (Bonferroni).

    Returns
    -------
    Worst
        The lower limit is that of the group with the largest share; the upper limit is the highest of all
        groups, so that no group lies above it, whoever looked worst.

    Raises
    ------
    InsufficientData
        If there is no attempt.
    """
    if len(hits) == 0:
        raise InsufficientData("the worst of many needs at least one attempt, got none")
    names, index, made = np.unique(group, return_inverse=True, return_counts=True)
    won, reach = (
        np.minimum(np.bincount(index, np.asarray(h, float), minlength=len(names)), made)
        for h in (hits, hits if most is None else most)
    )
    worst = int(np.lexsort((np.arange(len(names)), -made, -won / made))[0])
    each = 1 - (1 - level) / len(names)
    pairs = np.unique(np.stack([reach, made], axis=1), axis=0)
    value = float(won[worst] / made[worst])
    return Worst(
        share=Estimate(
            value=value,
            low=clopper_pearson(float(won[worst]), float(made[worst]), level=each)[0],
            high=max(clopper_pearson(float(k), float(n), level=each)[1] for k, n in pairs),
            level=level,
            unit="probability",
            side="attacker-at-least",
            evidence="counted",
            subjects=subjects,
            attempts=len(hits),
            method=method,
        ),
        group=int(names[worst]),
        by_chance=_by_chance(float(np.mean(hits)), made),
    )


def _by_chance(rate: float, made: Array) -> float:
    """The share that the worst of groups of one rate reaches with a chance of at least a twentieth."""
    sizes, many = np.unique(made, return_counts=True)
    shares = np.unique(np.concatenate([np.arange(n + 1) / n for n in sizes]))
    below = np.array(
        [np.prod(binom.cdf(np.ceil(sizes * share - 1e-9) - 1, sizes, rate) ** many) for share in shares]
    )
    return float(shares[np.flatnonzero(1 - below >= 0.05)[-1]])
