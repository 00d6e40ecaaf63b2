"""Many tests at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from harness.contracts import Array

__all__ = ["holm", "where_it_helps"]

_SHARED = 0.1
"""Part of the level that all tests share alike: what was thought hopeless or certain may still surprise."""


def holm(p: Sequence[float], *, weights: Sequence[float] | Array | None = None) -> Array:
    """p-values adjusted for being many: any false one falls below a level with at most that chance.

    Parameters
    ----------
    p : sequence of float
        Between 0 and 1.
    weights : sequence of float, optional
        How much of the level each test gets, in any unit; they must not depend on `p`. None: all the same.

    Returns
    -------
    (tests,) float
        In the order given, never below `p`, at most 1.

    Raises
    ------
    ValueError
        If a p-value is out of range, or weights are not positive, one a test.

    References
    ----------
    Holm, Scand. J. Statist. 6 (1979) 65–70 (pages from memory), both with and without weights.

    Examples
    --------
    >>> [round(float(x), 3) for x in holm([0.01, 0.04, 0.03, 0.005])]
    [0.03, 0.06, 0.06, 0.02]
    """
    given = np.asarray(p, float)
    if given.size and not (given.min() >= 0 and given.max() <= 1):
        raise ValueError(f"p-values must lie in 0..1, got values from {given.min():g} to {given.max():g}")
    weight = np.ones(given.size) if weights is None else np.asarray(weights, float)
    if weight.shape != given.shape or not (weight > 0).all():
        raise ValueError(f"`weights` must be {given.size} positive numbers, got {weight.tolist()}")
    order = np.argsort(given / weight, kind="stable")
    left = np.cumsum(weight[order][::-1])[::-1]  # of those not yet rejected
    steps = given[order] * left / weight[order]
    adjusted = np.empty(given.size)
    adjusted[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return np.asarray(np.maximum(adjusted, given))


def where_it_helps(effects: Sequence[float], *, level: float) -> Array:
    """Weights that spend a level where it finds most: neither on what is plain nor on what is hopeless.

    Parameters
    ----------
    effects : sequence of float
        What each one-sided test is to find, in its standard errors; infinite where nothing varies.
    level : float
        Family-wise.

    Returns
    -------
    (tests,) float
        Shares of the level, which sum to 1. A tenth of it goes to all alike.

    Raises
    ------
    ValueError
        If an effect is negative.

    Notes
    -----
    Of all ways to split the level this has the highest mean power if effects are as said: a test of effect
    d gets the upper tail of the normal distribution at d / 2 + c / d, with one c for all (Roeder and
    Wasserman, Stat. Sci. 24 (2009) 398–413, volume and pages from memory). Shares may rest on standard
    errors, which do not tell which way a mean went.
    """
    wanted = np.asarray(effects, float)
    if wanted.size == 0:
        return wanted
    if not (wanted >= 0).all():
        raise ValueError(f"effects must be 0 or more standard errors, got {wanted.min():g}")
    d = np.clip(wanted, 1e-6, 40.0)

    def tails(c: float) -> Array:
        return np.asarray(ndtr(-(d / 2 + c / d)))

    reach = 40.0 * float(d.max())
    c = brentq(lambda c: float(tails(c).sum()) - level, -reach, reach, xtol=1e-12)
    share = tails(c) / tails(c).sum()
    return np.asarray(_SHARED / d.size + (1 - _SHARED) * share)
