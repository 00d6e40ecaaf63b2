"""Does a view tell an attempt from the same person's others? By whole beliefs, one number an attempt."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData

__all__ = ["permutation_p_value"]


def permutation_p_value(
    tables: Sequence[Array], *, rng: np.random.Generator, repetitions: int = 999
) -> Estimate:
    """Does the view know which attempt it belongs to? Labels are shuffled within each subject.

    Shuffling across subjects would ask whether identity leaks; within a subject it asks whether the
    view tells this attempt from the same person's others.

    Parameters
    ----------
    tables : sequence of (attempts, attempts) float
        Per subject, the gain of the beliefs about attempt i on the symbols of attempt j. Subjects with one
        attempt say nothing.
    rng : numpy.random.Generator
    repetitions : int
        Permutations; the p-value is never below 1 / (repetitions + 1).

    Returns
    -------
    Estimate
        Unit "p-value"; value, low and high are the same number.

    Raises
    ------
    InsufficientData
        If no subject has two rows.

    References
    ----------
    Phipson and Smyth, Stat. Appl. Genet. Mol. Biol. 9 (2010) article 39, on p-values that are never
    zero (from memory).
    """
    usable = [np.asarray(table) for table in tables if len(table) > 1]
    if not usable:
        raise InsufficientData(
            "a within-subject permutation test needs two attempts of one subject, got none"
        )
    rows = sum(len(table) for table in usable)
    observed = sum(float(np.trace(table)) for table in usable)
    null = np.zeros(repetitions)
    for table in usable:
        size = len(table)
        shuffled = rng.permuted(np.broadcast_to(np.arange(size), (repetitions, size)), axis=1)
        null += table[np.arange(size), shuffled].sum(axis=1)
    # equal statistics count against the attacker, up to rounding of sums in another order
    exceeding = int((null >= observed - 1e-9 * max(1.0, abs(observed))).sum())
    p = (exceeding + 1) / (repetitions + 1)
    return Estimate(
        value=p,
        low=p,
        high=p,
        level=0.95,
        unit="p-value",
        side="estimate",
        evidence="counted",
        subjects=len(usable),
        attempts=rows,
        method="within-subject-permutation",
    )
