"""What a corpus cannot decide, whatever comes out: known before anything runs."""

from __future__ import annotations

import math

from scipy.stats import binom, norm

from harness.claims.grounds import claimed_budget
from harness.claims.model import Claim, Claims, Use
from harness.claims.reading import effective, use_of
from harness.claims.weighing import over_lifetime
from harness.claims.wording import apart, budget_words, number
from harness.estimators.proportion import ICC_FLOOR, clopper_pearson

__all__ = ["effective_sample", "hidden_leak", "smallest_odds", "undecidable"]

_RATES = frozenset({"key-agreement", "failure-to-acquire", "strangers-agreement", "key-repeats"})
_NEED_TWO = frozenset(
    {"bit-mismatch", "time", "attacker-bit-agreement", "mutual-information", "rate", "time-to-key"}
)
_NEED_TWO_METHODS = frozenset({"average-given-helper-independent-symbols", "average-given-helper-markov"})
_MEDIAN_LEVEL = 0.95  # two-sided, of the interval of a median over people
_GUESSES_LEVEL = 0.9  # two-sided, of the interval of guesses for given odds


def effective_sample(*, subjects: int, attempts: int, attackers: int = 0) -> float:
    """Independent trials that a corpus is worth, at the least intra-class correlation that is assumed.

    Parameters
    ----------
    subjects, attempts : int
        People, and the attempts of all of them together.
    attackers : int
        People behind an adversary's captures; 0 = nobody.

    Returns
    -------
    float
        ``attempts / (1 + (m - 1) ICC)``, with a term of their own for attackers; m as if all had equally
        many attempts, which is the most that such a corpus can be worth.

    Examples
    --------
    >>> round(effective_sample(subjects=20, attempts=200), 1)
    71.4
    """
    if not 1 <= subjects <= attempts or attackers < 0:
        raise ValueError(
            f"`attempts` must be at least `subjects`, and that at least 1, got {attempts} and {subjects}"
        )
    effect = 1 + (attempts / subjects - 1) * ICC_FLOOR
    if attackers:
        effect += max(0.0, attempts / attackers - 1) * ICC_FLOOR
    return attempts / effect


def smallest_odds(*, subjects: int, attempts: int, attackers: int = 0, confidence: float = 0.95) -> float:
    """The smallest odds that a corpus can rule out: the upper limit if no attempt succeeds.

    Parameters
    ----------
    subjects, attempts, attackers : int
        As `effective_sample`.
    confidence : float
        One-sided.

    Returns
    -------
    float
        Smaller odds can be neither shown nor told from none.

    Examples
    --------
    >>> round(smallest_odds(subjects=20, attempts=200), 3)
    0.041
    """
    trials = effective_sample(subjects=subjects, attempts=attempts, attackers=attackers)
    return clopper_pearson(0, trials, level=2 * confidence - 1)[1]


def hidden_leak(*, subjects: int, attempts: int, key_bits: int) -> tuple[float, float]:
    """The largest leak that could stay unseen in a corpus.

    Parameters
    ----------
    subjects, attempts : int
        As `effective_sample`.
    key_bits : int

    Returns
    -------
    per_bit : float
        Bits about one bit of the key, through a view of one bit: leaks up to this are missed more than one
        time in twenty by a one-sided test at .05. ``(z + z)^2 / (2 n ln 2)``, with z = 1.645 and n the
        effective sample; at most 1.
    whole : float
        The same in every bit of the key: so many bits of it could stay hidden.

    Notes
    -----
    The leak of a channel that errs with 1/2 - d/2 is d^2 / (2 ln 2) bits to second order, and d must be 2z
    standard errors. Against the exact binomial test the figure is low by 1 % at 300 trials, 2 % at 1000.

    Examples
    --------
    >>> per_bit, whole = hidden_leak(subjects=300, attempts=300, key_bits=128)
    >>> round(per_bit, 3), round(whole, 1)
    (0.026, 3.3)
    """
    trials = effective_sample(subjects=subjects, attempts=attempts)
    per_bit = min(1.0, float(2 * norm.ppf(0.95)) ** 2 / (2 * trials * math.log(2)))
    return per_bit, per_bit * key_bits


