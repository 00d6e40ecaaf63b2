"""Many tests at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from harness.contracts import Array

__all__ = ["holm"]


def holm(p: Sequence[float]) -> Array:
    """p-values adjusted for being many: any false one falls below a level with at most that chance.

    Parameters
    ----------
    p : sequence of float
        Between 0 and 1.

    Returns
    -------
    (tests,) float
        In the order given, never below `p`, at most 1.

    Raises
    ------
    ValueError
        If a p-value is out of range.

    References
    ----------
    Holm, Scand. J. Statist. 6 (1979) 65–70 (pages from memory).

    Examples
    --------
    >>> [round(float(x), 3) for x in holm([0.01, 0.04, 0.03, 0.005])]
    [0.03, 0.06, 0.06, 0.02]
    """
    given = np.asarray(p, float)
    if given.size and not (given.min() >= 0 and given.max() <= 1):
        raise ValueError(f"p-values must lie in 0..1, got values from {given.min():g} to {given.max():g}")
    order = np.argsort(given, kind="stable")
    steps = given[order] * (given.size - np.arange(given.size))
    adjusted = np.empty(given.size)
    adjusted[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return adjusted
