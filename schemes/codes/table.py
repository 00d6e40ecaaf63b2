"""Codes small enough for a table from syndrome to error: Hamming and Golay.

A word is packed into bytes, its syndrome is the XOR of one table entry per byte, and the
error of least weight with that syndrome is looked up and removed.

References
----------
Golay, Proc. IRE 37 (1949) 657; Hamming, Bell Syst. Tech. J. 29 (1950) 147-160.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np

from harness.contracts import Array, frozen
from schemes import gf2
from schemes.codes.contract import packed, rows

__all__ = ["TableCode", "golay23", "golay24", "hamming"]

_CHUNK = 1 << 14  # words at a time: their bits and the tables stay in cache
_PRIMITIVE = {2: 0o7, 3: 0o13, 4: 0o23, 5: 0o45, 6: 0o103, 7: 0o211, 8: 0o435}


@dataclass(frozen=True, slots=True, kw_only=True)
class TableCode:
    """A cyclic code of at most 16 checks, with an overall parity bit appended if `extended`."""

    name: str
    n: int
    t: int
    polynomial: int  # generator polynomial of the cyclic part, bit i = coefficient of x^i
    extended: bool = False

    def __post_init__(self) -> None:
        if self.n - self.k > 16:
            raise ValueError(
                f"a table code must have at most 16 checks, got {self.n - self.k} in {self.name}"
            )

    @property
    def k(self) -> int:
        return self.n - self.extended - (self.polynomial.bit_length() - 1)

    @property
    def generator(self) -> Array:
        return _generator(self)

    @property
    def parity(self) -> Array:
        return gf2.parity_check(self.generator)

    def encode(self, messages: Array) -> Array:
        """Words (..., n) of messages (..., k)."""
        flat = gf2.product(rows(messages, self.k), self.generator)
        return flat.reshape(*messages.shape[:-1], self.n)

    def decode(self, words: Array) -> tuple[Array, Array]:
        """Messages (..., k), and where an error of weight at most t explains the syndrome."""
        flat = rows(words, self.n)
        by_byte, errors, explained = _tables(self)
        corrected = np.empty(flat.shape, np.uint8)
        decoded = np.empty(len(flat), np.bool_)
        for start in range(0, len(flat), _CHUNK):
            part = flat[start : start + _CHUNK]
            stop = start + len(part)
            octets = packed(part)
            syndrome = by_byte[0].take(octets[:, 0])
            for index in range(1, len(by_byte)):
                syndrome ^= by_byte[index].take(octets[:, index])
            # whole words, as one contiguous line is corrected faster than many short rows
            np.bitwise_xor(part, errors.take(syndrome, axis=0), out=corrected[start:stop])
            explained.take(syndrome, out=decoded[start:stop], mode="clip")
        lead = words.shape[:-1]
        return corrected[:, : self.k].reshape(*lead, self.k), decoded.reshape(lead)


@lru_cache(maxsize=16)
def _generator(code: TableCode) -> Array:
    matrix = gf2.cyclic_generator(code.n - code.extended, code.polynomial)
    if code.extended:
        matrix = np.hstack([matrix, matrix.sum(axis=1, keepdims=True, dtype=np.uint8) & 1])
    return frozen(matrix)


@lru_cache(maxsize=16)
def _tables(code: TableCode) -> tuple[Array, Array, Array]:
    """Syndrome by byte (bytes, 256); error by syndrome (2^checks, n), and whether it is known."""
    checks = code.n - code.k
    column = (code.parity.astype(np.int64) << np.arange(checks)[::-1, None]).sum(axis=0)  # (n,)

    size = -(-code.n // 8)
    padded = np.zeros(8 * size, np.int64)
    padded[: code.n] = column
    bits = np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1)
    by_byte = np.bitwise_xor.reduce(bits[None] * padded.reshape(size, 1, 8), axis=2)

    errors = np.zeros((1 << checks, code.n), np.uint8)
    explained = np.zeros(1 << checks, np.bool_)
    explained[0] = True
    for weight in range(1, code.t + 1):
        where = np.array(list(combinations(range(code.n), weight)))
        syndrome = np.bitwise_xor.reduce(column[where], axis=1)
        errors[syndrome[:, None], where] = 1
        explained[syndrome] = True
    return frozen(by_byte), frozen(errors), frozen(explained)


def hamming(r: int) -> TableCode:
    """Return the perfect code [2^r - 1, 2^r - 1 - r, 3]: hamming(3) is [7, 4].

    Raises
    ------
    ValueError
        If `r` is not 2 to 8.
    """
    if r not in _PRIMITIVE:
        raise ValueError(f"`r` of a Hamming code must be 2 to 8, got {r}")
    n = 2**r - 1
    return TableCode(name=f"hamming-{n}-{n - r}", n=n, t=1, polynomial=_PRIMITIVE[r])


def golay23() -> TableCode:
    """Return the perfect Golay code [23, 12, 7]."""
    return TableCode(name="golay-23-12", n=23, t=3, polynomial=0o6165)


def golay24() -> TableCode:
    """Return the extended Golay code [24, 12, 8]: corrects three errors and notices four."""
    return TableCode(name="golay-24-12", n=24, t=3, polynomial=0o6165, extended=True)
