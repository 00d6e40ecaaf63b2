"""Proportions of attempts that cluster in people."""

from __future__ import annotations

import numpy as np
from scipy.stats import beta, f

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData

__all__ = ["ICC_FLOOR", "clopper_pearson", "clustered_rate", "intraclass_upper", "subject_rate"]

ICC_FLOOR = 0.2
"""Least intra-class correlation assumed: at or near zero successes it cannot be estimated."""


def clopper_pearson(hits: float, trials: float, *, level: float = 0.95) -> tuple[float, float]:
    """Exact two-sided limits of a binomial proportion.

    Parameters
    ----------
    hits, trials : float
        Fractions are allowed, as an effective sample has them; ``0 <= hits <= trials``.
    level : float
        Two-sided, strictly between 0 and 1.

    Returns
    -------
    low, high : float

    Raises
    ------
    ValueError
        If the counts or the level are out of range.

    References
    ----------
    Clopper and Pearson, Biometrika 26 (1934) 404–413.

    Examples
    --------
    >>> tuple(round(x, 4) for x in clopper_pearson(15, 148))
    (0.0578, 0.1617)
    """
    if not 0 <= hits <= trials or trials <= 0:
        raise ValueError(f"`hits` must lie in 0..trials with trials above 0, got {hits} of {trials}")
    if not 0 < level < 1:
        raise ValueError(f"`level` must lie strictly between 0 and 1, got {level}")
    tail = (1 - level) / 2
    # a share of a hit below any count overflows the quantile; 0 is the safe side
    low = 0.0 if hits < 1e-12 else float(beta.ppf(tail, hits, trials - hits + 1))
    high = 1.0 if hits == trials else float(beta.ppf(1 - tail, hits + 1, trials - hits))
    return low, high


def intraclass_upper(values: Array, subject: Array, *, level: float = 0.9) -> float:
    """One-sided upper F limit of the intra-class correlation of `values` within subjects.

    Parameters
    ----------
    values : (attempts,) float
    subject : (attempts,) int
    level : float
        One-sided.

    Returns
    -------
    float
        Between 0 and 1; NaN where it cannot be estimated (no variation, one subject, or one
        attempt each).

    References
    ----------
    One-way analysis of variance with the exact F limit for equal group sizes (from memory), used
    with the mean size here.
    """
    _, index, sizes = np.unique(subject, return_inverse=True, return_counts=True)
    groups, n = len(sizes), len(values)
    if groups < 2 or n <= groups:
        return float("nan")
    means = np.bincount(index, values) / sizes
    within = float(((values - means[index]) ** 2).sum()) / (n - groups)
    between = float((sizes * (means - values.mean()) ** 2).sum()) / (groups - 1)
    # means of equal fractions differ by rounding alone, and that is no variation
    rounding = n * (1e-12 * float(np.abs(values).max())) ** 2
    within, between = (x if x > rounding else 0.0 for x in (within, between))
    if within == 0:
        return float("nan") if between == 0 else 1.0
    size = (n - float((sizes**2).sum()) / n) / (groups - 1)
    ratio = between / within / float(f.ppf(1 - level, groups - 1, n - groups))
    return float(np.clip((ratio - 1) / (ratio + size - 1), 0.0, 1.0))


def clustered_rate(
    low_hits: Array,
    high_hits: Array,
    subject: Array,
    *,
    side: str,
    level: float = 0.9,
    icc_floor: float = ICC_FLOOR,
    attacker: Array | None = None,
) -> Estimate:
    """Rate of success of attempts that cluster in subjects, and in attackers where these are people.

    Clopper–Pearson on the effective sample: attempts divided by the design effect
    ``1 + (m - 1) ICC``, where ICC is the larger of its 90 % upper F limit and a floor, and m the size of a
    subject as an attempt meets it; the people who attack add a term of their own. At level .9 each limit
    alone is one-sided at 95 %.

    Parameters
    ----------
    low_hits, high_hits : (attempts,) float
        Chance of success of each attempt between 0 and 1, as a lower and an upper bound (equal where
        it is known).
    subject : (attempts,) int
    side : str
        What the rate bounds, one of `harness.contracts.SIDES`.
    level : float
        Two-sided.
    icc_floor : float
        An assumption where there are no or few successes.
    attacker : (attempts,) int, optional
        Person behind the adversary's capture; -1 = nobody. Eight mimics are eight, however many attempts
        they made.

    Returns
    -------
    Estimate
        Unit "probability", evidence "counted". The value is the mean of the lower bounds.

    Raises
    ------
    ValueError
        If lengths differ, chances leave 0..1, or a lower bound lies above its upper one.
    InsufficientData
        If there is no attempt.

    Notes
    -----
    Measured coverage of the upper limit is .953–.964 for true ICC up to .3; at .5 it is .89–.93, that is,
    it under-covers.

    With crossed people and attackers the variance of a mean is ``1 + (m - 1) ICC + (a - 1) ICC'`` times
    that of independent attempts, a pair of attempts that share both counting in either term: nothing is to
    be taken off. One to ten attackers against 10, 30 and 60 people, either correlation .05 and .2, rates
    .01, .1 and .4: the upper limit covered .974–1 and the lower one .97–1 of 1000 runs each, but with one
    attacker the lower one covered .93 at rate .1. How attackers differ cannot be seen from one.
    """
    _check(low_hits, high_hits, subject, names=("low_hits", "high_hits"))
    n = len(subject)
    if n == 0:
        raise InsufficientData("a rate needs at least one attempt, got none")
    _, sizes = np.unique(subject, return_counts=True)
    effect = 1 + _excess(low_hits, high_hits, subject, icc_floor)
    people = attacker is not None and bool((attacker >= 0).any())
    if attacker is not None and people:
        effect += _excess(low_hits, high_hits, attacker, icc_floor)
    effective = n / effect
    value = float(low_hits.mean())
    low = clopper_pearson(value * effective, effective, level=level)[0]
    high = clopper_pearson(min(float(high_hits.mean()), 1.0) * effective, effective, level=level)[1]
    return Estimate(
        value=value,
        low=min(low, value),
        high=max(high, value),
        level=level,
        unit="probability",
        side=side,
        evidence="counted",
        subjects=len(sizes),
        attempts=n,
        method="design-effect-two-way" if people else "design-effect",
    )


