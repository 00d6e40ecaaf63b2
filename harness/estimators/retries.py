"""How often a user tries until the devices agree, and how long that takes."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import gammaln
from scipy.stats import norm, t

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.means import subject_means
from harness.estimators.proportion import clopper_pearson

__all__ = [
    "agreement_within",
    "expected_tries",
    "mean_tries",
    "time_until_key",
    "tries_for_share",
    "tries_quantile",
]


def expected_tries(agreement: Array, weight: Array) -> float:
    """Mean number of tries until the first agreement, tries of one person being independent.

    Parameters
    ----------
    agreement : (people,) float
        Probability that a try of each person agrees, 0 to 1.
    weight : (people,) float
        Share of each person; sums to 1.

    Returns
    -------
    float
        ``sum_i w_i / p_i``, exact: more than 1 over the mean agreement unless all are alike, and inf if
        somebody never agrees.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Examples
    --------
    >>> expected_tries(np.array([0.9, 0.1]), np.array([0.5, 0.5]))
    5.555555555555555
    """
    p, w = _people(agreement, weight)
    with np.errstate(divide="ignore"):
        return float((w[w > 0] / p[w > 0]).sum())


def tries_quantile(agreement: Array, weight: Array, *, share: float) -> float:
    """Least number of tries within which a share of first agreements comes.

    Parameters
    ----------
    agreement, weight
        As in `expected_tries`.
    share : float
        Strictly between 0 and 1.

    Returns
    -------
    float
        Whole number of tries, exact; inf if more than the rest never agree.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Examples
    --------
    >>> tries_quantile(np.array([0.5]), np.array([1.0]), share=0.95)
    5.0
    """
    p, w = _people(agreement, weight)
    _share(share)
    if float(w[p > 0].sum()) < share or not (p > 0).any():
        return math.inf

    def within(tries: float) -> float:
        with np.errstate(divide="ignore"):
            return float(
                (w * -np.expm1(tries * np.log1p(-p), where=p < 1, out=np.full(len(p), -1.0))).sum()
            )

    most = 1.0
    while within(most) < share - 1e-12:
        most *= 2
        if most > 2.0**60:
            return math.inf  # only in the limit
    least = most // 2
    while most - least > 1:
        middle = (least + most) // 2
        least, most = (least, middle) if within(middle) >= share - 1e-12 else (middle, most)
    return most


def agreement_within(agreed: Array, subject: Array, *, tries: int, level: float = 0.95) -> Estimate:
    """Probability that one of several tries agrees.

    Parameters
    ----------
    agreed : (attempts,) bool
    subject : (attempts,) int
    tries : int
        At least 1, and no more than anybody's attempts.
    level : float
        Two-sided.

    Returns
    -------
    Estimate
        Unit "probability", side "estimate". Each person's value is free of bias if that person's attempts
        are independent: the share of choices of `tries` of their attempts that hold an agreement.

    Raises
    ------
    ValueError
        If an argument is out of range.
    InsufficientData
        If somebody has fewer attempts than `tries`, or nobody any.
    """
    _tries(tries)
    none = _none_in(agreed, subject, tries)[:, tries]
    return _estimate(1 - none, agreed, 0.0, 1.0, "probability", level, tries)


def mean_tries(agreed: Array, subject: Array, *, tries: int, level: float = 0.95) -> Estimate:
    """Mean number of tries of a user who gives up after so many.

    Parameters
    ----------
    agreed, subject, level
        As in `agreement_within`.
    tries : int
        At least 1, and at most one more than anybody's attempts.

    Returns
    -------
    Estimate
        Unit "tries", side "estimate", between 1 and `tries`. The mean without giving up is at least this;
        it has no upper limit from any data, as a person who never agrees makes it infinite.

    Raises
    ------
    As `agreement_within`.
    """
    _tries(tries)
    spent = _none_in(agreed, subject, tries - 1)[:, :tries].sum(axis=1)
    return _estimate(spent, agreed, 1.0, float(tries), "tries", level, tries)


def time_until_key(
    agreed: Array, seconds: Array, subject: Array, *, tries: int, level: float = 0.95
) -> Estimate:
    """Mean time of sensing until the devices agree, or until the user gives up.

    Parameters
    ----------
    agreed, subject, tries, level
        As in `mean_tries`.
    seconds : (attempts,) float
        What each attempt took, at least 0.

    Returns
    -------
    Estimate
        Unit "s", side "estimate": each person's mean number of tries times their mean time. The ends
        suppose that no try takes longer than the longest seen.

    Raises
    ------
    As `agreement_within`.
    """
    if seconds.shape != np.shape(subject) or not (np.isfinite(seconds).all() and (seconds >= 0).all()):
        raise ValueError(
            f"`seconds` must hold a time of at least 0 for each of {len(subject)} attempts, got shape "
            f"{seconds.shape}"
        )
    _tries(tries)
    spent = _none_in(agreed, subject, tries - 1)[:, :tries].sum(axis=1)
    each = subject_means(seconds, subject)[1]
    return _estimate(spent * each, agreed, 0.0, tries * float(seconds.max()), "s", level, tries)


def tries_for_share(agreed: Array, subject: Array, *, share: float, level: float = 0.95) -> Estimate:
    """Least number of tries within which a share of first agreements comes.

    Parameters
    ----------
    agreed, subject
        As in `agreement_within`.
    share : float
        Strictly between 0 and 1.
    level : float
        Two-sided, of the limits of `agreement_within` that are turned round.

    Returns
    -------
    Estimate
        Unit "tries", side "estimate". The upper end is open where no number up to anybody's attempts is
        enough.

    Raises
    ------
    ValueError
        If an argument is out of range.
    InsufficientData
        If as many tries as everybody has attempts are too few.
    """
    _share(share)
    most = int(np.unique(subject, return_counts=True)[1].min(initial=len(subject)))
    curve = [agreement_within(agreed, subject, tries=n, level=level) for n in range(1, most + 1)]

    def least(values: list[float]) -> float:
        enough = np.flatnonzero(np.array(values) >= share)
        return float(enough[0] + 1) if enough.size else float("nan")

    value = least([c.value for c in curve])
    if math.isnan(value):
        found = curve[-1].value if curve else 0.0
        raise InsufficientData(
            f"{most} tries, as many as everybody made, agree in {found:.3g} of cases, less than {share:g}",
            partial=curve[-1] if curve else None,
        )
    return Estimate(
        value=value,
        low=least([c.high for c in curve]),
        high=least([c.low for c in curve]),
        level=level,
        unit="tries",
        side="estimate",
        evidence="counted",
        subjects=curve[0].subjects,
        attempts=len(agreed),
        method=f"share-{share:g}",
    )


def _none_in(agreed: Array, subject: Array, tries: int) -> Array:
    """(people, tries + 1) chance that none of 0, 1, ... tries agrees: C(n - k, j) / C(n, j), unbiased."""
    agreed = np.asarray(agreed)
    if agreed.ndim != 1 or agreed.shape != np.shape(subject) or agreed.dtype.kind != "b":
        raise ValueError(
            f"`agreed` must be one bool for each of {len(subject)} attempts, got {agreed.dtype} of shape "
            f"{agreed.shape}"
        )
    people, sizes = np.unique(subject, return_counts=True)
    if len(people) == 0:
        raise InsufficientData("tries need at least one attempt, got none")
    if sizes.min() < tries:
        raise InsufficientData(
            f"{tries} tries need as many attempts of everybody, got {sizes.min()} of subject "
            f"{people[sizes.argmin()]}"
        )
    failed = sizes - np.bincount(np.searchsorted(people, subject), agreed, minlength=len(people))
    j = np.arange(tries + 1)
    left = failed[:, None] - j
    size = sizes[:, None]
    logs = (
        gammaln(failed[:, None] + 1)
        - gammaln(np.maximum(left, 0) + 1)
        - gammaln(size + 1)
        + gammaln(size - j + 1)
    )
    return np.where(left >= 0, np.exp(logs), 0.0)


def _estimate(
    values: Array, agreed: Array, least: float, most: float, unit: str, level: float, tries: int
) -> Estimate:
    """Mean over people of values between two bounds.

    Clopper–Pearson on as many people as their spread makes them worth, at least those there are, after Korn
    and Graubard, Survey Methodology 24 (1998) (from memory). Student's t covered .76 where few people
    fail, and most samples of twelve hold none of them.
    """
    if not 0 < level < 1:
        raise ValueError(f"`level` must lie strictly between 0 and 1, got {level}")
    n, value = len(values), float(values.mean())
    low = high = float("nan")
    if n > 1 and most > least:
        mean = min(max((value - least) / (most - least), 0.0), 1.0)
        # rare people are missing from most samples: one more at the further bound counts for the spread
        rare = least if mean > 0.5 else most
        spread = float(np.append(values, rare).var(ddof=1)) / (most - least) ** 2
        tail = (1 - level) / 2
        shrink = float(norm.isf(tail)) / float(t.isf(tail, n - 1))
        worth = n * mean * (1 - mean) / spread * shrink**2
        people = max(float(n), worth)
        ends = clopper_pearson(mean * people, people, level=level)
        low, high = (least + end * (most - least) for end in ends)
    elif n > 1:
        low = high = value
    return Estimate(
        value=value,
        low=min(low, value),
        high=max(high, value),
        level=level,
        unit=unit,
        side="estimate",
        evidence="counted",
        subjects=n,
        attempts=len(agreed),
        method=f"tries-{tries}",
    )


def _people(agreement: Array, weight: Array) -> tuple[Array, Array]:
    p, w = np.asarray(agreement, float), np.asarray(weight, float)
    if p.ndim != 1 or p.shape != w.shape or p.size == 0 or not (p.min() >= 0 and p.max() <= 1):
        raise ValueError(
            f"`agreement` must hold probabilities, one for each of {w.size} weights, got shape {p.shape}"
        )
    if not (w.min() >= 0 and abs(float(w.sum()) - 1) < 1e-9):
        raise ValueError(f"`weight` must hold probabilities that sum to 1, got a sum of {w.sum():.6g}")
    return p, w


def _tries(tries: int) -> None:
    if tries < 1:
        raise ValueError(f"`tries` must be at least 1, got {tries}")


def _share(share: float) -> None:
    if not 0 < share < 1:
        raise ValueError(f"`share` must lie strictly between 0 and 1, got {share}")
