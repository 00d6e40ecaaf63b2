"""Does a view tell an attempt from the same person's others? Three ways of looking, one p-value."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData

__all__ = ["min_p_value"]


def min_p_value(
    told: Array, true: Array, subject: Array, *, rng: np.random.Generator, repetitions: int = 999
) -> Estimate:
    """Permutation test of agreement, symbol by symbol, with attempts shuffled within each subject.

    Three statistics of the same shuffles are combined by the least of their p-values: agreement over all
    positions finds a small leak in every symbol, the greatest over positions one bad symbol, and the sum of
    squares agreement here and disagreement there. Each is blind where another sees.

    Parameters
    ----------
    told, true : (attempts, m) int
        What the adversary holds for likeliest, and what was.
    subject : (attempts,) int
        A free shuffle would ask whether identity leaks; people with one attempt say nothing.
    rng : numpy.random.Generator
    repetitions : int
        The p-value is never below 1 / (repetitions + 1).

    Returns
    -------
    Estimate
        Unit "p-value", corrected for looking three ways; value, low and high are the same number.

    Raises
    ------
    InsufficientData
        If no subject has two attempts.
    ValueError
        If shapes differ.
    """
    if told.shape != true.shape or len(subject) != len(told):
        raise ValueError(f"`told` and `true` must have one shape, got {told.shape} and {true.shape}")
    people, sizes = np.unique(subject, return_counts=True)
    several = np.isin(subject, people[sizes > 1])
    if not several.any():
        raise InsufficientData(
            "a within-subject permutation test needs two attempts of one subject, got none"
        )
    mine = np.flatnonzero(several)[np.argsort(subject[several], kind="stable")]
    told, true, group = told[mine], true[mine], subject[mine]
    agree = np.empty((repetitions + 1, told.shape[1]))
    agree[0] = (told == true).sum(axis=0)
    for i in range(1, repetitions + 1):
        # random keys within groups: a shuffle inside every subject at once
        order = np.lexsort((rng.random(len(group)), group))
        agree[i] = (told == true[order]).sum(axis=0)
    spread = agree.std(axis=0)
    z = (agree - agree.mean(axis=0)) / np.where(spread > 0, spread, 1.0)
    statistics = np.stack([agree.sum(axis=1), z.max(axis=1), (z**2).sum(axis=1)], axis=1)
    least = _p_values(statistics).min(axis=1)
    p = float((least <= least[0] + 1e-12).mean())
    return Estimate(
        value=p,
        low=p,
        high=p,
        level=0.95,
        unit="p-value",
        side="estimate",
        evidence="counted",
        subjects=int((sizes > 1).sum()),
        attempts=len(mine),
        method="within-subject-min-p",
    )


def _p_values(statistics: Array) -> Array:
    """(shuffles, statistics): the share of shuffles, itself included, that reach each value."""
    order = np.sort(statistics, axis=0)
    reached = [
        len(order) - np.searchsorted(order[:, k], statistics[:, k] - 1e-9, side="left")
        for k in range(statistics.shape[1])
    ]
    return np.stack(reached, axis=1) / len(statistics)
