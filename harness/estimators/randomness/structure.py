"""Tests of structure: rank, spectral, universal, linear complexity (SP 800-22 §2.5, 2.6, 2.9, 2.10)."""

from __future__ import annotations

import numpy as np
from scipy.special import erfc, gammaincc

from harness.contracts import Array
from harness.estimators.randomness.bits import require_bits, require_figures, require_size

__all__ = [
    "complexity_chances",
    "linear_complexity",
    "matrix_rank",
    "shortest_registers",
    "spectral",
    "universal",
]

_SIDE = 32
_UNIVERSAL = {  # block length L: expected value and variance of the statistic (the standard's table)
    6: (5.2177052, 2.954),
    7: (6.1962507, 3.125),
    8: (7.1836656, 3.238),
    9: (8.1764248, 3.311),
    10: (9.1723243, 3.356),
}
_LONG_ENOUGH = ((387_840, 6), (904_960, 7), (2_068_480, 8), (4_654_080, 9), (10_342_400, 10))
# appendix B was computed with .01047 for the first class, where .010417 = 1/96 is right, as the text has it
_PRINTED_COMPLEXITY = np.array([0.01047, 0.03125, 0.125, 0.5, 0.25, 0.0625, 0.020833])


def matrix_rank(bits: Array) -> Array:
    """Are 32 x 32 matrices of bits of full rank as often as they should be?

    Parameters
    ----------
    bits : (sequences, n) uint8

    Returns
    -------
    (sequences, 1) float
        p-values, from the exact chances of ranks 32, 31 and less.
    """
    b = require_bits(bits, least=38 * _SIDE * _SIDE, test="matrix-rank")
    count = b.shape[1] // _SIDE**2
    words = np.packbits(b[:, : count * _SIDE**2].reshape(len(b), count, _SIDE, _SIDE), axis=3)
    rows = words.astype(np.uint64) @ (np.uint64(1) << np.array([24, 16, 8, 0], np.uint64))
    rank = _ranks(rows.reshape(-1, _SIDE)).reshape(len(b), count)
    full, one_less = _chance(_SIDE), _chance(_SIDE - 1)
    expected = count * np.array([full, one_less, 1 - full - one_less])
    seen = np.stack([rank == _SIDE, rank == _SIDE - 1, rank < _SIDE - 1]).sum(axis=2).T
    return np.asarray(np.exp(-((seen - expected) ** 2 / expected).sum(axis=1) / 2))[:, None]


def _chance(rank: int) -> float:
    """Of a random 32 x 32 matrix over GF(2) to have this rank."""
    i = np.arange(rank)
    m = float(_SIDE)
    return float(
        2.0 ** (rank * (2 * m - rank) - m * m)
        * np.prod((1 - 2.0 ** (i - m)) ** 2 / (1 - 2.0 ** (i - rank)))
    )


def _ranks(packed: Array) -> Array:
    """Ranks over GF(2) of (matrices, 32) rows packed as integers, by elimination of all at once."""
    rows: Array = packed.copy()
    rank = np.zeros(len(rows), np.int64)
    each = np.arange(len(rows))
    place = np.arange(_SIDE)
    for column in range(_SIDE):
        bit = np.uint64(1 << column)
        usable = np.asarray((rows & bit) > 0) & (place >= rank[:, None])
        there = np.asarray(usable.any(axis=1))
        pivot = np.where(there, usable.argmax(axis=1), np.minimum(rank, _SIDE - 1))
        target = np.minimum(rank, _SIDE - 1)
        value = rows[each, pivot]
        rows[each, pivot] = rows[each, target]
        rows[each, target] = value
        clear = np.asarray((rows & bit) > 0) & (place > target[:, None]) & there[:, None]
        rows ^= np.where(clear, value[:, None], np.uint64(0))
        rank += there
    return rank


