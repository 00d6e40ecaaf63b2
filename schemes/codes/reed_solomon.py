"""Reed-Solomon codes, written out in bits, decoded a batch of words at a time.

A symbol of GF(2^m) is m bits, most significant first. Multiplication by a constant is linear over
GF(2), so the code is a binary linear code as well; its decoder corrects symbols, however many of
their bits are wrong.

References
----------
Reed and Solomon, J. SIAM 8 (1960) 300-304. Massey, IEEE Trans. Inform. Theory 15 (1969) 122-127;
Forney, IEEE Trans. Inform. Theory 11 (1965) 549-557. Erasures are taken into the shift-register
synthesis as in Blahut, Theory and Practice of Error Control Codes (1983) (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from numbers import Integral

import numpy as np

from harness.contracts import Array, frozen
from schemes import gf2
from schemes.codes.contract import rows
from schemes.codes.field import field
from schemes.codes.reed_solomon_decoding import corrected_symbols

__all__ = ["ReedSolomon", "reed_solomon"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedSolomon:
    """The code of `symbols` symbols of GF(2^m), `message_symbols` of them message.

    Its distance is symbols - message_symbols + 1, the largest there is, in symbols; in bits it is at
    least that. Zeros of the generator polynomial are the powers 1, 2, ... of the primitive element;
    fewer than 2^m - 1 symbols make a shortened code.
    """

    symbols: int
    message_symbols: int
    m: int

    def __post_init__(self) -> None:
        for part in ("symbols", "message_symbols", "m"):
            if not isinstance(getattr(self, part), Integral):
                raise ValueError(
                    f"`{part}` of a Reed-Solomon code must be a whole number, got {getattr(self, part)!r}"
                )
        if self.m not in range(3, 9):
            raise ValueError(f"`m` of a Reed-Solomon code must be 3 to 8 bits a symbol, got {self.m!r}")
        if not 3 <= self.symbols < 2**self.m:
            raise ValueError(
                f"`symbols` of a Reed-Solomon code over GF({2**self.m}) must be 3 to {2**self.m - 1}, "
                f"got {self.symbols}"
            )
        if not 1 <= self.message_symbols <= self.symbols - 2:
            raise ValueError(
                f"`message_symbols` of {self.symbols} symbols must be 1 to {self.symbols - 2}, "
                f"got {self.message_symbols}"
            )

    @property
    def name(self) -> str:
        base = f"reed-solomon-{self.symbols}-{self.message_symbols}"
        return base if self.m == _shortest(self.symbols) else f"{base}-gf{2**self.m}"

    @property
    def n(self) -> int:
        return self.symbols * self.m

    @property
    def k(self) -> int:
        return self.message_symbols * self.m

    @property
    def checks(self) -> int:
        """Check symbols."""
        return self.symbols - self.message_symbols

    @property
    def t(self) -> int:
        """Wrong symbols, so at least as many wrong bits, that are corrected wherever they are."""
        return self.checks // 2

    @property
    def polynomial(self) -> tuple[int, ...]:
        """Generator polynomial, coefficients in the field, highest power first."""
        return _polynomial(self.checks, self.m)

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
        """Messages (..., k), and where a codeword differed in at most t symbols."""
        return self.decode_erased(words, None)

    def decode_erased(self, words: Array, erased: Array | None) -> tuple[Array, Array]:
        """Decode words (..., n) of which symbols `erased`, (..., symbols) bool, are not to be trusted.

        Found are codewords with 2 · wrong + erased symbols at most `checks`. Where there is none, the
        message bits come back as they were received.
        """
        flat = rows(words, self.n)
        received = to_symbols(flat, self.m)
        marks = None if erased is None else np.reshape(erased, (-1, self.symbols))
        corrected, known = corrected_symbols(received, marks, checks=self.checks, m=self.m)
        lead = words.shape[:-1]
        message = to_bits(corrected[:, : self.message_symbols], self.m)
        return message.reshape(*lead, self.k), known.reshape(lead)


def reed_solomon(symbols: int, message_symbols: int, m: int | None = None) -> ReedSolomon:
    """Return the code [symbols, message_symbols] over GF(2^m), by default the smallest field that holds it.

    Raises
    ------
    ValueError
        If the field has not 3 to 8 bits, or cannot hold the code.

    Examples
    --------
    >>> made = reed_solomon(15, 9)
    >>> made.n, made.k, made.t
    (60, 36, 3)
    """
    return ReedSolomon(
        symbols=symbols, message_symbols=message_symbols, m=_shortest(symbols) if m is None else m
    )


def to_symbols(bits: Array, m: int) -> Array:
    """Bits (count, s * m) as symbols (count, s) uint8, first bit most significant."""
    count = len(bits)
    if m == 8:
        return np.packbits(bits.reshape(-1)).reshape(count, -1)
    split = bits.reshape(count, -1, m)
    symbols = split[..., 0].copy()
    for index in range(1, m):
        symbols <<= 1
        symbols |= split[..., index]
    return symbols


def to_bits(symbols: Array, m: int) -> Array:
    """Symbols (count, s) uint8 as bits (count, s * m)."""
    bits = np.empty((*symbols.shape, m), np.uint8)
    for index in range(m):
        bits[..., index] = symbols >> (m - 1 - index) & 1
    return bits.reshape(len(symbols), -1)


def _shortest(symbols: int) -> int:
    return max(3, int(symbols).bit_length())


@lru_cache(maxsize=64)
def _polynomial(checks: int, m: int) -> tuple[int, ...]:
    made = field(m)
    factor = np.ones(1, made.exp.dtype)
    for power in range(1, checks + 1):
        scaled = made.times(factor, made.exp[power % made.n])
        factor = np.append(factor, 0) ^ np.append(0, scaled)
    return tuple(int(c) for c in factor)


@lru_cache(maxsize=16)
def _generator(code: ReedSolomon) -> Array:
    """Every bit of the message alone, encoded by dividing through the generator polynomial."""
    made = field(code.m)
    messages = to_symbols(np.eye(code.k, dtype=np.uint8), code.m)
    taps = np.array(code.polynomial[1:], made.exp.dtype)
    register = np.zeros((code.k, code.checks), made.exp.dtype)
    for column in messages.T:
        feedback = column ^ register[:, 0]
        register[:, :-1] = register[:, 1:]
        register[:, -1] = 0
        register ^= made.times(feedback[:, None], taps)
    return frozen(to_bits(np.hstack([messages, register]), code.m))
