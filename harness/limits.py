"""One-sided limits of a measured row at any confidence, from the row alone.

A row carries its value, the two ends of its interval and the level of these. Where the method's family is
known, that is enough to get the limit at another level; elsewhere an end is passed on if its own level is
high enough, and otherwise there is no limit.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy.optimize import brentq
from scipy.stats import t

from harness.estimators.proportion import clopper_pearson
from harness.rows import Row

__all__ = ["PROPORTIONS", "effective_trials", "is_mean", "lower_limit", "upper_limit"]

PROPORTIONS = frozenset({"design-effect", "design-effect-two-way", "subject-unit"})
"""Methods whose ends are Clopper–Pearson limits on an effective number of trials."""

_MEANS = frozenset({"per-attempt", "witness-bits", "symbols", "key-bits"})
_GAINS = frozenset({"held-out-log-score"})
_JACKKNIFE = "average-given-helper-independent-symbols"
_JACKKNIFE_GROUPS = 10
_TINY = 1e-200  # smaller ends have underflowed and tell nothing of the number of trials
_T_MEASURES = frozenset({"bit-mismatch", "time", "attacker-bit-agreement"})


def lower_limit(row: Row, confidence: float) -> float | None:
    """What the row's quantity is at least, at a one-sided confidence.

    Parameters
    ----------
    row : Row
        Measured.
    confidence : float
        One-sided, strictly between .5 and 1.

    Returns
    -------
    float or None
        None where the row does not tell.

    Raises
    ------
    ValueError
        If the row is not measured or the confidence is out of range.

    Notes
    -----
    Rates: the number of effective trials is solved from the value and an end, and the limit computed
    anew (Clopper and Pearson, Biometrika 26 (1934) 404–413). Where the odds of single attempts are known
    only between bounds and the value is 0, that number comes out too small, and an upper limit at a
    confidence below the row's own is then slightly too low. Means over people: Student's t with one degree
    of freedom less than there are people; entropies by jackknife: with one less than there are groups.
    """
    return _limit(row, confidence, upper=False)


def upper_limit(row: Row, confidence: float) -> float | None:
    """What the row's quantity is at most, at a one-sided confidence; otherwise as `lower_limit`.

    Examples
    --------
    No success of 100 independent attempts is odds of up to 3 %:

    >>> import numpy as np
    >>> from harness.estimators.proportion import clustered_rate
    >>> from harness.results import measured
    >>> none = clustered_rate(np.zeros(100), np.zeros(100), np.arange(100), side="attacker-at-least")
    >>> row = measured(none, scheme="s", attack="a", measure="success-odds", data="simulated", budget=1)
    >>> round(upper_limit(row, 0.95), 6), round(upper_limit(row, 0.99), 6)
    (0.029513, 0.045007)
    """
    return _limit(row, confidence, upper=True)


def _limit(row: Row, confidence: float, *, upper: bool) -> float | None:
    if not 0.5 < confidence < 1:
        raise ValueError(f"`confidence` must lie strictly between .5 and 1, got {confidence}")
    if row.status != "measured" or row.value is None or row.level is None:
        raise ValueError(f"a limit needs a measured row, got one that is {row.status}")
    if row.evidence == "exact":
        return row.value
    if row.unit == "p-value":
        return None  # no quantity of the scheme stands behind it
    if row.method in PROPORTIONS:
        return _rate_limit(row, confidence, upper=upper)
    if row.method in _GAINS:
        return None if upper else _gain_limit(row, confidence)
    if is_mean(row):
        return _t_limit(row, confidence, df=row.subjects - 1, upper=upper)
    if row.method == _JACKKNIFE and row.measure == "min-entropy":
        groups = min(_JACKKNIFE_GROUPS, row.subjects)
        return _t_limit(row, confidence, df=groups - 1, upper=upper)
    if row.measure == "min-entropy" and upper:
        return None  # the upper end of these methods is the share that was seen, no limit of it
    end = row.high if upper else row.low
    return end if end is not None and confidence <= (1 + row.level) / 2 + 1e-12 else None


def is_mean(row: Row) -> bool:
    """Is the row a mean over people with Student's interval?"""
    return row.method in _MEANS and row.measure in _T_MEASURES


