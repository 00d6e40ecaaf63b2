"""How many people are weak, when few attempts may miss one who is."""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq
from scipy.stats import binom

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData

__all__ = ["weak_prevalence"]


def weak_prevalence(
    hits: Array, subject: Array, *, odds: float, side: str, method: str, level: float = 0.9
) -> Estimate:
    """Upper limit of the share of people whose own odds are at least `odds`.

    Somebody with these odds at each of n attempts is seen to be weak, by one success or more, with
    probability ``1 - (1 - odds)^n`` or more. The limit is the largest share at which so few people seen
    are not too unlikely: exact whatever the numbers of attempts, and it holds if others are seen too.

    Parameters
    ----------
    hits : (attempts,) bool
        An attempt that may have succeeded counts as a success.
    subject : (attempts,) int
    odds : float
        Above 0, at most 1. At 1 nobody weak is missed: the limit is the upper one of Clopper and Pearson.
    side : str
        What the share bounds, one of `harness.contracts.SIDES`.
    method : str
        Slug for the Estimate.
    level : float
        Two-sided; the upper limit alone holds at (1 + level) / 2.

    Returns
    -------
    Estimate
        Unit "probability", evidence "counted". The value is people seen over people that would be seen if
        all were weak, at most 1; the lower end is open (NaN), since those seen may have smaller odds.

    Raises
    ------
    ValueError
        If lengths differ or `odds` are out of range.
    InsufficientData
        If there is no attempt.

    Notes
    -----
    Attempts of one person are taken as independent given their odds. Where somebody succeeds in bursts the
    chance to be seen is smaller, and the limit too low.

    Examples
    --------
    Nobody of ten, whom one attempt would have shown: up to a quarter may be weak.

    >>> none = weak_prevalence(np.zeros(10, bool), np.arange(10), odds=1.0, side="estimate", method="x")
    >>> round(none.high, 3)
    0.259
    """
    if len(hits) != len(subject):
        raise ValueError(f"`hits` and `subject` must be of one length, got {len(hits)} and {len(subject)}")
    if not 0 < odds <= 1:
        raise ValueError(f"`odds` must lie above 0 and be at most 1, got {odds}")
    if len(hits) == 0:
        raise InsufficientData("a share of people needs at least one attempt, got none")
    people, index, made = np.unique(subject, return_inverse=True, return_counts=True)
    seen = int((np.bincount(index, np.asarray(hits, float)) > 0).sum())
    shown = -np.expm1(made * np.log1p(-odds)) if odds < 1 else np.ones(len(people))
    tail = (1 - level) / 2
    high = 1.0
    if _at_most(seen, shown) < tail:
        high = float(brentq(lambda share: _at_most(seen, share * shown) - tail, 0.0, 1.0, xtol=1e-12))
    return Estimate(
        value=min(seen / float(shown.sum()), 1.0),
        low=float("nan"),
        high=max(high, min(seen / float(shown.sum()), 1.0)),
        level=level,
        unit="probability",
        side=side,
        evidence="counted",
        subjects=len(people),
        attempts=len(hits),
        method=method,
    )


def _at_most(count: int, chances: Array) -> float:
    """Probability that at most `count` of independent events of these chances happen."""
    rates, many = np.unique(chances, return_counts=True)
    share = np.zeros(count + 1)
    share[0] = 1.0
    for rate, number in zip(rates, many, strict=True):
        share = np.convolve(share, binom.pmf(np.arange(count + 1), number, rate))[: count + 1]
    return float(share.sum())
