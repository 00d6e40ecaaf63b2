"""The stretches of a sequence in order, and how much of each agrees with the next in line."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array

__all__ = ["common_lengths"]

_WORD = 62  # bits of symbols compared at once, in a signed 64-bit number with room to spare


def common_lengths(numbers: Array, kinds: int) -> Array:
    """Lengths to which neighbours agree when everything from each place on is put in order.

    Parameters
    ----------
    numbers : (n,) uint
        All below `kinds`.
    kinds : int
        At least 1.

    Returns
    -------
    (n - 1,) int32
        A stretch of t symbols that occurs c times is a run of c - 1 entries of at least t.

    Notes
    -----
    Places are sorted by their first 62 bits of symbols; those that agree in all of them, if any, by the
    places that follow, twice as far at each round.
    """
    n = len(numbers)
    width = max(1, int(kinds - 1).bit_length())
    per = _WORD // width
    words = _words(numbers, width, per)
    # the shorter first where one begins the other: backwards and stable
    order = n - 1 - np.argsort(words[::-1], kind="stable")
    sorted_words = words[order]
    tied = sorted_words[1:] == sorted_words[:-1]
    tied &= np.maximum(order[1:], order[:-1]) <= n - per
    del sorted_words
    ranks: list[Array] = []  # of stretches of `per` symbols, of twice as many, ...
    while tied.any():
        rank = np.zeros(n, np.int32)
        rank[order[1:]] = np.cumsum(~tied, dtype=np.int32)
        order, tied = _refined(order, tied, rank, per << len(ranks))
        ranks.append(rank)
    return _agreed(order, words, ranks, width, per)


def _words(numbers: Array, width: int, per: int) -> Array:
    """The first `per` symbols from each place on in one number, the first highest; zeros behind the end."""
    n = len(numbers)
    words, have = numbers.astype(np.int64), 1
    while have < per:
        add = min(have, per - have)
        follow = words[have:] >> (have - add) * width
        words <<= add * width
        words[: max(n - have, 0)] |= follow
        have += add
    return words


def _refined(order: Array, tied: Array, rank: Array, reach: int) -> tuple[Array, Array]:
    """Sort those that agree to `reach` symbols by the next `reach`; who agrees with the one before?"""
    n = len(order)
    slots = np.flatnonzero(np.r_[tied, False] | np.r_[False, tied])
    place = order[slots]
    ahead = place + reach
    follows = np.where(ahead < n, rank[np.minimum(ahead, n - 1)] + 1, 0)  # the shorter first
    key = rank[place] * np.int64(n + 1) + follows
    by = np.argsort(key, kind="stable")
    key, order = key[by], order.copy()
    order[slots] = place[by]
    still = np.zeros(n - 1, bool)
    still[slots[1:] - 1] = key[1:] == key[:-1]  # equal keys are neighbours: slots of a group have no gaps
    return order, still


def _agreed(order: Array, words: Array, ranks: list[Array], width: int, per: int) -> Array:
    n = len(order)
    agreed = _in_words(words, order[:-1], order[1:], width, per)
    long = np.flatnonzero(agreed == per) if ranks else np.zeros(0, np.intp)
    first, second = order[:-1][long], order[1:][long]
    length = np.zeros(len(long), np.intp)
    for power in range(len(ranks) - 1, -1, -1):
        one, other = first + length, second + length
        inside = np.maximum(one, other) < n
        one, other = np.minimum(one, n - 1), np.minimum(other, n - 1)
        length += (inside & (ranks[power][one] == ranks[power][other])) * (per << power)
    agreed[long] = length + _in_words(words, first + length, second + length, width, per)
    return agreed


def _in_words(words: Array, one: Array, other: Array, width: int, per: int) -> Array:
    """To how many symbols, `per` at most, what starts at one place agrees with what starts at the other."""
    n = len(words)
    differ: Array = words[np.minimum(one, n - 1)] ^ words[np.minimum(other, n - 1)]
    # without the second highest bit no rounding reaches the next power of two
    differ = differ & ~(differ >> 1)
    highest = np.frexp(differ.astype(np.float64))[1]
    equal = (per * width - highest) // width
    return np.asarray(np.minimum(equal, n - np.maximum(one, other)), np.int32)
