"""Affine relations over GF(2) between columns of bits, and what chance they have."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.contracts import Array

__all__ = ["SPARE", "Relations", "relations"]

SPARE = 20
"""Rows more than columns, so that columns are dependent by chance with at most 2^-20."""


@dataclass(frozen=True, slots=True)
class Relations:
    """Sums of wanted columns that are a sum of known columns, up to a constant, in every row."""

    free: int  # rows less the rank of [known 1]: what independent wanted columns have to satisfy
    of_known: Array  # (relations, a) bool: which columns take part
    of_wanted: Array  # (relations, b) bool

    @property
    def count(self) -> int:
        """b + rank [known 1] - rank [known wanted 1]."""
        return len(self.of_wanted)

    def with_known(self) -> Relations:
        """Only those in which a known column takes part."""
        taken = self.of_known.any(axis=1)
        return Relations(self.free, self.of_known[taken], self.of_wanted[taken])

    @property
    def chance(self) -> float:
        """Upper bound of the chance of as many relations if the wanted bits are fair and independent.

        Each space of sums of `count` dimensions vanishes with 2^-(count free), and there are at most
        3.47 · 2^(count (b - count)) of them (3.4628 is the limit of the product of 1 / (1 - 2^-i)).
        """
        if not self.count:
            return 1.0
        power = self.count * (self.of_wanted.shape[1] - self.count - self.free)
        return min(1.0, math.ldexp(3.47, min(0, max(-900, power))))


def relations(known: Array, wanted: Array) -> Relations:
    """Relations of `wanted` (rows, b) with `known` (rows, a), both uint8 of 0 and 1."""
    rows, a = known.shape
    columns = np.concatenate([np.ones((1, rows), np.uint8), known.T, wanted.T])
    work = _packed(np.concatenate([columns, np.eye(len(columns), dtype=np.uint8)], axis=1))
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
    octets = np.ascontiguousarray(work[held].astype("<u8")).view(np.uint8)
    record = np.unpackbits(octets, axis=1, bitorder="little")[:, rows : rows + len(columns)].astype(bool)
    return Relations(rows - rank, record[:, 1 : a + 1], record[:, a + 1 :])


def _packed(bits: Array) -> Array:
    """(n, m) bits -> (n, words) uint64, bit j of a row being bit j mod 64 of word j // 64."""
    octets = np.zeros((bits.shape[0], -(-bits.shape[1] // 64) * 8), np.uint8)
    octets[:, : -(-bits.shape[1] // 8)] = np.packbits(bits, axis=1, bitorder="little")
    return octets.view("<u8").astype(np.uint64)


def _lowest(word: int) -> int:
    return (word & -word).bit_length() - 1