def spectral(bits: Array, *, figures: str = "corrected") -> Array:
    """Are there periods? Shapes as `matrix_rank`.

    Squared heights are exponential, and their sum is fixed by Parseval's theorem. So among n/2 of them the
    number above a share q has the variance n/2 (q(1-q) - (q ln q)^2), 5.5 % more than the n q(1-q)/4 of
    the standard, which rejects random bits too often. `figures` "printed" keeps the latter.
    """
    require_figures(figures)
    b = require_bits(bits, least=1000, test="spectral")
    n = b.shape[1]
    heights = np.abs(np.fft.rfft(2.0 * b - 1, axis=1))[:, : n // 2]
    above = 0.05
    below = (heights < np.sqrt(np.log(1 / above) * n)).sum(axis=1)
    variance = n * above * (1 - above) / 4
    if figures == "corrected":
        variance = n / 2 * (above * (1 - above) - (above * np.log(above)) ** 2)
    d = (below - (1 - above) * (n // 2)) / np.sqrt(variance)
    return np.asarray(erfc(np.abs(d) / np.sqrt(2)))[:, None]


def universal(bits: Array) -> Array:
    """Could the bits be compressed (Maurer)? Shapes as `matrix_rank`."""
    b = require_bits(bits, least=_LONG_ENOUGH[0][0], test="universal")
    length = max(size for least, size in _LONG_ENOUGH if b.shape[1] >= least)
    first = 10 * 2**length
    count = b.shape[1] // length
    words = b[:, : count * length].reshape(len(b), count, length) @ (1 << np.arange(length)[::-1])
    expected, variance = _UNIVERSAL[length]
    tested = count - first
    c = 0.7 - 0.8 / length + (4 + 32 / length) * tested ** (-3 / length) / 15
    found = [_distances(w, first) for w in words]
    return np.asarray(erfc(np.abs(np.array(found) - expected) / np.sqrt(2 * variance / tested) / c))[
        :, None
    ]


def _distances(words: Array, first: int) -> float:
    """Mean log2 of how long ago each word of the test part was last seen."""
    order = np.argsort(words, kind="stable")
    same = np.r_[False, words[order][1:] == words[order][:-1]]
    before = np.where(same, np.r_[-1, order[:-1]], -1)
    last = np.empty_like(order)
    last[order] = before
    place = np.arange(len(words))[first:]
    return float(np.log2(place - last[first:]).mean())


def linear_complexity(bits: Array, *, block: int = 500, figures: str = "corrected") -> Array:
    """Are blocks as complex as random ones? Shapes as `matrix_rank`.

    Parameters
    ----------
    bits : (sequences, n) uint8
    block : int
        §2.10.7 recommends 500 to 5000, and at least 200 blocks, which are asked for here. The rarest class
        is then expected twice, and 1.4 in 100 random sequences are rejected at the level .01.
    figures : str
        "corrected": exact chances for this length of blocks. "printed": those behind appendix B.
    """
    require_figures(figures)
    require_size(block, name="block", least=20)
    b = require_bits(bits, least=200 * block, test="linear-complexity")
    count = b.shape[1] // block
    lengths = shortest_registers(b[:, : count * block].reshape(-1, block)).reshape(len(b), count)
    kind = _classes(lengths, block)
    expected = count * (complexity_chances(block) if figures == "corrected" else _PRINTED_COMPLEXITY)
    seen = (kind[:, :, None] == np.arange(7)).sum(axis=1)
    return np.asarray(gammaincc(3.0, ((seen - expected) ** 2 / expected).sum(axis=1) / 2))[:, None]


def _classes(lengths: Array, block: int) -> Array:
    """0 to 6, by how far the complexity of a block lies from its mean."""
    sign = 1.0 if block % 2 == 0 else -1.0
    mean = block / 2 + (9 - sign) / 36 - (block / 3 + 2 / 9) * 2.0**-block
    t = sign * (lengths - mean) + 2 / 9
    return np.searchsorted(np.array([-2.5, -1.5, -0.5, 0.5, 1.5, 2.5]), t, side="left")


def complexity_chances(block: int) -> Array:
    """(7,) chances of the classes of a block's linear complexity.

    Of the 2^n sequences of n bits, 2^min(2n - 2L, 2L - 1) have complexity L, and one has 0 (Rueppel,
    Analysis and Design of Stream Ciphers, 1986, from memory; the tests count them for short blocks).

    Examples
    --------
    >>> (1 / complexity_chances(500)).round(9).tolist()
    [96.0, 32.0, 8.0, 2.0, 4.0, 16.0, 48.0]
    """
    lengths = np.arange(block + 1)
    chance = 2.0 ** (np.minimum(2 * block - 2 * lengths, 2 * lengths - 1) - float(block))
    chance[0] = 2.0**-block
    return np.bincount(_classes(lengths, block), weights=chance, minlength=7)


def shortest_registers(blocks: Array) -> Array:
    """Length of the shortest feedback register of each block, all blocks at once (Berlekamp and Massey).

    Parameters
    ----------
    blocks : (blocks, n) uint8

    Returns
    -------
    (blocks,) int
    """
    count, n = blocks.shape
    connection = np.zeros((count, n + 1), np.uint8)
    connection[:, 0] = 1
    # the connection before the last change, times x for every step since
    shifted = np.zeros_like(connection)
    shifted[:, 1] = 1
    length = np.zeros(count, np.int64)
    backwards = blocks[:, ::-1]
    for step in range(n):
        past = backwards[:, n - 1 - step :]  # this bit, the one before it, ...
        wrong = (connection[:, : step + 1] & past).sum(axis=1) & 1 > 0
        longer = wrong & (2 * length <= step)
        before = connection[longer].copy()
        connection[wrong] ^= shifted[wrong]
        shifted[longer] = before
        length[longer] = step + 1 - length[longer]
        shifted[:, 1:] = shifted[:, :-1].copy()
        shifted[:, 0] = 0
    return length
