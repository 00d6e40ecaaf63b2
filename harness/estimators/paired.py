"""The same people twice: how far apart two versions are, and how much worse the later one may be."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import t

from harness.contracts import Array

__all__ = ["FEW", "Harm", "MeanDifference", "effect", "harm", "mean_difference"]

FEW = 8
"""With fewer people who changed at all, Student's t is not trusted with a rate."""

DETECTABLE = 4.0
"""Standard errors in the smallest detectable effect: one of that size is seen nearly always."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanDifference:
    """A mean over people of first less second, its interval, and a two-sided p; None: too few people."""

    value: float
    low: float | None
    high: float | None
    p: float | None


def mean_difference(first: Array, second: Array, *, level: float = 0.95) -> MeanDifference:
    """Paired difference of subject means, with Student's t interval over people.

    Parameters
    ----------
    first, second : (people,) float
        Row by row the same people.
    level : float
        Two-sided.

    Returns
    -------
    MeanDifference
        p is never below the chance that all who differ do so in one direction, 2^(1 - those people).

    Raises
    ------
    ValueError
        If lengths differ or nobody is there.
    """
    _same_people(first, second)
    difference = first - second
    value, error = _mean_and_error(difference)
    if error is None:
        return MeanDifference(value=value, low=None, high=None, p=None)
    df = len(difference) - 1
    half = float(t.ppf((1 + level) / 2, df)) * error
    p = 1.0 if value == 0 else float(2 * t.sf(abs(value) / error, df)) if error > 0 else 0.0
    p = min(max(p, 2.0 ** (1 - np.count_nonzero(difference))), 1.0)
    return MeanDifference(value=value, low=value - half, high=value + half, p=p)


@dataclass(frozen=True, slots=True, kw_only=True)
class Harm:
    """How much worse the later version is.

    Attributes
    ----------
    worse : float or None
        A difference, or a factor; None where a factor is 0/0.
    limit : float or None
        One-sided upper limit of it: harm is at most this. None: the people cannot say.
    detectable : float or None
        The smallest harm that these people could have shown.
    p : float or None
        One-sided: chance of harm this large if nothing had got worse.
    """

    worse: float | None
    limit: float | None
    detectable: float | None
    p: float | None


def harm(old: Array, new: Array, *, scale: str, level: float = 0.95, unseen: float | None = None) -> Harm:
    """How much larger a harmful quantity has become for the same people.

    Parameters
    ----------
    old, new : (people,) float
        Subject means, row by row the same people; larger is worse.
    scale : str
        "difference", "ratio" of means, or "odds-ratio" of mean probabilities: at small odds a ratio, at
        odds near 1 as strict about what is left.
    level : float
        One-sided, of `limit`.
    unseen : float, optional
        For rates: upper limit of a rate of which these people showed nothing. A rate that changed in fewer
        than `FEW` people may have grown by this much more than was seen.

    Returns
    -------
    Harm

    Raises
    ------
    ValueError
        If lengths differ, nobody is there, or the scale is unknown.

    Notes
    -----
    The limit of a factor is the m at which the upper limit of ``mean(new) - g_m(mean(old))`` is 0, g_m
    being the old quantity made worse by m, and its slope taken for granted over people (delta method).
    Where few people bear the harm, means are skewed, and Student's t alone would pass too much: a positive
    skewness moves the limit up (Johnson, J. Am. Stat. Assoc. 73 (1978) 536–544, from memory). p is never
    below 2^-k for k people who changed: less cannot be told from coin flips.

    Measured share of passes at .05 where the harm is the margin, 10 to 60 people of ten attempts: .04–.05
    for bits; for rates up to .06 at an intra-class correlation of the harm of .05, .08 at .2, .09 at .3.
    """
    _same_people(old, new)
    if scale not in ("difference", "ratio", "odds-ratio"):
        raise ValueError(f"`scale` must be difference, ratio or odds-ratio, got {scale!r}")
    value, error = _mean_and_error(new - old)
    before, after = float(old.mean()), float(new.mean())
    changed = int(np.count_nonzero(new - old))
    factor = None if scale == "difference" else _grown(scale)
    worse = value if factor is None else _factor(scale, before, after)
    if error is None:
        return Harm(worse=worse, limit=None, detectable=None, p=None)
    df = len(old) - 1
    quantile = float(t.ppf(level, df))
    p = 1.0 if value <= 0 and error == 0 else float(t.sf(value / error, df)) if error > 0 else 0.0
    p = min(max(p, 2.0**-changed), 1.0)
    extra = unseen if unseen is not None and changed < FEW else None
    if factor is None:
        limit = _upper(new - old, quantile)
        if extra is not None:
            limit = max(limit, max(value, 0.0) + extra)
        return Harm(worse=worse, limit=limit, detectable=DETECTABLE * error, p=p)

    def above(m: float) -> float:
        """Upper limit of what the new quantity exceeds the old one made worse by m."""
        target, slope = factor(before, m)
        least = _upper(new - slope * old, quantile) + slope * before - target
        return least if extra is None else max(least, before + max(value, 0.0) + extra - target)

    if before >= 1 and scale == "odds-ratio":
        return Harm(worse=worse, limit=1.0, detectable=None, p=p)  # what is certain cannot become likelier
    return Harm(
        worse=worse,
        limit=_crossing(above) if before > 0 else None,
        detectable=_factor(scale, before, before + DETECTABLE * error) if before > 0 else None,
        p=p,
    )


def effect(old: Array, new: Array, sought: float, *, scale: str) -> float:
    """How many standard errors of these people a harm is.

    Parameters
    ----------
    old, new : (people,) float
        As in `harm`.
    sought : float
        The harm: a difference, or a factor.
    scale : str
        As in `harm`.

    Returns
    -------
    float
        Rests on how much people's values scatter, not on which way they went. Infinite where nothing
        scatters, 0 where there are too few people to tell.
    """
    _same_people(old, new)
    _, error = _mean_and_error(new - old)
    if error is None:
        return 0.0
    before = float(old.mean())
    moved = sought if scale == "difference" else abs(_grown(scale)(before, sought)[0] - before)
    return moved / error if error > 0 else math.inf


def _same_people(first: Array, second: Array) -> None:
    if len(first) != len(second) or len(first) == 0:
        raise ValueError(f"both sides must hold the same people, got {len(first)} and {len(second)}")


def _mean_and_error(difference: Array) -> tuple[float, float | None]:
    value = float(difference.mean())
    if len(difference) < 3:
        return value, None
    return value, float(difference.std(ddof=1)) / math.sqrt(len(difference))


def _upper(values: Array, quantile: float) -> float:
    """Upper limit of a mean over people, moved up where a few large values make it uncertain."""
    mean, spread, n = float(values.mean()), float(values.std(ddof=1)), len(values)
    if spread == 0:
        return mean
    skewness = max(float(((values - mean) ** 3).mean()) / spread**3, 0.0)
    return mean + spread / math.sqrt(n) * (quantile + skewness * (1 + 2 * quantile**2) / (6 * math.sqrt(n)))


def _grown(scale: str) -> Callable[[float, float], tuple[float, float]]:
    """A quantity made worse by a factor, and the slope of that in the quantity."""
    if scale == "ratio":
        return lambda a, m: (m * a, m)
    return lambda a, m: (m * a / (1 + (m - 1) * a), m / (1 + (m - 1) * a) ** 2)


def _factor(scale: str, before: float, after: float) -> float | None:
    if scale == "ratio":
        return after / before if before > 0 else None
    if after >= 1:
        return 1.0 if before >= 1 else math.inf
    if before <= 0 or before >= 1:
        return None if after == before else math.inf if before <= 0 else 0.0
    return after * (1 - before) / (before * (1 - after))


def _crossing(above: Callable[[float], float]) -> float:
    """The factor from which on the limit stays below; infinite if none does."""
    low, high = 1e-9, 1e9
    if above(high) >= 0:
        return math.inf
    if above(low) < 0:
        return 0.0
    root = brentq(lambda logarithm: above(math.exp(logarithm)), math.log(low), math.log(high), xtol=1e-12)
    return float(math.exp(root))
