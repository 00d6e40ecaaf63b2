"""What came before each symbol, longer and longer, and how often what followed has followed before."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array

__all__ = [
    "Contexts",
    "births",
    "deeper",
    "empty_context",
    "follow_counts",
    "foretold",
    "foretold_bits",
    "recurring",
]


@dataclass(frozen=True, slots=True)
class Contexts:
    """Places in a sequence, context by context, and in the order of time within each."""

    place: Array  # (m,) int32
    group: Array  # (m,) int32, ascending: the number of the context
    symbol: Array  # (m,) uint8 or uint16: what stands at the place, behind the context

    def kept(self, which: Array) -> Contexts:
        return Contexts(self.place[which], self.group[which], self.symbol[which])


def empty_context(numbers: Array, start: int) -> Contexts:
    """All places from `start` on, behind no symbol at all.

    Raises
    ------
    ValueError
        If there are 2^27 or more, or 2^23 of more than 256 kinds.
    """
    most = 1 << (63 - _symbol_bits(numbers)) // 2  # context, count and symbol make one number
    if len(numbers) >= most:
        raise ValueError(f"predictors from contexts take fewer than {most} symbols, got {len(numbers)}")
    place = np.arange(start, len(numbers), dtype=np.int32)
    return Contexts(place, np.zeros(len(place), np.int32), numbers[start:])


def _symbol_bits(numbers: Array) -> int:
    return 8 * numbers.dtype.itemsize


def deeper(contexts: Contexts, numbers: Array, depth: int) -> Contexts:
    """Add the symbol `depth` places back to each context; places that have none drop out."""
    place, group, symbol = contexts.place, contexts.group, contexts.symbol
    early = np.flatnonzero(place < depth)
    if early.size:  # at most one if depths come one by one: far faster than a mask
        place, group, symbol = (np.delete(x, early) for x in (place, group, symbol))
    oldest = numbers.take(place - np.int32(depth))
    # a radix sort by the oldest symbol; stable, so what was in order stays so within each
    by = np.argsort(oldest, kind="stable")
    return Contexts(place.take(by), _numbered(oldest.take(by), group.take(by)), symbol.take(by))


def _numbered(*sorted_by: Array) -> Array:
    """Number the runs of equal tuples from 0."""
    number = np.zeros(len(sorted_by[0]), np.int32)
    fresh = np.zeros(max(len(number) - 1, 0), bool)
    for key in sorted_by:
        fresh |= key[1:] != key[:-1]
    np.cumsum(fresh, out=number[1:])
    return number


def recurring(contexts: Contexts) -> Contexts:
    """Leave out contexts that came once: they foretell nothing, nor do longer ones."""
    alone = np.ones(len(contexts.group), bool)
    same = contexts.group[1:] == contexts.group[:-1]
    alone[1:] &= ~same
    alone[:-1] &= ~same
    return contexts.kept(~alone) if alone.any() else contexts


def follow_counts(contexts: Contexts) -> Array:
    """How often the symbol at each place has followed its context so far, itself included: (m,) int32."""
    by, start = _pairs(contexts)
    count = np.empty(len(by), np.int32)
    count[by] = np.arange(1, len(by) + 1, dtype=np.int32) - start
    return count


def births(contexts: Contexts) -> Array:
    """Place where the symbol at each place followed its context for the first time: (m,) int32."""
    by, start = _pairs(contexts)
    born = np.empty(len(by), np.int32)
    born[by] = contexts.place[by[start]]
    return born


def _pairs(contexts: Contexts) -> tuple[Array, Array]:
    """Order by symbol, context and time; and in it the index where each one's pair begins."""
    by = np.argsort(contexts.symbol, kind="stable")
    symbol, group = contexts.symbol.take(by), contexts.group.take(by)
    start = np.arange(len(by), dtype=np.int32)
    start[1:] *= (symbol[1:] != symbol[:-1]) | (group[1:] != group[:-1])
    np.maximum.accumulate(start, out=start)
    return by, start


def foretold(contexts: Contexts, count: Array) -> tuple[Array, Array]:
    """What has followed each context most often before each place; of equals, the greatest symbol.

    Parameters
    ----------
    count : (m,) int
        As `follow_counts`; 0 where it does not count.

    Returns
    -------
    symbol, times : (m,) as the symbols, (m,) int32
        Times 0: nothing yet, and the symbol means nothing.

    Notes
    -----
    A count grows by one at a time, so the greatest count so far is that of the most frequent symbol.
    """
    symbol_bits = _symbol_bits(contexts.symbol)
    group = contexts.group.astype(np.int64)
    group <<= symbol_bits + int(count.max(initial=0)).bit_length()
    best = count.astype(np.int64)
    best <<= symbol_bits
    best |= contexts.symbol
    best |= group
    np.maximum.accumulate(best, out=best)
    before = np.zeros_like(best)
    np.subtract(best[:-1], group[1:], out=before[1:])
    np.maximum(before, 0, out=before)  # below 0 stands the last of another context
    return before.astype(contexts.symbol.dtype), (before >> symbol_bits).astype(np.int32)


def foretold_bits(contexts: Contexts) -> tuple[Array, Array]:
    """As `foretold`, in a third of the time, for symbols 0 and 1 that all count, fresh from `deeper`.

    Returns
    -------
    symbol, times : (m,) bool
        Times False: nothing yet.
    """
    ahead = contexts.symbol.astype(np.int32)
    ahead *= 2
    ahead -= 1
    lead = np.cumsum(ahead, dtype=np.int32)  # of ones over zeros
    lead -= ahead
    later = np.zeros(len(lead), bool)
    np.equal(contexts.group[1:], contexts.group[:-1], out=later[1:])
    lead -= lead[np.flatnonzero(~later)].take(contexts.group)
    return lead >= 0, later
