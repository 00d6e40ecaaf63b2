"""Vectors, matrices and polynomials over GF(2).

Bits are uint8 arrays of 0 and 1. A polynomial is an int whose bit i is the coefficient of x^i.
"""

from __future__ import annotations

import numpy as np

from harness.contracts import Array

__all__ = [
    "cyclic_generator",
    "gray",
    "parity_check",
    "polynomial_product",
    "polynomial_remainder",
    "product",
    "rank",
]


def product(vectors: Array, matrix: Array) -> Array:
    """Multiply row vectors by a matrix.

    Parameters
    ----------
    vectors : uint8, shape (..., a)
    matrix : uint8, shape (a, b)

    Returns
    -------
    uint8, shape (..., b)
    """
    flat = np.reshape(vectors, (-1, matrix.shape[0]))
    # float32 reaches BLAS, and counts are exact in it up to 2^24 terms
    counts = flat.astype(np.float32) @ matrix.astype(np.float32)
    bits = (counts.astype(np.int32) & 1).astype(np.uint8)
    return bits.reshape(*vectors.shape[:-1], matrix.shape[1])


def rank(matrix: Array) -> int:
    """Number of linearly independent rows of a uint8 matrix."""
    rows = [int.from_bytes(row.tobytes()) for row in np.packbits(np.asarray(matrix, np.uint8), axis=1)]
    found = 0
    while rows:
        pivot = rows.pop()
        if pivot:
            found += 1
            lowest = pivot & -pivot
            rows = [row ^ pivot if row & lowest else row for row in rows]
    return found


def polynomial_product(a: int, b: int) -> int:
    """Product of two polynomials.

    Examples
    --------
    >>> bin(polynomial_product(0b11, 0b11))  # (x + 1)^2 = x^2 + 1
    '0b101'
    """
    result = 0
    while b:
        result ^= a if b & 1 else 0
        a <<= 1
        b >>= 1
    return result


def polynomial_remainder(a: int, b: int) -> int:
    """Remainder of `a` divided by `b`."""
    while a.bit_length() >= b.bit_length():
        a ^= b << (a.bit_length() - b.bit_length())
    return a


def cyclic_generator(n: int, polynomial: int) -> Array:
    """Systematic generator matrix (k, n), message first, of the cyclic code that `polynomial` generates.

    Column 0 is the coefficient of x^(n-1).
    """
    checks = polynomial.bit_length() - 1
    rows = []
    for power in range(n - 1, checks - 1, -1):
        word = 1 << power | polynomial_remainder(1 << power, polynomial)
        rows.append([word >> (n - 1 - column) & 1 for column in range(n)])
    return np.array(rows, np.uint8)


def parity_check(generator: Array) -> Array:
    """Parity-check matrix [Aᵀ | I], (n - k, n), of the systematic generator [I | A], (k, n)."""
    k, n = generator.shape
    return np.hstack([generator[:, k:].T, np.eye(n - k, dtype=np.uint8)])


def gray(count: int, bits: int) -> Array:
    """First `count` words of the reflected Gray code, most significant bit first, (count, bits) uint8.

    Examples
    --------
    >>> gray(4, 2).tolist()
    [[0, 0], [0, 1], [1, 1], [1, 0]]
    """
    index = np.arange(count)
    words = index ^ (index >> 1)
    return (words[:, None] >> np.arange(bits)[::-1] & 1).astype(np.uint8)