def _excess(low_hits: Array, high_hits: Array, group: Array, icc_floor: float) -> float:
    """What clustering in groups adds to the design effect: (m - 1) ICC."""
    _, sizes = np.unique(group, return_counts=True)
    icc = np.fmax.reduce([intraclass_upper(low_hits, group), intraclass_upper(high_hits, group), icc_floor])
    return float(((sizes**2).sum() / len(group) - 1) * icc)


def subject_rate(
    hits: Array, subject: Array, *, side: str, most: Array | None = None, level: float = 0.9
) -> Estimate:
    """Share of subjects with at least one success, the subject being the unit.

    Holds whatever the dependence within a subject; its upper limit bounds the rate of any
    one attempt of a new person too.

    Parameters
    ----------
    hits : (attempts,) bool or float
        Success of each attempt, or its chance where ties leave it open.
    subject : (attempts,) int
    side : str
        What the share bounds, one of `harness.contracts.SIDES`.
    most : (attempts,) float, optional
        Upper bounds of these chances where `hits` are lower ones; the upper limit rests on them.
    level : float
        Two-sided.

    Returns
    -------
    Estimate
        Unit "probability", evidence "counted", method "subject-unit". The value is the mean over people
        of the chance that any of their attempts succeeds.

    Raises
    ------
    ValueError
        If lengths differ, chances leave 0..1, or a lower bound lies above its upper one.
    InsufficientData
        If there is no attempt.
    """
    if len(hits) != len(subject):
        raise ValueError(f"`hits` and `subject` must be of one length, got {len(hits)} and {len(subject)}")
    above = hits if most is None else most
    _check(hits, above, subject, names=("hits", "most"))
    people, index = np.unique(subject, return_inverse=True)
    if len(people) == 0:
        raise InsufficientData("a rate needs at least one subject, got none")
    weak, weak_at_most = (_any(np.asarray(chance, float), index, len(people)) for chance in (hits, above))
    value = min(weak / len(people), 1.0)
    return Estimate(
        value=value,
        low=clopper_pearson(min(weak, len(people)), len(people), level=level)[0],
        high=clopper_pearson(min(weak_at_most, len(people)), len(people), level=level)[1],
        level=level,
        unit="probability",
        side=side,
        evidence="counted",
        subjects=len(people),
        attempts=len(subject),
        method="subject-unit",
    )


def _any(chance: Array, index: Array, people: int) -> float:
    """Expected number of people with at least one success."""
    certain = np.bincount(index, chance >= 1, minlength=people) > 0
    none = np.bincount(index, np.log1p(-np.where(chance >= 1, 0.0, chance)), minlength=people)
    return float(np.where(certain, 1.0, -np.expm1(none)).sum())


def _check(low: Array, high: Array, subject: Array, *, names: tuple[str, str]) -> None:
    """Chances of success: of one length with `subject`, in 0..1, and in order."""
    if not len(low) == len(high) == len(subject):
        lengths = f"{len(low)}, {len(high)} and {len(subject)}"
        raise ValueError(f"`{names[0]}`, `{names[1]}` and `subject` must be of one length, got {lengths}")
    if len(subject) == 0:
        return
    both = np.stack([low, high]).astype(float)
    least, most = both.min(), both.max()  # NaN if any is
    if not (least >= 0 and most <= 1):
        raise ValueError(f"chances of success must lie in 0..1, got values from {least:g} to {most:g}")
    crossed = float((both[0] - both[1]).max())
    if crossed > 1e-9:  # the two are divided out apart, and may differ by rounding
        raise ValueError(f"`{names[0]}` must not lie above `{names[1]}`, got one {crossed:g} above")