def undecidable(
    claims: Claims,
    *,
    subjects: int,
    attempts: int,
    attackers: int,
    key_bits: int,
    scheme: str | None = None,
) -> list[tuple[str, str]]:
    """Claims that even the best outcome could not meet on a corpus of this size.

    The best outcome: no attack ever succeeds, or the owner's devices always agree. Such a claim can be
    refuted, never met. Figures that are exact would not be bound by the size of the corpus.

    Parameters
    ----------
    claims : Claims
    subjects, attempts, attackers : int
        As `effective_sample`; attackers widen what is claimed of all attacks.
    key_bits : int
        Of the scheme.
    scheme : str, optional
        Its name; claims about another are passed over.

    Returns
    -------
    list of (claim id, why)
    """
    whole = effective(claims)
    found = []
    for claim in whole.claim:
        if scheme is not None and claim.scheme not in (None, scheme):
            continue
        why = _impossible(claim, use_of(whole), key_bits)
        if why is None and claim.evidence != ("exact",):
            why = _too_small(claim, use_of(whole), subjects, attempts, attackers)
        if why is not None:
            found.append((claim.id, why))
    return found


def _impossible(claim: Claim, use: Use, key_bits: int) -> str | None:
    """What no scheme with keys of this length can meet."""
    if claim.measure == "success-odds" and claim.at_most is not None:
        budget, keys = claimed_budget(claim, use)
        blind = over_lifetime(min(1.0, math.ldexp(1.0, -key_bits) * float(budget or 1)), keys)
        if blind > claim.at_most:
            at = f"a uniform key of {key_bits} bits" if keys == 1 else f"each of {keys} such uniform keys"
            return (
                f"{budget_words(budget)[3:]} at {at} succeed with odds {apart(blind, claim.at_most)}, more "
                f"than {number(claim.at_most)}"
            )
    bits = claim.measure in ("key-rank", "guesses-for-odds") or claim.unit == "bit"
    if bits and claim.at_least is not None and claim.at_least > key_bits:
        return f"a key of {key_bits} bits holds no {number(claim.at_least)}"
    return None


def _too_small(claim: Claim, use: Use, subjects: int, attempts: int, attackers: int) -> str | None:
    people = f"{subjects} {'person' if subjects == 1 else 'people'} and {attempts} attempts"
    if claim.measure in _RATES or claim.measure in ("success-odds", "weak-people"):
        return _rate_too_small(claim, use, subjects, attempts, attackers, people)
    if claim.measure == "mutual-information" and claim.at_most is not None:
        return "information has no upper limit that holds for every attack: this can be refuted, never met"
    if subjects < 2 and (claim.measure in _NEED_TWO or claim.method in _NEED_TWO_METHODS):
        return "one person says nothing of others: the interval stays open"
    if claim.measure == "key-rank":
        if claim.confidence > (1 + _MEDIAN_LEVEL) / 2:
            return f"the limits of a median hold at {(1 + _MEDIAN_LEVEL) / 2:g} at most"
        if binom.ppf((1 - _MEDIAN_LEVEL) / 2, subjects, 0.5) < 1:
            return f"the limits of a median need six people at least, got {subjects}"
    if claim.measure == "guesses-for-odds":
        return _guesses_too_few(claim, subjects, attempts, attackers, people)
    return None


def _rate_too_small(
    claim: Claim, use: Use, subjects: int, attempts: int, attackers: int, people: str
) -> str | None:
    if claim.measure == "weak-people":
        least = clopper_pearson(0, subjects, level=2 * claim.confidence - 1)[1]
    else:
        hands = attackers if claim.attack in (None, "all") and claim.measure == "success-odds" else 0
        least = smallest_odds(
            subjects=subjects, attempts=attempts, attackers=hands, confidence=claim.confidence
        )
        people += f" and {hands} attackers" if hands else ""
    keys = claimed_budget(claim, use)[1]
    if claim.at_most is not None:
        best = over_lifetime(least, keys)
        if best > claim.at_most:
            lifetime = f" over {keys} keys" if keys > 1 else ""
            return (
                f"with {people}, none at all still leaves up to {apart(best, claim.at_most)}{lifetime}, "
                f"more than {number(claim.at_most)}"
            )
        return None
    if 1 - least < claim.threshold:
        return (
            f"with {people}, all of them still leave as little as {apart(1 - least, claim.threshold)}, "
            f"less than {number(claim.threshold)}"
        )
    return None


def _guesses_too_few(claim: Claim, subjects: int, attempts: int, attackers: int, people: str) -> str | None:
    if claim.confidence > (1 + _GUESSES_LEVEL) / 2:
        return f"the limits of guesses hold at {(1 + _GUESSES_LEVEL) / 2:g} at most"
    target = 0.01 if claim.method == "at-1-percent" else 0.5
    hands = attackers if claim.attack in (None, "all") else 0
    least = smallest_odds(subjects=subjects, attempts=attempts, attackers=hands)
    if claim.at_least and least >= target:
        return f"with {people}, none at all still leaves odds of up to {number(least)} at one guess"
    return None
