"""Keys, or parts of them, that two people share: a small seed shows by its repeats.

Only pairs of different people count, and a person's key counts once however often it comes again: a scheme
whose key is a function of the witness repeats it for the same witness, which is no flaw by itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import gamma, poisson

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, first_of_each, named, row_numbers
from harness.detectors.tails import TOLD

__all__ = ["Shared", "key_repeats", "repeated_p_value", "shared_p_value", "shared_values"]

_MISSED = 0.05
_ROOMY = 60  # bits beyond which values are so rare that their number is Poisson
_PLACES = 64  # of a window of each width: those of 16 bits leave gaps only in keys of more than 512


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """Pairs of people that share a value, over all values.

    Of the null, given how many different values each person has: mean, variance and third central moment.
    """

    pairs: int
    mean: float
    variance: float
    third: float
    compared: float  # pairs of values of two people


def shared_values(words: Array, subject: Array) -> Shared:
    """Count values that two people share, with the exact moments of that count for uniform values.

    Parameters
    ----------
    words : (rows, bits) uint8
    subject : (rows,) int

    Notes
    -----
    Under the null each person's set of values is uniform among sets of its size and independent of the
    others', so that numbers shared are hypergeometric, uncorrelated between pairs of people, and three
    people's three pairs have the third moment of a product of centred projections.
    """
    person = np.unique(subject, return_inverse=True)[1].ravel()
    first = first_of_each(words, person)
    words, person = words[first], person[first]
    holders = np.bincount(row_numbers(words)).astype(float)
    size = np.bincount(person).astype(float)
    bits = words.shape[1]
    compared = (float(size.sum()) ** 2 - float((size**2).sum())) / 2
    pairs = int((holders * (holders - 1) / 2).sum())
    return _shared(pairs, size, compared, bits)


def repeated_p_value(pairs: int, keys: int, key_bits: int) -> float:
    """Chance that at least so many pairs of independent uniform keys are equal.

    Examples
    --------
    >>> round(repeated_p_value(1, 100, 20), 4)  # 4950 pairs, each equal in one of 2^20
    0.0047
    """
    return shared_p_value(_shared(pairs, np.ones(keys), keys * (keys - 1) / 2, key_bits))


def _shared(pairs: int, size: Array, compared: float, bits: int) -> Shared:
    mean = math.ldexp(compared, -bits)
    variance, third = _moments(size, 2.0**bits) if bits <= _ROOMY else (mean, mean)
    return Shared(pairs=pairs, mean=mean, variance=variance, third=third, compared=compared)


def _moments(size: Array, space: float) -> tuple[float, float]:
    """Variance and third central moment of the number of shared values, given how many each person has."""
    share = size / space
    spread = share * (1 - share)
    scale = space / (space - 1)
    q1, q2, q3 = (float((spread**i).sum()) for i in (1, 2, 3))
    variance = scale**2 * (space - 1) * (q1**2 - q2) / 2
    third = scale**3 * (space - 1) * (q1**3 - 3 * q1 * q2 + 2 * q3)
    if space > 2:
        # of single pairs: variance times (1 - 2 share of the one) (1 - 2 share of the other)
        lean = spread * (1 - 2 * share)
        pairs = (float(lean.sum()) ** 2 - float((lean**2).sum())) / 2
        third += pairs * space**3 / ((space - 1) * (space - 2))
    return variance, third


def shared_p_value(found: Shared) -> float:
    """Chance of at least as many shared values.

    Poisson, whose variance is no smaller; where many are expected, at least a gamma distribution of the
    same three moments, as three people who share a value make three pairs at once.

    Examples
    --------
    >>> shared_p_value(Shared(pairs=0, mean=1e-9, variance=1e-9, third=1e-9, compared=1.0))
    1.0
    >>> shared_p_value(Shared(pairs=1, mean=1e-9, variance=1e-9, third=1e-9, compared=1.0)) < 1.1e-9
    True
    """
    if found.pairs == 0:
        return 1.0
    p = float(poisson.sf(found.pairs - 1, found.mean))
    if found.mean > 5 and found.variance > 0:
        skew = max(found.third / found.variance**1.5, 1e-6)
        shape = 4 / skew**2
        z = (found.pairs - 0.5 - found.mean) / np.sqrt(found.variance)
        p = max(p, float(gamma.sf(shape + z * np.sqrt(shape), shape)))
    elif found.mean > 5:  # everybody holds every value: nothing can be seen
        p = 1.0
    return p


def key_repeats(data: Evidence) -> Detection:
    """Repeats between people of the whole key, of its halves and quarters, of every 32 and 16 bits."""
    slug, k = "key-repeats", data.key_bits
    if data.subjects < 2:
        return untested(slug, "keys of at least two people must be compared, and there is one person")
    keys, subject = data.keys, data.subject
    if data.generated is not None:
        keys = np.concatenate([keys, data.generated.keys])
        subject = np.concatenate([subject, data.subject[data.generated.row]])
    windows = _windows(k)
    counted = [shared_values(keys[:, list(w)], subject) for w in windows]
    tail = np.array([shared_p_value(c) for c in counted]) * len(windows)
    heard = np.flatnonzero(tail <= TOLD)
    lost = np.array([_lost(counted[i], len(windows[i])) for i in heard])
    best = int(heard[lost.argmax()]) if len(heard) else int(tail.argmin())
    one, at = counted[best], windows[best]
    where = "keys" if len(at) == k else named(at)
    text = (
        f"{where} of different people are equal in {one.pairs} of {one.compared:.3g} pairs, where "
        f"{one.mean:.3g} are expected"
    )
    if len(heard):
        text += f", as if they held {np.log2(one.compared / one.pairs):.3g} bits"
    bits = float(lost.max()) if len(heard) else 0.0
    return found(slug, float(tail.min()), text, bits=bits, attempts=len(keys), subjects=data.subjects)


def _windows(k: int) -> list[range]:
    """The whole, contiguous parts that overlap by half, and every second bit."""
    found = {range(k): None}
    for width in sorted({k // 2, k // 4, 32, 16}, reverse=True):
        if 8 <= width < k:
            step = max(width // 2, -(-k // _PLACES))
            found |= {range(at, at + width): None for at in range(0, k - width + 1, step)}
    if k >= 16:
        found |= {range(0, k, 2): None, range(1, k, 2): None}
    return list(found)


def _lost(one: Shared, width: int) -> float:
    """Bits of collision entropy that are missing, from a lower limit of the shared pairs."""
    fewest = float(gamma.ppf(_MISSED, one.pairs)) if one.pairs else 0.0
    return width - float(np.log2(one.compared / fewest)) if fewest else 0.0
