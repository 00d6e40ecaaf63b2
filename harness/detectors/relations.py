"""Affine relations over GF(2) between columns of bits."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array

__all__ = ["relations"]


def relations(known: Array, wanted: Array) -> tuple[int, Array, Array]:
    """Sums of `wanted` columns that are a sum of `known` columns, up to a constant, in every row.

    Parameters
    ----------
    known : (rows, a) uint8
    wanted : (rows, b) uint8

    Returns
    -------
    free : int
        Rows less the rank of ``[known 1]``: what independent columns of `wanted` have to satisfy.
    of_known : (relations, a) bool
    of_wanted : (relations, b) bool
        Which columns take part; the sum of both and perhaps 1 is 0 throughout. As many as
        ``b + rank [known 1] - rank [known wanted 1]``.
    """
    rows, a = known.shape
    columns = np.concatenate([np.ones((1, rows), np.uint8), known.T, wanted.T])
    tracked = np.concatenate([columns, np.eye(len(columns), dtype=np.uint8)], axis=1)
    work = _packed(tracked)
    rank = 0
    empty = []
    for i in range(len(columns)):
        filled = np.flatnonzero(work[i, : -(-rows // 64)])  # the record may begin in the last word
        if filled.size == 0 or (bit := _lowest(int(work[i, filled[0]]))) + 64 * int(filled[0]) >= rows:
            empty.append(i)  # what is left is only the record of what was added
            continue
        rank += i <= a
        below = work[i + 1 :, filled[0]] >> np.uint64(bit) & np.uint64(1)
        work[i + 1 :][below.astype(bool)] ^= work[i]
    held = [i for i in empty if i > a]
    record = np.unpackbits(
        np.ascontiguousarray(work[held].astype("<u8")).view(np.uint8), axis=1, bitorder="little"
    )[:, rows : rows + len(columns)].astype(bool)
    return rows - rank, record[:, 1 : a + 1], record[:, a + 1 :]


def _packed(bits: Array) -> Array:
    """(n, m) bits -> (n, words) uint64, bit j of a row being bit j mod 64 of word j // 64."""
    octets = np.zeros((bits.shape[0], -(-bits.shape[1] // 64) * 8), np.uint8)
    octets[:, : -(-bits.shape[1] // 8)] = np.packbits(bits, axis=1, bitorder="little")
    return octets.view("<u8").astype(np.uint64)


def _lowest(word: int) -> int:
    return (word & -word).bit_length() - 1
