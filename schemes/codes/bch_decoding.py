"""From words to power sums, and from power sums to error places, a batch of words at a time.

Power sums, Berlekamp-Massey and the search for the roots all run over the word axis; the only loops
are over the code's own parameters.

References
----------
Berlekamp, Algebraic Coding Theory (1968); Massey, IEEE Trans. Inform. Theory 15 (1969) 122-127.
Chien, IEEE Trans. Inform. Theory 10 (1964) 357-363.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from harness.contracts import Array, frozen
from schemes.codes.contract import packed
from schemes.codes.field import Field, field

__all__ = ["error_places", "power_sums"]

_CHUNK = 1 << 11  # words at a time: root-search rows and tables stay in cache
_FEW = 1 << 7  # where places are reckoned instead of looked up
_LOOKED_UP = 8  # degree of the field up to which the root search has tables


def power_sums(words: Array, t: int) -> Array:
    """Sums of the odd powers 1, 3, ..., 2t - 1 of the places that hold a one.

    Parameters
    ----------
    words : uint8, shape (count, n)
        Bits, n = 2^m - 1; column i stands for the power n - 1 - i of the primitive element.
    t : int
        How many sums.

    Returns
    -------
    uint8 or uint16, shape (count, t)
        Elements of GF(2^m).
    """
    n = words.shape[1]
    sums = np.empty((len(words), t), field(n.bit_length()).exp.dtype)
    tables = _sum_tables(n, t)
    for start in range(0, len(words), _CHUNK):
        octets = packed(words[start : start + _CHUNK])
        lanes = tables[0].take(octets[:, 0], axis=0)
        for index in range(1, len(tables)):
            lanes ^= tables[index].take(octets[:, index], axis=0)
        sums[start : start + _CHUNK] = lanes.view(sums.dtype)[:, :t]
    return sums


def error_places(sums: Array, n: int) -> tuple[Array, Array]:
    """Places that hold a one, from their odd power sums.

    Parameters
    ----------
    sums : shape (count, t)
        As `power_sums` gives them.
    n : int
        Places, 2^m - 1.

    Returns
    -------
    places : bool, shape (count, n)
        At most t of them; none where there is no such set.
    known : bool, shape (count,)
        Where there is one; it is the only one.
    """
    over = field(n.bit_length())
    places = np.empty((len(sums), n), np.bool_)
    known = np.empty(len(sums), np.bool_)
    chunk = _CHUNK if over.m <= _LOOKED_UP else _FEW
    for start in range(0, len(sums), chunk):
        part = slice(start, start + chunk)
        locator, degree = _locator(_all_sums(sums[part], over), over)
        found = _roots(locator, n, over)
        known[part] = found.sum(axis=1, dtype=np.int16) == degree  # else more than t
        places[part] = found & known[part, None]
    return places, known


@lru_cache(maxsize=16)
def _sum_tables(n: int, t: int) -> Array:
    """(bytes, 256, lanes) uint64: what every byte of a word adds to the sums, which lie side by side."""
    exp = field(n.bit_length()).exp
    size = -(-n // 8)
    powers = exp[np.arange(n - 1, -1, -1)[:, None] * np.arange(1, 2 * t, 2) % n]  # (n, t)
    column = np.zeros((8 * size, _lanes(t, exp)), exp.dtype)
    column[:n, :t] = powers
    bits = np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1)  # (256, 8)
    table = np.zeros((size, 256, column.shape[1]), exp.dtype)
    for bit, column_of_bit in enumerate(column.reshape(size, 8, -1).swapaxes(0, 1)):
        table ^= bits[None, :, bit, None] * column_of_bit[:, None]
    return frozen(table.view(np.uint64))


def _lanes(count: int, exp: Array) -> int:
    """`count` rounded up, so that as many field elements fill whole lanes of 64 bits."""
    width = 8 // exp.itemsize
    return -(-count // width) * width


def _all_sums(odd: Array, over: Field) -> Array:
    """(2t + 1, count): row s is the sum of the powers s; row 0 is unused."""
    t = odd.shape[1]
    sums = np.zeros((2 * t + 1, len(odd)), odd.dtype)
    sums[1::2] = odd.T
    for s in range(2, 2 * t + 1, 2):
        sums[s] = over.times(sums[s // 2], sums[s // 2])  # the square, as the word is binary
    return sums


def _locator(sums: Array, over: Field) -> tuple[Array, Array]:
    """Error locator (t + 1, count), lowest power first, and its degree (count,).

    Massey's algorithm; its even steps change nothing for a binary code. Powers above t are
    cut off: where they would matter, the degree exceeds t and the root count never matches it.
    """
    t, count = len(sums) // 2, sums.shape[1]
    locator = np.zeros((t + 1, count), sums.dtype)
    locator[0] = 1
    spare = np.zeros((t + 1, count), sums.dtype)  # the last one before the degree grew, times a power of x
    spare[1] = 1
    inverse = np.ones(count, sums.dtype)  # of the discrepancy at which it grew
    degree = np.zeros(count, np.int16)
    for step in range(t):
        used = min(t, 2 * step) + 1
        terms = over.times(locator[:used], sums[2 * step + 1 : 2 * step + 1 - used : -1])
        discrepancy = np.bitwise_xor.reduce(terms, axis=0)
        grows = (discrepancy != 0) & (degree <= step)
        ahead = np.where(grows, locator[: t - 1], spare[: t - 1])
        reach = min(t, 2 * step + 1) + 1
        locator[:reach] ^= over.times(spare[:reach], over.times(discrepancy, inverse))
        spare[2:] = ahead
        spare[:2] = 0
        inverse = np.where(grows, over.inverses.take(discrepancy), inverse)
        degree = np.where(grows, 2 * step + 1 - degree, degree)
    return locator, degree


@lru_cache(maxsize=16)
def _root_tables(n: int, t: int) -> Array:
    """(t + 1, 2^m, lanes) uint64: coefficient i of value v at the inverse locator of every place."""
    over = field(n.bit_length())
    inverse = over.exp[-np.arange(t + 1)[:, None] * np.arange(n - 1, -1, -1) % n]  # (t + 1, n)
    table = np.zeros((t + 1, n + 1, _lanes(n, over.exp)), over.exp.dtype)
    for power in range(t + 1):
        table[power, :, :n] = over.times(np.arange(n + 1)[:, None], inverse[power])
    return frozen(table.view(np.uint64))


def _roots(locator: Array, n: int, over: Field) -> Array:
    """(count, n) bool: places whose inverse is a root of the locator."""
    if over.m > _LOOKED_UP:
        return _reckoned_roots(locator, n, over)
    tables = _root_tables(n, len(locator) - 1)
    lanes = tables[0].take(locator[0], axis=0)
    term = np.empty_like(lanes)
    for index in range(1, len(locator)):
        tables[index].take(locator[index], axis=0, out=term, mode="clip")
        lanes ^= term
    found: Array = lanes.view(np.uint8)[:, :n] == 0
    return found


def _reckoned_roots(locator: Array, n: int, over: Field) -> Array:
    """The same by adding logarithms: tables of so large a field would not stay in cache."""
    logs = over.log.take(locator)
    values = np.repeat(locator[0][:, None], n, axis=1)
    places = np.arange(n - 1, -1, -1)
    for power in range(1, len(locator)):
        if locator[power].any():
            values ^= over.long.take(logs[power][:, None] + -power * places % n)
    found: Array = values == 0
    return found
