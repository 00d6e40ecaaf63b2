"""Primitive narrow-sense binary BCH codes; see `bch_decoding` for how words are decoded.

References
----------
Bose and Ray-Chaudhuri, Inform. Control 3 (1960) 68-79; Hocquenghem, Chiffres 2 (1959) 147-156.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from harness.contracts import Array, frozen
from schemes import gf2
from schemes.codes.bch_decoding import error_places, power_sums
from schemes.codes.contract import rows
from schemes.codes.field import field

__all__ = ["Bch", "bch", "bch_dimensions"]

_LENGTHS = tuple(2**m - 1 for m in range(4, 11))


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
        errors, known = error_places(power_sums(flat, self.t), self.n)
        messages = flat[:, : self.k] ^ errors[:, : self.k]
        lead = words.shape[:-1]
        return messages.reshape(*lead, self.k), known.reshape(lead)


def bch(n: int, k: int) -> Bch:
    """Return the BCH code [n, k].

    Raises
    ------
    ValueError
        If `n` is not 15, 31, 63, 127, 255, 511 or 1023, or no such code has `k` message bits.
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
    if n not in _LENGTHS:
        raise ValueError(f"`n` of a BCH code must be one of {', '.join(map(str, _LENGTHS))}, got {n}")
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


@lru_cache(maxsize=64)
def _polynomial(n: int, t: int) -> int:
    over = field(n.bit_length())
    result = 1
    for coset in sorted({min(_conjugates(2 * i + 1, n)) for i in range(t)}):
        factor = np.ones(1, over.exp.dtype)  # coefficients in the field, lowest power first
        for power in _conjugates(coset, n):
            factor = np.append(0, factor) ^ np.append(over.times(factor, over.exp[power]), 0)
        # they end in GF(2)
        result = gf2.polynomial_product(result, sum(int(c) << i for i, c in enumerate(factor)))
    return result


@lru_cache(maxsize=64)
def _generator(n: int, t: int) -> Array:
    return frozen(gf2.cyclic_generator(n, _polynomial(n, t)))
