"""Maurer's lower bound on the secret-key rate against an adversary who holds a belief about every symbol.

What B learns of A's symbols, and A of B's, is scored as the adversary is: by the surprise of a belief that
was learned on other people.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.extremes import at_least_0, greatest_mean, mean_ends
from harness.estimators.keyrate import rate_estimate
from harness.estimators.keyrate_symbols import checked_symbols
from harness.estimators.means import subject_means

__all__ = ["BelievedKeyRate", "believed_key_rate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BelievedKeyRate:
    """Informations and Maurer's lower bound in bits per symbol, and each person's part in the bound."""

    i_ab: Estimate
    i_ae: Estimate
    i_be: Estimate | None
    lower: Estimate
    people: Array  # (people,) int
    lower_by_person: Array  # (people,) float; their mean is lower.value


def believed_key_rate(
    a: Array,
    b: Array,
    subject: Array,
    *,
    surprise_a: Array,
    surprise_b: Array | None,
    alphabet: int,
    level: float = 0.95,
) -> BelievedKeyRate:
    """Informations and Maurer's lower bound, from how well each party foretells the others' symbols.

    ``I(A;B) - I(A;E) = H(A|E) - H(A|B)``: by how much more A's symbols surprise the adversary than B. B's
    knowledge is the table of symbols given symbols of all other people, the prior their shares.

    Parameters
    ----------
    a, b : (rows, m) int, below `alphabet`
        Symbols of the two devices.
    subject : (rows,) int
        At least two people.
    surprise_a : (rows,) float
        Bits per symbol by which the adversary's belief is surprised at A's symbols.
    surprise_b : (rows,) float or None
        The same at B's symbols. None: only the direction from A is bounded.
    alphabet : int
    level : float
        Two-sided; Student's t on people's means.

    Returns
    -------
    BelievedKeyRate
        ``i_ae`` and ``i_be`` are "attacker-at-least", measured against these people's own shares, which
        say the least. ``lower`` is "defender-at-most": Maurer's theorem guarantees at most this (and
        nothing where it is below 0), for a better adversary lowers it. Its lower end holds for the better
        of the two directions by Bonferroni.

    Raises
    ------
    ValueError
        If shapes differ, symbols leave the alphabet, or a surprise is not finite.
    InsufficientData
        If there are fewer than two people.

    Notes
    -----
    ``i_ab`` is what a decoder who knows other people's errors gets, somewhat less than I(A;B) where
    people's error rates differ. Symbols that depend on one another carry less together than the sum over
    symbols.

    References
    ----------
    Maurer, IEEE Trans. Inf. Theory 39 (1993) 733–742 (pages from memory).
    """
    if alphabet < 2:
        raise ValueError(f"`alphabet` must be at least 2, got {alphabet}")
    shape = (len(subject), *np.shape(a)[1:])
    a, b = (checked_symbols(x, name=n, alphabet=alphabet, shape=shape) for n, x in (("a", a), ("b", b)))
    for name, values in (("surprise_a", surprise_a), ("surprise_b", surprise_b)):
        if values is not None and not (values.shape == shape[:1] and np.isfinite(values).all()):
            raise ValueError(
                f"`{name}` must hold a finite number for each of {shape[0]} rows, got shape {values.shape}"
            )
    people, who = np.unique(subject, return_inverse=True)
    if len(people) < 2 or a.size == 0:
        raise InsufficientData(f"a key rate by beliefs needs at least two people, got {len(people)}")
    code = a.astype(np.intp) * alphabet + b
    counts = np.bincount(
        (who[:, None] * alphabet**2 + code).ravel(), minlength=len(people) * alphabet**2
    ).reshape(-1, alphabet, alphabet)
    others = (counts.sum(axis=0) - counts).astype(float)
    prior_a, given_b = _surprises(others)
    prior_b, given_a = _surprises(others.transpose(0, 2, 1))

    def by_person(bits: Array) -> Array:
        return subject_means(bits, subject)[1]

    def seen(table: Array, index: Array) -> Array:
        return by_person(table.reshape(len(people), -1)[who[:, None], index].mean(axis=1))

    def known(symbols: Array, before: Array, surprise: Array) -> tuple[Array, Array]:
        """What the adversary gains on a guess, and what is left: no belief is better than a bad one."""
        share = np.bincount(symbols.ravel(), minlength=alphabet) / symbols.size
        # against their own shares: a prior of other people alone would lose to knowing nothing
        guess = -np.log2(np.where(share > 0, share, 1.0))[symbols].mean(axis=1)
        left = by_person(surprise)
        return by_person(guess) - left, left if left.mean() < before.mean() else before

    before_a, before_b = seen(prior_a, a), seen(prior_b, b)
    after_a, after_b = seen(given_b, code), seen(given_a, b.astype(np.intp) * alphabet + a)
    i_ab = before_a - after_a
    i_ae, left = known(a, before_a, surprise_a)
    i_be, directions = None, [left - after_a]
    if surprise_b is not None:
        i_be, left = known(b, before_b, surprise_b)
        directions.append(left - after_b)
    either = np.stack(directions, axis=1)
    make = partial(rate_estimate, level=level, subjects=len(people), attempts=len(subject))
    tail = (1 - level) / 2
    single = partial(mean_ends, below=tail, above=tail)
    theirs = partial(make, side="attacker-at-least")
    return BelievedKeyRate(
        i_ab=make(at_least_0(single(i_ab)), side="estimate", method="i-ab"),
        i_ae=theirs(at_least_0(single(i_ae)), method="i-ae"),
        i_be=None if i_be is None else theirs(at_least_0(single(i_be)), method="i-be"),
        lower=make(greatest_mean(either, level=level), side="defender-at-most", method="maurer-lower"),
        people=people,
        lower_by_person=either[:, int(either.mean(axis=0).argmax())],
    )


def _surprises(counts: Array) -> tuple[Array, Array]:
    """Of (people, x, y) counts: surprise at x, (people, x), and at x given y, (people, x, y), in bits.

    One count is shared by all x, and for each y by what x does without it, so that nothing is impossible.
    """
    x = counts.sum(axis=2) + 1.0 / counts.shape[1]
    prior = x / x.sum(axis=1, keepdims=True)
    joint = counts + prior[:, :, None]
    return -np.log2(prior), -np.log2(joint / joint.sum(axis=1, keepdims=True))