def effective_trials(row: Row) -> float | None:
    """How many independent trials a rate is worth.

    Parameters
    ----------
    row : Row
        Measured, its method one of `PROPORTIONS`.

    Returns
    -------
    float or None
        Between 0 and the attempts; None where the ends tell nothing.

    Raises
    ------
    ValueError
        If the row is no such rate.
    """
    if row.method not in PROPORTIONS or row.value is None or row.level is None:
        raise ValueError(f"trials belong to rates by {', '.join(sorted(PROPORTIONS))}, got {row.method}")
    value, low, high, level = row.value, row.low, row.high, row.level
    if low is not None and value > 0 and low > _TINY:
        wanted = math.log(low)

        def by_low(log_n: float) -> float:
            n = math.exp(log_n)
            return math.log(max(clopper_pearson(value * n, n, level=level)[0], 1e-300)) - wanted

        return _root(by_low, row.attempts)
    if high is None or high >= 1:
        return None
    wanted = math.log1p(-high)

    def by_high(log_n: float) -> float:
        n = math.exp(log_n)
        return math.log1p(-min(clopper_pearson(value * n, n, level=level)[1], 1 - 1e-16)) - wanted

    return _root(by_high, row.attempts)


def _root(excess: Callable[[float], float], attempts: int) -> float | None:
    """Number of trials at which a limit is met; it grows with them."""
    least, most = math.log(1e-3), math.log(max(attempts, 1)) + 1e-9
    if excess(most) <= 0:
        return float(attempts)
    if excess(least) >= 0:
        return None
    return math.exp(float(brentq(excess, least, most, xtol=1e-13, rtol=1e-14)))


def _rate_limit(row: Row, confidence: float, *, upper: bool) -> float | None:
    stored = row.high if upper else row.low
    if row.value is None or stored is None or row.level is None:
        return None
    edge = 1.0 if upper else 0.0
    if _own(row.level, confidence) or row.value == stored == edge:
        return stored
    trials = effective_trials(row)
    if trials is None:
        return stored if confidence < (1 + row.level) / 2 else edge
    level = 2 * confidence - 1
    if not upper:
        return min(clopper_pearson(row.value * trials, trials, level=level)[0], row.value)
    share = _upper_share(row.value, stored, trials, row.level)
    return max(clopper_pearson(share * trials, trials, level=level)[1], row.value)


def _own(level: float, confidence: float) -> bool:
    """Is it the confidence of the stored ends themselves?"""
    return abs(confidence - (1 + level) / 2) < 1e-12


def _upper_share(value: float, high: float, trials: float, level: float) -> float:
    """The mean that the upper end was computed from: attempts may be known only between bounds."""

    def excess(share: float) -> float:
        return clopper_pearson(min(share, 1.0) * trials, trials, level=level)[1] - high

    if high >= 1:
        return 1.0
    if excess(value) >= -1e-12 * (1 - high):
        return value
    return float(brentq(excess, value, 1.0, xtol=1e-15, rtol=1e-14))


def _gain_limit(row: Row, confidence: float) -> float | None:
    """The level is one-sided, and value and lower limit are clipped at 0."""
    if row.value is None or row.low is None or row.level is None or row.subjects < 2:
        return None
    if row.low == 0:
        return 0.0
    df = row.subjects - 1
    scale = float(t.ppf(confidence, df)) / float(t.ppf(row.level, df))
    return max(0.0, row.value - (row.value - row.low) * scale)


def _t_limit(row: Row, confidence: float, *, df: int, upper: bool) -> float | None:
    if row.value is None or row.low is None or row.high is None or row.level is None or df < 1:
        return None
    stored = row.high if upper else row.low
    if _own(row.level, confidence):
        return stored
    below, above = row.value - row.low, row.high - row.value
    # symmetric unless an end met the edge of what is possible: then the longer side is the whole
    half = max(below, above)
    least, most = _edges(row)
    scale = float(t.ppf(confidence, df)) / float(t.ppf((1 + row.level) / 2, df))
    nearly = half * (1 - 1e-9)
    cut = row.low <= least if below >= nearly else row.unit == "bit" or row.high >= most
    if cut and scale < 1:
        return stored  # the longer side may have been cut too, and how wide it was is not known
    if upper:
        return min(row.value + half * scale, row.high if above < nearly else most)
    return max(row.value - half * scale, row.low if below < nearly else least)


def _edges(row: Row) -> tuple[float, float]:
    if row.unit == "probability":
        return 0.0, 1.0
    return (0.0 if row.unit == "bit" else -math.inf), math.inf
