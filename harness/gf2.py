"""Linear algebra over GF(2), as far as attacking helper data needs it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array

__all__ = ["Solver", "all_words", "most_reliable_basis", "product", "solver"]


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


def most_reliable_basis(generator: Array, order: Array) -> tuple[Array, Array]:
    """Systematic generators on each word's most reliable independent positions.

    Parameters
    ----------
    generator : (k, n) uint8, of full rank
    order : (words, n) int
        Positions of each word, the most reliable first.

    Returns
    -------
    systematic : (words, k, n) uint8
        In the original order of positions; row i is 1 at `positions[:, i]` and 0 at the others.
    positions : (words, k) int

    References
    ----------
    Fossorier and Lin, IEEE Trans. Inf. Theory 41 (1995): soft-decision decoding based on
    ordered statistics (from memory).
    """
    words, n = order.shape
    k = generator.shape[0]
    work = np.broadcast_to(generator, (words, k, n)).copy()
    rank = np.zeros(words, np.intp)
    positions = np.zeros((words, k), np.intp)
    each = np.arange(words)
    rows = np.arange(k)
    for step in range(n):
        column = order[:, step]
        bits = work[each, :, column]  # (words, k)
        usable = bits.astype(bool) & (rows >= rank[:, None])
        found = usable.any(axis=1)
        if not found.any():
            continue
        who = np.flatnonzero(found)
        source, target = usable[who].argmax(axis=1), rank[who]
        pivot = work[who, source].copy()
        work[who, source] = work[who, target]
        work[who, target] = pivot
        clear = work[who, :, column[who]].astype(bool)
        clear[np.arange(who.size), target] = False
        work[who] ^= np.where(clear[:, :, None], pivot[:, None, :], np.uint8(0))
        positions[who, target] = column[who]
        rank[who] += 1
        if (rank == k).all():
            break
    return work, positions
