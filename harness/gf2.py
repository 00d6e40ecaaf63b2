"""Linear algebra over GF(2), as far as attacking helper data needs it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array

__all__ = [
    "Solver",
    "all_words",
    "most_reliable_basis",
    "packed_columns",
    "product",
    "row_numbers",
    "solver",
    "unpacked",
]


def product(words: Array, matrix: Array) -> Array:
    """`words` (..., n) times `matrix` (n, m) over GF(2), as uint8 (..., m)."""
    # float32 products are exact up to 2**24 and use BLAS; integer ones do not
    exact = np.asarray(words, np.float32) @ np.asarray(matrix, np.float32)
    return (exact.astype(np.int32) & 1).astype(np.uint8)


def all_words(bits: int) -> Array:
    """All 2**bits words, (2**bits, bits) uint8, first bit most significant."""
    index = np.arange(1 << bits, dtype=np.uint32)
    return ((index[:, None] >> np.arange(bits - 1, -1, -1, dtype=np.uint32)) & 1).astype(np.uint8)


@dataclass(frozen=True, slots=True)
class Solver:
    """The solutions of ``parity @ word = syndrome``: one particular word, plus the null space."""

    basis: Array  # (dimension, n) uint8 of the null space
    free: Array  # (dimension,) int: the positions that spell a null word's number
    lift: Array  # (n, r) uint8: lift @ syndrome is a particular solution, 0 at the free positions

    @property
    def dimension(self) -> int:
        return len(self.free)

    def particular(self, syndrome: Array) -> Array:
        """(..., r) -> (..., n): one word with that syndrome."""
        return product(syndrome, self.lift.T)


def solver(parity: Array) -> Solver:
    """Prepare to solve for words of a given syndrome.

    Parameters
    ----------
    parity : (r, n) uint8
        Rows may be dependent; a syndrome that contradicts itself is not detected here.

    Returns
    -------
    Solver
    """
    r, n = parity.shape
    work = np.concatenate([parity.astype(np.uint8), np.eye(r, dtype=np.uint8)], axis=1)
    pivots: list[int] = []
    row = 0
    for column in range(n):
        if row == r:
            break
        candidates = np.flatnonzero(work[row:, column])
        if candidates.size == 0:
            continue
        work[[row, row + candidates[0]]] = work[[row + candidates[0], row]]
        others = np.flatnonzero(work[:, column])
        others = others[others != row]
        work[others] ^= work[row]
        pivots.append(column)
        row += 1
    free = [c for c in range(n) if c not in set(pivots)]
    basis = np.zeros((len(free), n), np.uint8)
    basis[np.arange(len(free)), free] = 1
    basis[:, pivots] = work[: len(pivots), free].T
    lift = np.zeros((n, r), np.uint8)
    lift[pivots] = work[: len(pivots), n:]
    return Solver(basis=basis, free=np.array(free, np.intp), lift=lift)


def packed_columns(matrix: Array) -> Array:
    """(k, n) bits -> (lanes, n) uint64: bit i of column j, in lanes of 64, is row i."""
    k, n = matrix.shape
    octets = np.zeros((n, -(-k // 64) * 8), np.uint8)
    octets[:, : -(-k // 8)] = np.packbits(matrix.T, axis=1, bitorder="little")
    return np.ascontiguousarray(octets.view("<u8").T.astype(np.uint64))


def unpacked(columns: Array, k: int) -> Array:
    """(..., lanes) uint64 -> (..., k) bits."""
    octets = np.ascontiguousarray(columns.astype("<u8")).view(np.uint8)
    return np.unpackbits(octets, axis=-1, count=k, bitorder="little")


def row_numbers(columns: Array) -> Array:
    """(lanes, ...) columns that hold one row each -> (...) its number; arbitrary for other columns."""
    lane = (columns != 0).argmax(axis=0)
    word = np.take_along_axis(columns, lane[None], axis=0)[0]
    return np.asarray(64 * lane + np.bitwise_count(word - np.uint64(1)))


def most_reliable_basis(generator: Array, order: Array) -> tuple[Array, Array]:
    """Systematic generators on each word's most reliable independent positions.

    Parameters
    ----------
    generator : (k, n) uint8, of full rank
    order : (words, n) int
        Positions of each word, the most reliable first.

    Returns
    -------
    systematic : (lanes, n, words) uint64
        Columns in the word's own order, packed as by `packed_columns`. Those of the basis hold one row
        each, in no particular order.
    basis : (n, words) bool
        Which columns are in the basis.

    References
    ----------
    Fossorier and Lin, IEEE Trans. Inf. Theory 41 (1995): soft-decision decoding based on
    ordered statistics (from memory).
    """
    k, n = generator.shape
    systematic = packed_columns(generator)[:, order.T]
    lanes, _, words = systematic.shape
    unused = np.repeat(packed_columns(np.ones((k, 1), np.uint8)), words, axis=1)
    basis = np.zeros((n, words), np.bool_)
    held, change = np.empty((2, n, words), np.uint64)
    for step in range(n):
        column = systematic[:, step]
        free = column & unused
        unit = free & np.negative(free)  # the lowest row left
        for lane in range(1, lanes):
            unit[lane, unit[:lane].any(axis=0)] = 0
        basis[step] = unit.any(axis=0)
        unused ^= unit
        place = np.bitwise_count(np.bitwise_or.reduce(unit) - np.uint64(1)).astype(np.uint64)
        # columns before this one do not have that row any more
        has, part = held[step + 1 :], change[step + 1 :]
        np.bitwise_and(systematic[0, step + 1 :], unit[0], out=has)
        for lane in range(1, lanes):
            np.bitwise_and(systematic[lane, step + 1 :], unit[lane], out=part)
            has |= part
        has >>= place
        for lane in range(lanes):
            np.multiply(has, column[lane] ^ unit[lane], out=part)
            systematic[lane, step + 1 :] ^= part
        np.copyto(column, unit, where=basis[step])
        if not unused.any():
            break
    return systematic, basis
