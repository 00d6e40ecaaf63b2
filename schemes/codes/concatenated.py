"""Two codes, one inside the other: what the outer one sends, the inner one sends once more, protected.

References
----------
Forney, Concatenated Codes, MIT Press (1966).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from harness.contracts import Array, frozen
from schemes import gf2
from schemes.codes.contract import Code, rows
from schemes.codes.reed_solomon import ReedSolomon

__all__ = ["Concatenated", "concatenated"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Concatenated:
    """The word of the outer code, then the check bits of an inner word for every `inner.k` bits of it.

    With this order the code is systematic; the bits of one inner word do not stand side by side. A last
    inner word that the outer code does not fill is shortened.

    Decoding is hard, inside first. An inner word that is out of reach marks its outer symbols as
    erased where the outer code is Reed-Solomon and can bear as many erasures; else it hands on what
    was received.
    """

    outer: Code
    inner: Code

    @property
    def name(self) -> str:
        return f"{self.outer.name}+{self.inner.name}"

    @property
    def inner_words(self) -> int:
        return -(-self.outer.n // self.inner.k)

    @property
    def n(self) -> int:
        return self.outer.n + self.inner_words * (self.inner.n - self.inner.k)

    @property
    def k(self) -> int:
        return self.outer.k

    @property
    def t(self) -> int:
        """Errors that are corrected wherever they are, by this decoder: (⌊T / span⌋ + 1)(t + 1) - 1.

        T and t are what outer and inner code correct, span the outer symbols (bits, where the outer code
        is binary) that one spoilt inner word can reach. The code's distance would allow for more.
        """
        edges = np.arange(self.inner_words + 1) * self.inner.k
        last = np.minimum(edges[1:], self.outer.n) - 1
        unit = self.outer.m if isinstance(self.outer, ReedSolomon) else 1
        span = int((last // unit - edges[:-1] // unit).max()) + 1
        return (self.outer.t // span + 1) * (self.inner.t + 1) - 1

    @property
    def generator(self) -> Array:
        return _generator(self)

    @property
    def parity(self) -> Array:
        return gf2.parity_check(self.generator)

    def encode(self, messages: Array) -> Array:
        """Words (..., n) of messages (..., k)."""
        outer = self.outer.encode(rows(messages, self.k))
        checks = self.inner.encode(self._split(outer))[..., self.inner.k :]
        words = np.hstack([outer, checks.reshape(len(outer), -1)])
        return words.reshape(*messages.shape[:-1], self.n)

    def decode(self, words: Array) -> tuple[Array, Array]:
        """Messages (..., k), and where the outer code found a codeword within reach."""
        flat = rows(words, self.n)
        checks = flat[:, self.outer.n :].reshape(len(flat), self.inner_words, -1)
        received = np.concatenate([self._split(flat[:, : self.outer.n]), checks], axis=2)
        told, known = self.inner.decode(received)
        told = told.reshape(len(flat), -1)
        known &= ~self._spill(told)
        outer = np.ascontiguousarray(told[:, : self.outer.n])
        if isinstance(self.outer, ReedSolomon):
            message, corrected = self.outer.decode_erased(outer, self._erased(known, self.outer))
        else:
            message, corrected = self.outer.decode(outer)
        message = np.where(corrected[:, None], message, flat[:, : self.k])
        lead = words.shape[:-1]
        return message.reshape(*lead, self.k), corrected.reshape(lead)

    def _split(self, outer: Array) -> Array:
        """Outer words (count, outer.n) as messages of the inner code, zeros behind the last bit."""
        padded = np.zeros((len(outer), self.inner_words * self.inner.k), np.uint8)
        padded[:, : self.outer.n] = outer
        return padded.reshape(len(outer), self.inner_words, self.inner.k)

    def _spill(self, told: Array) -> Array:
        """(count, inner words) bool: words that put a one where the shortened word has none."""
        spilt = np.zeros((len(told), self.inner_words), np.bool_)
        spilt[:, -1] = told[:, self.outer.n :].any(axis=1)
        return spilt

    def _erased(self, known: Array, outer: ReedSolomon) -> Array | None:
        """(count, symbols) bool: symbols with a bit in an inner word out of reach, if not too many."""
        if known.all():
            return None
        lost = (~known).repeat(self.inner.k, axis=1)[:, : outer.n]
        erased = np.any(lost.reshape(len(known), outer.symbols, outer.m), axis=2)
        bearable = erased.sum(axis=1, keepdims=True) <= outer.checks
        return np.asarray(erased & bearable)


def concatenated(outer: Code, inner: Code) -> Concatenated:
    """Return `outer` with `inner` inside.

    Examples
    --------
    >>> from schemes.codes.reed_solomon import reed_solomon
    >>> from schemes.codes.repetition import repetition
    >>> made = concatenated(reed_solomon(15, 9), repetition(3))
    >>> made.name, made.n, made.k
    ('reed-solomon-15-9+repetition-3', 180, 36)
    """
    return Concatenated(outer=outer, inner=inner)


@lru_cache(maxsize=16)
def _generator(code: Concatenated) -> Array:
    return frozen(code.encode(np.eye(code.k, dtype=np.uint8)))
