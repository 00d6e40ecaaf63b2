"""The fields GF(2^m): elements are integers below 2^m, bit i being the coefficient of x^i.

The primitive polynomials are those of the usual tables (from memory); tests check that x generates
the whole field.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from harness.contracts import Array, frozen

__all__ = ["PRIMITIVE", "Field", "field"]

PRIMITIVE = {  # m -> primitive polynomial of degree m
    2: 0o7,
    3: 0o13,
    4: 0o23,
    5: 0o45,
    6: 0o103,
    7: 0o211,
    8: 0o435,
    9: 0o1021,
    10: 0o2011,
    11: 0o4005,
    12: 0o10123,
    13: 0o20033,
    14: 0o42103,
    15: 0o100003,
    16: 0o210013,
}
_TABLED = 10  # degree up to which all products stand in one table


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """Tables of GF(2^m), and the products that they give."""

    m: int
    n: int  # nonzero elements
    exp: Array  # (n,) powers of the primitive element x
    log: Array  # (n + 1,) int64; of 0 it is 2n
    inverses: Array  # (n + 1,); of 0 it is 0
    long: Array  # (4n + 1,) powers by sum of two logarithms, 0 where one of them was that of 0
    products: Array | None  # flat, of a and b at a << m | b

    def times(self, a: Array, b: Array) -> Array:
        """Products element by element, broadcast."""
        if self.products is None:
            return self.long.take(self.log.take(a) + self.log.take(b))
        index = np.asarray(a, np.intp) << self.m
        return self.products.take(index | b)

    def power(self, a: Array, exponent: int) -> Array:
        """`a` to the power `exponent`, at least 0; anything to the power 0 is 1."""
        raised = self.exp.take(self.log.take(a) * exponent % self.n)
        return np.where(np.equal(a, 0), exponent == 0, raised).astype(self.exp.dtype)


@lru_cache(maxsize=16)
def field(m: int) -> Field:
    """Return GF(2^m).

    Raises
    ------
    ValueError
        If `m` is not 2 to 16.

    Examples
    --------
    >>> int(field(4).times(np.array(8), np.array(2)))  # x^3 x = x + 1
    3
    """
    if m not in PRIMITIVE:
        raise ValueError(f"`m` of a field GF(2^m) must be 2 to 16, got {m!r}")
    n = 2**m - 1
    dtype = np.uint8 if m <= 8 else np.uint16
    powers = [1]
    for _ in range(n - 1):
        shifted = powers[-1] << 1
        powers.append(shifted ^ PRIMITIVE[m] if shifted > n else shifted)
    exp = np.array(powers, dtype)
    log = np.full(n + 1, 2 * n, np.int64)
    log[exp] = np.arange(n)
    inverses = np.zeros(n + 1, dtype)
    inverses[1:] = exp[-log[1:] % n]
    long = np.zeros(4 * n + 1, dtype)
    long[: 2 * n] = np.tile(exp, 2)
    products = frozen(long.take(log[:, None] + log).ravel()) if m <= _TABLED else None
    return Field(m, n, frozen(exp), frozen(log), frozen(inverses), frozen(long), products)
