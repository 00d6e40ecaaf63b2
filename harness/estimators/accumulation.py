"""Strength of a key that is put together from several attempts.

Attempts of one person resemble one another, so strengths do not add: the average over people of the chance
of guessing all attempts is ruled by the weakest people, and symbols that a person repeats count once.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import logsumexp
from scipy.stats import beta

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData

__all__ = [
    "LARGEST",
    "chain_min_entropy",
    "estimated_joint_strength",
    "joint_strength",
    "mixture_min_entropy",
    "next_min_entropy",
    "strength_of_segments",
]

LARGEST = 2**20
"""Kinds of records that are enumerated at most."""


def joint_strength(bits: Array, weight: Array, *, attempts: int) -> float:
    """Average min-entropy of several attempts' keys, for an adversary who knows whom it attacks.

    ``-log2 sum_i w_i 2^(-m h_i)``: exact if a person's attempts are independent of one another. Every
    further attempt adds less, in the end no more than the weakest person's strength.

    Parameters
    ----------
    bits : (people,) float
        Average min-entropy of one attempt of each person, at least 0.
    weight : (people,) float
        Share of each person among those attacked; at least 0, summing to 1.
    attempts : int
        At least 1.

    Returns
    -------
    float
        Bits.

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    Average min-entropy: Dodis, Ostrovsky, Reyzin and Smith, SIAM J. Comput. 38 (2008) 97–139.

    Examples
    --------
    One person in ten has 5 bits an attempt, the others 20; four attempts hold 23 bits, not 4 times 8:

    >>> round(joint_strength(np.array([20.0, 5.0]), np.array([0.9, 0.1]), attempts=1), 2)
    8.32
    >>> round(joint_strength(np.array([20.0, 5.0]), np.array([0.9, 0.1]), attempts=4), 2)
    23.32
    """
    bits = _strengths(bits)
    weight = _distribution(weight, "weight", (len(bits),))
    _at_least_1(attempts)
    with np.errstate(divide="ignore"):
        logs = np.log(weight) - attempts * bits * math.log(2)
    return max(0.0, -float(logsumexp(logs)) / math.log(2))


def mixture_min_entropy(probability: Array, weight: Array, *, attempts: int, person_known: bool) -> float:
    """Min-entropy of the record of several attempts of one person, independent given the person.

    Parameters
    ----------
    probability : (people, outcomes) float
        Of one attempt, for each person; rows sum to 1.
    weight : (people,) float
        Share of each person; sums to 1.
    attempts : int
        At least 1.
    person_known : bool
        Whether the adversary knows whom it attacks; otherwise there is one best guess for all people.

    Returns
    -------
    float
        Bits. Not knowing the person adds at most log2 of the number of people.

    Raises
    ------
    ValueError
        If an argument is out of range.
    InsufficientData
        If more than `LARGEST` kinds of records would have to be compared; known persons never need that.

    Examples
    --------
    Two people, each of whom mostly repeats a symbol of their own:

    >>> people = np.array([[0.9, 0.1], [0.1, 0.9]])
    >>> half = np.array([0.5, 0.5])
    >>> [round(mixture_min_entropy(people, half, attempts=m, person_known=False), 3) for m in (1, 2, 4)]
    [1.0, 1.286, 1.608]
    >>> [round(mixture_min_entropy(people, half, attempts=m, person_known=True), 3) for m in (1, 2, 4)]
    [0.152, 0.304, 0.608]
    """
    table = np.asarray(probability, float)
    if table.ndim != 2 or table.size == 0:
        raise ValueError(f"`probability` must be of shape (people, outcomes), got {table.shape}")
    for person, row in enumerate(table):
        _distribution(row, f"probability[{person}]", table.shape[1:])
    weight = _distribution(weight, "weight", table.shape[:1])
    _at_least_1(attempts)
    if person_known:
        return max(0.0, -math.log2(float(weight @ table.max(axis=1) ** attempts)))
    # the order of outcomes does not matter: a record is as likely as its counts of outcomes make it
    outcomes = table.shape[1]
    if math.comb(attempts + outcomes - 1, attempts) > LARGEST:
        raise InsufficientData(
            f"at most {LARGEST} kinds of records can be compared, and {attempts} attempts of {outcomes} "
            "outcomes make more"
        )
    likely = np.ones((len(table), 1))  # (people, records) of the outcomes so far
    used = np.zeros(1, np.intp)
    for outcome in range(outcomes):
        counts = attempts - used + 1 if outcome < outcomes - 1 else np.ones(len(used), np.intp)
        parent = np.repeat(np.arange(len(used)), counts)
        step = np.arange(len(parent)) - np.repeat(np.cumsum(counts) - counts, counts)
        taken = step if outcome < outcomes - 1 else attempts - used[parent]
        likely = likely[:, parent] * table[:, outcome, None] ** taken
        used = used[parent] + taken
    return max(0.0, -math.log2(float((weight @ likely).max())))


def chain_min_entropy(joint: Array, *, attempts: int) -> float:
    """Min-entropy of one place's symbols over several attempts, each of which depends on the one before.

    Parameters
    ----------
    joint : (alphabet, alphabet) float
        Probability of each pair of symbols of two successive attempts; sums to 1.
    attempts : int
        At least 1. The record of two is exact for any dependence, that of more for a Markov chain.

    Returns
    -------
    float
        Bits; of independent places they add.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Examples
    --------
    A fair bit that is repeated nine times in ten holds 1 bit once, and .15 more with every attempt:

    >>> [round(chain_min_entropy(np.array([[0.45, 0.05], [0.05, 0.45]]), attempts=m), 3) for m in (1, 2, 4)]
    [1.0, 1.152, 1.456]
    """
    table = _square(joint)
    _at_least_1(attempts)
    first = table.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        step = np.log2(np.where(first[:, None] > 0, table / first[:, None], 0.0))
        best = np.log2(first)
    for _ in range(attempts - 1):
        best = (best[:, None] + step).max(axis=0)
    return max(0.0, -float(best.max()))


def next_min_entropy(joint: Array) -> float:
    """Average min-entropy of a symbol for an adversary who knows that of the attempt before.

    Parameters
    ----------
    joint : (alphabet, alphabet) float
        As in `chain_min_entropy`.

    Returns
    -------
    float
        Bits.

    Examples
    --------
    >>> round(next_min_entropy(np.array([[0.45, 0.05], [0.05, 0.45]])), 3)
    0.152
    """
    return max(0.0, -math.log2(float(_square(joint).max(axis=1).sum())))


def strength_of_segments(bits: Array) -> float:
    """Guesswork of a key whose segments are confirmed one by one: their guesses add, their bits do not.

    Whoever can tell a right segment from a wrong one needs ``sum_i 2^h_i`` guesses for all of them: log2 m
    more than a single one of m equal segments, and for the weakest alone no more than ``2^min(h)``.

    Parameters
    ----------
    bits : (segments,) float
        Strength of each segment, at least 0.

    Returns
    -------
    float
        log2 of the guesses, exact.

    Raises
    ------
    ValueError
        If there is no segment or one is out of range.

    Examples
    --------
    >>> strength_of_segments(np.full(4, 20.0))
    22.0
    """
    return float(logsumexp(_strengths(bits) * math.log(2)) / math.log(2))


def estimated_joint_strength(bits: Array, *, attempts: int, level: float = 0.95) -> Estimate:
    """`joint_strength` of people in general, from the strengths of some.

    Parameters
    ----------
    bits : (people,) float
        Average min-entropy of one attempt of each person, at least 0.
    attempts : int
        At least 1.
    level : float
        Two-sided.

    Returns
    -------
    Estimate
        Unit "bit", side "defender-at-most" (errors of the strengths and dependence between attempts mostly
        lower it), evidence "modelled". The ends hold for every distribution of strengths among people:
        whoever is weaker than all people seen may have no strength at all, so that n people never show
        more than about log2(n / 3.7) bits at .95, however strong they are and however many attempts are
        put together.

    Raises
    ------
    ValueError
        If an argument is out of range.
    InsufficientData
        With fewer than two people; carries that one's strength.

    Notes
    -----
    Low end: the share of people below the weakest of n is at most ``1 - tail^(1/n)``, and these count as
    guessed at once. High end: of the k weakest, k = 1, 2, 4, ..., the share in the population is at least
    Clopper and Pearson's limit, and they are as strong as the k-th; the best k, by Bonferroni. Both are
    conservative.
    """
    strengths = np.sort(_strengths(bits))
    n = len(strengths)
    if not 0 < level < 1:
        raise ValueError(f"`level` must lie strictly between 0 and 1, got {level}")
    value = joint_strength(strengths, np.full(n, 1 / n), attempts=attempts)
    tail = (1 - level) / 2
    unseen = -math.expm1(math.log(tail) / n)
    low = -math.log2(unseen + (1 - unseen) * 2.0 ** (-attempts * float(strengths[0])))
    ranks = np.unique(np.append(2 ** np.arange(int(math.log2(n)) + 1), n))
    shares = beta.ppf(tail / len(ranks), ranks, n - ranks + 1)
    high = float((attempts * strengths[ranks - 1] - np.log2(shares)).min())
    found = Estimate(
        value=value,
        low=min(low, value) if n > 1 else float("nan"),
        high=max(high, value) if n > 1 else float("nan"),
        level=level,
        unit="bit",
        side="defender-at-most",
        evidence="modelled",
        subjects=n,
        attempts=attempts,
        method=f"attempts-{attempts}",
    )
    if n < 2:
        raise InsufficientData(
            "joint strength among people needs at least two of them, got 1", partial=found
        )
    return found


def _strengths(bits: Array) -> Array:
    found = np.asarray(bits, float)
    if found.ndim != 1 or found.size == 0 or not (np.isfinite(found).all() and found.min() >= 0):
        raise ValueError(
            f"`bits` must hold at least one strength, finite and at least 0, got shape {found.shape}"
            + (f" with a least of {found.min():.6g}" if found.size else "")
        )
    return found


def _distribution(values: Array, name: str, shape: tuple[int, ...]) -> Array:
    found = np.asarray(values, float)
    if found.shape != shape or not (found.min() >= 0 and abs(float(found.sum()) - 1) < 1e-9):
        raise ValueError(
            f"`{name}` must hold {shape[0]} probabilities that sum to 1, got shape {found.shape} and a sum "
            f"of {found.sum():.6g}"
        )
    return found


def _square(joint: Array) -> Array:
    table = np.asarray(joint, float)
    if table.ndim != 2 or table.shape[0] != table.shape[1] or table.size == 0:
        raise ValueError(f"`joint` must be square, got shape {table.shape}")
    _distribution(table.ravel(), "joint", (table.size,))
    return table


def _at_least_1(attempts: int) -> None:
    if attempts < 1:
        raise ValueError(f"`attempts` must be at least 1, got {attempts}")
