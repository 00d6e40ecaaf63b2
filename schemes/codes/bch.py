"""Primitive narrow-sense binary BCH codes, decoded a batch of words at a time.

Syndromes, Berlekamp-Massey and the search for the roots all run over the word axis; the
only loops are over the code's own parameters.

References
----------
Bose and Ray-Chaudhuri, Inform. Control 3 (1960) 68-79; Hocquenghem, Chiffres 2 (1959) 147-156.
Berlekamp, Algebraic Coding Theory (1968); Massey, IEEE Trans. Inform. Theory 15 (1969) 122-127.
Chien, IEEE Trans. Inform. Theory 10 (1964) 357-363.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from harness.contracts import Array, frozen
from schemes import gf2
from schemes.codes.contract import packed, rows

__all__ = ["Bch", "bch", "bch_dimensions"]

_CHUNK = 1 << 11  # words at a time: root-search rows and tables stay in cache
_PRIMITIVE = {15: 0o23, 31: 0o45, 63: 0o103, 127: 0o211, 255: 0o435}  # n = 2^m - 1 -> primitive polynomial


@dataclass(frozen=True, slots=True, kw_only=True)
class Bch:
    """The BCH code [n, k]; it corrects `t` errors and notices many heavier ones."""

    n: int
    k: int

    def __post_init__(self) -> None:
        known = bch_dimensions(self.n)
        if self.k not in known:
            listed = ", ".join(map(str, known))
            raise ValueError(f"`k` of a BCH code of length {self.n} must be one of {listed}, got {self.k}")

    @property
    def name(self) -> str:
        return f"bch-{self.n}-{self.k}"

    @property
    def t(self) -> int:
        return bch_dimensions(self.n)[self.k]

    @property
    def polynomial(self) -> int:
        """Generator polynomial; bit i is the coefficient of x^i."""
        return _polynomial(self.n, self.t)

    @property
    def generator(self) -> Array:
        return _generator(self.n, self.t)

    @property
    def parity(self) -> Array:
        return gf2.parity_check(self.generator)

    def encode(self, messages: Array) -> Array:
        """Words (..., n) of messages (..., k)."""
        flat = gf2.product(rows(messages, self.k), self.generator)
        return flat.reshape(*messages.shape[:-1], self.n)

    def decode(self, words: Array) -> tuple[Array, Array]:
        """Messages (..., k), and where a codeword lay within t errors."""
        flat = rows(words, self.n)
        messages = np.empty((len(flat), self.k), np.uint8)
        decoded = np.empty(len(flat), np.bool_)
        for start in range(0, len(flat), _CHUNK):
            part = flat[start : start + _CHUNK]
            locator, degree = _locator(_syndromes(part, self.n, self.t), self.n, self.t)
            errors = _roots(locator, self.n, self.t)
            known = errors.sum(axis=1, dtype=np.int16) == degree  # else more than t errors happened
            decoded[start : start + len(part)] = known
            messages[start : start + len(part)] = part[:, : self.k] ^ (errors[:, : self.k] & known[:, None])
        lead = words.shape[:-1]
        return messages.reshape(*lead, self.k), decoded.reshape(lead)


def bch(n: int, k: int) -> Bch:
    """Return the BCH code [n, k].

    Raises
    ------
    ValueError
        If `n` is not 15, 31, 63, 127 or 255, or no such code has `k` message bits.
    """
    return Bch(n=n, k=k)


@lru_cache(maxsize=8)
def bch_dimensions(n: int) -> dict[int, int]:
    """Dimensions k of the codes of length n, longest message first, each with the errors t it corrects.

    Raises
    ------
    ValueError
        If `n` is not a supported length.
    """
    if n not in _PRIMITIVE:
        raise ValueError(f"`n` of a BCH code must be one of {', '.join(map(str, _PRIMITIVE))}, got {n}")
    found: dict[int, int] = {}
    roots: set[int] = set()
    for t in range(1, n // 2 + 1):
        roots |= _conjugates(2 * t - 1, n)
        if len(roots) >= n - 1:  # one message bit: a repetition code
            break
        found[n - len(roots)] = t  # the largest t wins where several give the same k
    return found


def _conjugates(power: int, n: int) -> set[int]:
    return {power * 2**i % n for i in range(n.bit_length())}


@lru_cache(maxsize=8)
def _field(n: int) -> tuple[Array, Array, Array]:
    """Powers of the primitive element (n,), flat table of products a << m | b, and of inverses."""
    m = n.bit_length()
    exp = np.ones(n, np.int64)
    for i in range(1, n):
        exp[i] = exp[i - 1] << 1
        exp[i] ^= _PRIMITIVE[n] if exp[i] > n else 0
    log = np.zeros(1 << m, np.int64)
    log[exp] = np.arange(n)
    products = exp[(log[:, None] + log) % n]
    products[0] = products[:, 0] = 0
    inverses = exp[-log % n]
    inverses[0] = 0
    return frozen(exp), frozen(products.astype(np.uint8).ravel()), frozen(inverses.astype(np.uint8))


@lru_cache(maxsize=64)
def _polynomial(n: int, t: int) -> int:
    exp, products, _ = _field(n)
    m = n.bit_length()
    result = 1
    for coset in sorted({min(_conjugates(2 * i + 1, n)) for i in range(t)}):
        factor = [1]  # coefficients in the field, lowest power first; they end in GF(2)
        for power in _conjugates(coset, n):
            root = int(exp[power])
            scaled = [int(products[root << m | c]) for c in factor]
            factor = [a ^ b for a, b in zip([0, *factor], [*scaled, 0], strict=True)]
        result = gf2.polynomial_product(result, sum(c << i for i, c in enumerate(factor)))
    return result


@lru_cache(maxsize=64)
def _generator(n: int, t: int) -> Array:
    return frozen(gf2.cyclic_generator(n, _polynomial(n, t)))


@lru_cache(maxsize=16)
def _syndrome_tables(n: int, t: int) -> Array:
    """(bytes, 256, lanes) uint64: lanes hold the odd syndromes of a byte of a word, one byte each."""
    exp, _, _ = _field(n)
    size = -(-n // 8)
    powers = exp[np.arange(n - 1, -1, -1)[:, None] * np.arange(1, 2 * t, 2) % n]  # (n, t)
    column = np.zeros((8 * size, -(-t // 8) * 8), np.uint8)
    column[:n, :t] = powers
    bits = np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1)  # (256, 8)
    table = np.bitwise_xor.reduce(bits[None, :, :, None] * column.reshape(size, 1, 8, -1), axis=2)
    return frozen(np.ascontiguousarray(table).view(np.uint64))


def _syndromes(words: Array, n: int, t: int) -> Array:
    """(2t + 1, words) uint8; row s is the word at the s-th power of the primitive element, row 0 unused."""
    tables = _syndrome_tables(n, t)
    octets = packed(words)
    lanes = tables[0].take(octets[:, 0], axis=0)
    for index in range(1, len(tables)):
        lanes ^= tables[index].take(octets[:, index], axis=0)
    result = np.zeros((2 * t + 1, len(words)), np.uint8)
    result[1::2] = lanes.view(np.uint8)[:, :t].T
    for s in range(2, 2 * t + 1, 2):
        result[s] = _times(result[s // 2], result[s // 2], n)  # the square, as the word is binary
    return result


def _times(a: Array, b: Array, n: int) -> Array:
    index = a.astype(np.intp)
    index <<= n.bit_length()
    index |= b
    return _field(n)[1].take(index)


def _locator(syndromes: Array, n: int, t: int) -> tuple[Array, Array]:
    """Error locator (t + 1, words), lowest power first, and its degree (words,).

    Massey's algorithm; its even steps change nothing for a binary code. Powers above t are
    cut off: where they would matter, the degree exceeds t and the root count never matches it.
    """
    _, _, inverses = _field(n)
    count = syndromes.shape[1]
    locator = np.zeros((t + 1, count), np.uint8)
    locator[0] = 1
    spare = np.zeros(
        (t + 1, count), np.uint8
    )  # the last locator before the degree grew, times a power of x
    spare[1] = 1
    inverse = np.ones(count, np.uint8)  # of the discrepancy at which it grew
    degree = np.zeros(count, np.int16)
    for step in range(t):
        used = min(t, 2 * step) + 1
        terms = _times(locator[:used], syndromes[2 * step + 1 : 2 * step + 1 - used : -1], n)
        discrepancy = np.bitwise_xor.reduce(terms, axis=0)
        grows = (discrepancy != 0) & (degree <= step)
        ahead = np.where(grows, locator[: t - 1], spare[: t - 1])
        reach = min(t, 2 * step + 1) + 1
        locator[:reach] ^= _times(spare[:reach], _times(discrepancy, inverse, n), n)
        spare[2:] = ahead
        spare[:2] = 0
        inverse = np.where(grows, inverses.take(discrepancy), inverse)
        degree = np.where(grows, 2 * step + 1 - degree, degree)
    return locator, degree


@lru_cache(maxsize=16)
def _root_tables(n: int, t: int) -> Array:
    """(t + 1, 2^m, lanes) uint64: coefficient i of value v at the inverse locator of every position."""
    exp, products, _ = _field(n)
    m = n.bit_length()
    inverse = exp[-np.arange(t + 1)[:, None] * np.arange(n - 1, -1, -1) % n]  # (t + 1, n)
    table = np.zeros((t + 1, 1 << m, n + 1), np.uint8)
    table[:, :, :n] = products[np.arange(1 << m)[None, :, None] << m | inverse[:, None, :]]
    return frozen(table.view(np.uint64))


def _roots(locator: Array, n: int, t: int) -> Array:
    """(words, n) bool: positions whose inverse locator is a root."""
    tables = _root_tables(n, t)
    lanes = tables[0].take(locator[0], axis=0)
    term = np.empty_like(lanes)
    for index in range(1, t + 1):
        tables[index].take(locator[index], axis=0, out=term, mode="clip")
        lanes ^= term
    found: Array = lanes.view(np.uint8)[:, :n] == 0
    return found
