"""Linkability of helper data: can one tell that two of them are of one person?

From scores of pairs, mated (one person, two sessions) and non-mated (two people). With both kinds equally
likely beforehand, a score s makes mated likelier by D(s) = P(mated | s) - P(non-mated | s) where that is
positive; D_sys is the mean of D over mated pairs: 0 where scores tell nothing, 1 where they tell all.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import isotonic_regression

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.extremes import mean_ends

__all__ = [
    "LEAST_PEOPLE",
    "estimated_linkability",
    "linkage_p_value",
    "local_linkability",
    "system_linkability",
]

LEAST_PEOPLE = 5
"""Fewer permutations of people than 5! could not show anything at the level .01."""

_FOLDS = 5


def local_linkability(ratio: Array, *, prior_ratio: float = 1.0) -> Array:
    """D(s): how much likelier mated than non-mated a score makes a pair; 0 where it makes it less likely.

    Parameters
    ----------
    ratio : float array
        Likelihood ratio of the score, mated to non-mated; at least 0, inf allowed.
    prior_ratio : float
        Mated to non-mated pairs beforehand, ω; above 0.

    Returns
    -------
    float array
        Between 0 and 1: ``2 ω LR / (1 + ω LR) - 1`` where ω LR exceeds 1.

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    Gomez-Barrero, Galbally, Rathgeb and Busch, General framework to evaluate unlinkability in biometric
    template protection systems, IEEE Trans. Inf. Forensics Secur. 13 (2018) (formula from memory). ISO/IEC
    30136 asks for unlinkability.

    Examples
    --------
    >>> local_linkability(np.array([0.0, 1.0, 3.0, np.inf])).tolist()
    [0.0, 0.0, 0.5, 1.0]
    """
    if not prior_ratio > 0 or np.isinf(prior_ratio):
        raise ValueError(f"`prior_ratio` must lie above 0, got {prior_ratio}")
    odds = np.asarray(ratio, float) * prior_ratio
    if not (odds >= 0).all():
        raise ValueError(f"`ratio` must be at least 0, got {np.min(ratio)}")
    return np.maximum(1 - 2 / (1 + odds), 0.0)


def system_linkability(mated: Array, non_mated: Array, *, prior_ratio: float = 1.0) -> float:
    """D_sys of two known distributions of a score, exactly.

    Parameters
    ----------
    mated, non_mated : (values,) float
        Probability of each value of the score; at least 0, summing to 1.
    prior_ratio : float
        As in `local_linkability`.

    Returns
    -------
    float
        Between 0 and 1. At a prior ratio of 1 it is an f-divergence, f(t) = t (t - 1) / (t + 1) above 1: no
        processing of the score raises it.

    Raises
    ------
    ValueError
        If they are no distributions over the same values.

    References
    ----------
    As in `local_linkability`.

    Examples
    --------
    >>> system_linkability(np.array([0.5, 0.5]), np.array([0.5, 0.5]))
    0.0
    >>> system_linkability(np.array([1.0, 0.0]), np.array([0.0, 1.0]))
    1.0
    """
    m, n = np.asarray(mated, float), np.asarray(non_mated, float)
    if m.ndim != 1 or m.shape != n.shape or m.size == 0:
        raise ValueError(
            f"`mated` and `non_mated` must hold probabilities of the same values, got {m.shape}, {n.shape}"
        )
    for name, p in (("mated", m), ("non_mated", n)):
        if not (p.min() >= 0 and abs(float(p.sum()) - 1) < 1e-9):
            raise ValueError(f"`{name}` must hold probabilities that sum to 1, got a sum of {p.sum():.6g}")
    here = m > 0
    with np.errstate(divide="ignore", over="ignore"):
        ratio = m[here] / n[here]
    return float((m[here] * local_linkability(ratio, prior_ratio=prior_ratio)).sum())


def estimated_linkability(score: Array, first: Array, second: Array, *, level: float = 0.95) -> Estimate:
    """D_sys from scores of pairs of helper data, at a prior ratio of 1.

    The probability of being mated is fitted as a function that rises with the score (isotonic regression),
    on other people than those it is judged on. Judged so, it is on average no larger than D_sys, as D_sys
    is an f-divergence and each fitted function gives one of its variational lower bounds.

    Parameters
    ----------
    score : (pairs,) float
        Larger where two helper data are more alike; only its order counts.
    first, second : (pairs,) int
        Whose helper data of the first and of the second session they are; equal means mated.
    level : float
        Two-sided; Student's t on people, each with what its mated and non-mated pairs add.

    Returns
    -------
    Estimate
        Unit "D_sys", side "attacker-at-least": a better score may exist. Value and ends lie in 0..1.

    Raises
    ------
    ValueError
        If lengths differ or a score is NaN.
    InsufficientData
        If fewer than `LEAST_PEOPLE` have mated pairs.

    Notes
    -----
    Every person and every pair of people counts alike, however many attempts they made. Where scores of
    mated pairs are low *and* high, a rising function misses the low ones. The upper end, fitted and judged
    on the same people, bounds D_sys of this score only. The lower end allows for people unlike all of
    these: n people show no more than ``((1 - level) / 2) ** (1 / n)``.

    Measured with normal scores: the value is low by .013 with twenty people and by .05 with eight (.24 for
    .29). Where nothing links and scores take few values, the lower end of a 90 % interval held in .94 of
    cases; the permutation test beside it is exact.

    References
    ----------
    D_sys: as in `local_linkability`. Variational bounds of f-divergences: Nguyen, Wainwright and Jordan,
    IEEE Trans. Inf. Theory 56 (2010) (from memory).
    """
    score, people, p, q = _checked(score, first, second)
    if not 0 < level < 1:
        raise ValueError(f"`level` must lie strictly between 0 and 1, got {level}")
    n = len(people)
    place = np.unique(score, return_inverse=True)[1].ravel()
    mated = p == q
    weight = 1.0 / np.bincount(p * n + q, minlength=n * n)[p * n + q]
    by_others = np.zeros((2, len(score)))
    for fold in range(_FOLDS):
        apart = (p % _FOLDS != fold) & (q % _FOLDS != fold)
        terms = _terms(_rising(place, mated, weight, apart))
        for side in (p, q):  # a non-mated pair is judged by two fits, each without one of its people
            rows = np.flatnonzero(side % _FOLDS == fold)
            by_others[:, rows] += terms[:, place[rows]] / 2
    by_all = _terms(_rising(place, mated, weight, np.ones(len(score), bool)))[:, place]
    tail = (1 - level) / 2
    value, low, _ = mean_ends(_parts(by_others, p, q, weight), below=tail, above=tail)
    # fitted and judged on the same people it says too much: the upper end allows for what fitting lost
    high = max(value, mean_ends(_parts(by_all, p, q, weight), below=tail, above=tail)[2])
    # if a share tail ** (1 / n) of all people can be linked, n of n can be by chance
    low = min(low, tail ** (1 / n))
    value, low, high = (float(np.clip(x, 0.0, 1.0)) for x in (value, low, high))
    return Estimate(
        value=value,
        low=low,
        high=high,
        level=level,
        unit="D_sys",
        side="attacker-at-least",
        evidence="counted",
        subjects=n,
        attempts=int(mated.sum()),
        method="held-out-isotonic",
    )


def _terms(chance: Array) -> Array:
    """(2, scores): what a mated pair adds to the variational bound, and what a non-mated one takes."""
    likely = chance > 0.5 + 1e-9  # a constant score is even but for rounding
    return np.stack(
        [np.where(likely, 1 - 2 * (1 - chance) ** 2, 0.0), np.where(likely, 2 * chance**2, 0.0)]
    )


def _parts(terms: Array, p: Array, q: Array, weight: Array) -> Array:
    """(people,) each person's part in the mean over people less the mean over pairs of people."""
    n = int(p.max()) + 1
    mated, others = p == q, p != q
    own = np.bincount(p[mated], (terms[0] * weight)[mated], minlength=n)
    cost, share = (terms[1] * weight)[others], weight[others]
    mean = float(cost.sum() / share.sum())
    by_first, by_second = (
        np.bincount(x[others], cost, minlength=n) / np.bincount(x[others], share, minlength=n)
        for x in (p, q)
    )
    # what leaving a person out would change, times the number of people
    return np.asarray(own - (by_first + by_second - mean))


