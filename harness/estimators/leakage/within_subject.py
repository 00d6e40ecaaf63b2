"""Does a view tell an attempt from the same person's others? Three ways of looking, one p-value."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Estimate
from harness.estimators.leakage.shuffles import agreement, several_attempts, shuffles, weighed

__all__ = ["min_p_value", "score_p_value"]


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
    mine = several_attempts(subject)
    orders = shuffles(subject[mine], repetitions, rng)
    return _least(agreement(told[mine], true[mine], subject[mine], orders), subject[mine])


def score_p_value(
    scores: Array, bits: Array, subject: Array, *, rng: np.random.Generator, repetitions: int = 999
) -> Estimate:
    """The same test of real-valued scores: does a bit tend to be 1 where its score is high?

    Fitted once on other people; only the labels of those who are tested are shuffled.

    Parameters
    ----------
    scores : (attempts, m) float
        Held-out log-odds, or any score that grows with them.
    bits : (attempts, m) of 0 and 1
    subject, rng, repetitions
        As in `min_p_value`.

    Returns
    -------
    Estimate
        As `min_p_value`.

    Raises
    ------
    InsufficientData
        If no subject has two attempts.
    ValueError
        If shapes differ or scores are not finite.
    """
    if scores.shape != bits.shape or len(subject) != len(bits):
        raise ValueError(f"`scores` and `bits` must have one shape, got {scores.shape} and {bits.shape}")
    if not np.isfinite(scores).all():
        raise ValueError("`scores` must be finite throughout")
    mine = several_attempts(subject)
    orders = shuffles(subject[mine], repetitions, rng)
    return _least(weighed(scores[mine], bits[mine].astype(float), orders), subject[mine])


def _least(sums: Array, subject: Array) -> Estimate:
    """Three ways of looking at (1 + shuffles, positions), the first row being what was."""
    spread = sums.std(axis=0)
    z = (sums - sums.mean(axis=0)) / np.where(spread > 0, spread, 1.0)
    statistics = np.stack([sums.sum(axis=1), z.max(axis=1), (z**2).sum(axis=1)], axis=1)
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
        subjects=len(np.unique(subject)),
        attempts=len(subject),
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