def _rising(place: Array, mated: Array, weight: Array, rows: Array) -> Array:
    """Chance of being mated at every distinct score, rising with it, mated and others weighing alike."""
    size = int(place.max()) + 1
    parts = []
    for kind in (mated, ~mated):
        some = rows & kind
        parts.append(np.bincount(place[some], weight[some], minlength=size) / weight[some].sum())
    total = parts[0] + parts[1]
    seen = np.flatnonzero(total > 0)
    fitted = isotonic_regression(parts[0][seen] / total[seen], weights=total[seen]).x
    # a score that was not seen is judged by the next higher one: the many scores between people leave the
    # smaller gaps, so what falls below the least mated score is likelier mated
    return np.asarray(fitted[np.minimum(np.searchsorted(seen, np.arange(size)), len(seen) - 1)])


def linkage_p_value(
    score: Array, first: Array, second: Array, *, rng: np.random.Generator, repetitions: int = 999
) -> Estimate:
    """Are helper data of one person more alike than those of two? People's second sessions are dealt out
    anew.

    Exact whatever the dependence within a session: under unlinkability every assignment of second sessions
    to people is equally likely.

    Parameters
    ----------
    score, first, second
        As in `estimated_linkability`, with every pair of people present.
    rng : numpy.random.Generator
    repetitions : int
        Permutations; the p-value is never below 1 / (repetitions + 1).

    Returns
    -------
    Estimate
        Unit "p-value"; value, low and high are the same number.

    Raises
    ------
    ValueError
        As `estimated_linkability`, and if two people's sessions were never compared.
    InsufficientData
        If fewer than `LEAST_PEOPLE` have mated pairs.

    References
    ----------
    Phipson and Smyth, Stat. Appl. Genet. Mol. Biol. 9 (2010) article 39, on p-values that are never zero
    (from memory).
    """
    score, people, p, q = _checked(score, first, second)
    n = len(people)
    _, index, count = np.unique(score, return_inverse=True, return_counts=True)
    rank = (np.cumsum(count) - (count - 1) / 2)[index.ravel()]
    pairs = np.bincount(p * n + q, minlength=n * n)
    if not pairs.all():
        a, b = divmod(int(np.flatnonzero(pairs == 0)[0]), n)
        raise ValueError(
            f"every two people's sessions must be compared, got no score of {people[a]} with {people[b]}"
        )
    table = (np.bincount(p * n + q, rank, minlength=n * n) / pairs).reshape(n, n)
    observed = float(np.trace(table))
    dealt = rng.permuted(np.broadcast_to(np.arange(n), (repetitions, n)), axis=1)
    null = table[np.arange(n), dealt].sum(axis=1)
    # equal sums count as unlinkable, up to rounding
    value = (int((null >= observed - 1e-9 * max(1.0, abs(observed))).sum()) + 1) / (repetitions + 1)
    return Estimate(
        value=value,
        low=value,
        high=value,
        level=0.95,
        unit="p-value",
        side="estimate",
        evidence="counted",
        subjects=n,
        attempts=int((p == q).sum()),
        method="people-permutation",
    )


def _checked(score: Array, first: Array, second: Array) -> tuple[Array, Array, Array, Array]:
    """Scores, people, and the numbers of both people of each pair; who has no mated pair is dropped."""
    if score.ndim != 1 or not score.shape == np.shape(first) == np.shape(second):
        shapes = f"{np.shape(score)}, {np.shape(first)} and {np.shape(second)}"
        raise ValueError(f"`score`, `first` and `second` must be of one length, got {shapes}")
    if np.isnan(score).any():
        raise ValueError(f"`score` must hold numbers, got {int(np.isnan(score).sum())} NaN")
    people = np.unique(first[first == second])
    if len(people) < LEAST_PEOPLE:
        raise InsufficientData(
            f"linkage needs {LEAST_PEOPLE} people with helper data of two sessions, got {len(people)}"
        )
    kept = np.isin(first, people) & np.isin(second, people)
    return (
        score[kept],
        people,
        np.searchsorted(people, first[kept]),
        np.searchsorted(people, second[kept]),
    )
