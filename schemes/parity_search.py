"""One batch of conversations of `parity_rounds`, all attempts at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from harness.contracts import Array

__all__ = ["Talk"]


class Talk:
    """State of the conversations: what still differs, which blocks are odd, what has been said.

    `b` and the arrays of `helper` are filled in place. Differences stand for B's own parities: B knows
    of a parity of them as soon as A has told its own.
    """

    def __init__(self, a: Array, b: Array, helper: Mapping[str, Array], lengths: Sequence[int]) -> None:
        self.b = b
        self.helper = helper
        self.lengths = lengths
        self.over = np.zeros(len(a), np.bool_)  # A has told all that it will
        self._said = np.zeros(len(a), np.int64)
        orders = helper["orders"].astype(np.intp)  # (attempts, rounds, bits)
        self._orders = orders
        self._places = np.argsort(orders, axis=2)
        self._differs: Array = a ^ b
        self._sums_a = _running(np.take_along_axis(a[:, None], orders, axis=2))
        self._odd = np.zeros((len(a), len(lengths), -(-a.shape[1] // min(lengths))), np.bool_)

    def run(self) -> None:
        """All rounds, each until no block of it or of an earlier one is odd."""
        done = 0
        for turn, length in enumerate(self.lengths):
            edges = np.minimum(np.arange(0, self.b.shape[1] + length, length), self.b.shape[1])
            edges = edges[: -(-self.b.shape[1] // length) + 1]
            parities = self._sums_a[:, turn, edges[1:]] ^ self._sums_a[:, turn, edges[:-1]]
            self.helper["block-parities"][:, done : done + len(edges) - 1] = parities
            done += len(edges) - 1
            sums = _running(np.take_along_axis(self._differs, self._orders[:, turn], axis=1))
            self._odd[:, turn, : len(edges) - 1] = sums[:, edges[1:]] ^ sums[:, edges[:-1]]
            while self._search_shortest(turn):
                pass

    def _search_shortest(self, last: int) -> bool:
        """Search every odd block of each attempt's earliest round that has one; False if there is none."""
        waiting = self._odd[:, : last + 1].any(axis=2) & ~self.over[:, None]
        earliest = waiting.argmax(axis=1)
        for turn in range(last + 1):
            attempts = np.flatnonzero(waiting.any(axis=1) & (earliest == turn))
            if attempts.size:
                self._search(turn, attempts, last)
        return bool(waiting.any())

    def _search(self, turn: int, attempts: Array, last: int) -> None:
        """Find one error in every odd block of these attempts in this round."""
        differs = _running(
            np.take_along_axis(self._differs[attempts], self._orders[attempts, turn], axis=1)
        )
        row, block = np.nonzero(self._odd[attempts, turn])
        low = block * self.lengths[turn]
        high = np.minimum(low + self.lengths[turn], self.b.shape[1])
        while (open_ := (high - low > 1) & ~self.over[attempts[row]]).any():
            some = np.flatnonzero(open_)
            middle = (low[some] + high[some]) // 2
            heard = self._tell(turn, attempts[row[some]], low[some], middle)
            some, middle = some[heard], middle[heard]
            first_half = (differs[row[some], middle] ^ differs[row[some], low[some]]) == 1
            high[some] = np.where(first_half, middle, high[some])
            low[some] = np.where(first_half, low[some], middle)
        found = high - low == 1
        self._flip(attempts[row[found]], self._orders[attempts[row[found]], turn, low[found]], last)

    def _tell(self, turn: int, attempt: Array, start: Array, stop: Array) -> Array:
        """A tells parities, of attempts in ascending order; (asked,) bool: which it told."""
        first = np.r_[True, np.diff(attempt) > 0]
        index = self._said[attempt] + np.arange(attempt.size) - np.flatnonzero(first)[np.cumsum(first) - 1]
        limit = self.helper["told"].shape[1]
        heard = index < limit
        self.over[attempt[~heard]] = True
        who, at = attempt[heard], index[heard]
        self.helper["asked"][who, at] = np.stack(
            [np.full(who.size, turn), start[heard], stop[heard]], axis=1
        )
        self.helper["answers"][who, at] = (
            self._sums_a[who, turn, stop[heard]] ^ self._sums_a[who, turn, start[heard]]
        )
        self.helper["told"][who, at] = 1
        self._said += np.bincount(who, minlength=len(self._said))
        return np.asarray(heard)

    def _flip(self, attempt: Array, bit: Array, last: int) -> None:
        self.b[attempt, bit] ^= 1
        self._differs[attempt, bit] ^= 1
        for turn in range(last + 1):
            block = self._places[attempt, turn, bit] // self.lengths[turn]
            # several bits of one block may have been found at once
            np.logical_xor.at(self._odd, (attempt, np.full(attempt.size, turn), block), True)


def _running(bits: Array) -> Array:
    """Parity of the first 0, 1, ... bits along the last axis, which grows by one."""
    sums = np.zeros((*bits.shape[:-1], bits.shape[-1] + 1), np.uint8)
    np.bitwise_xor.accumulate(bits, axis=-1, out=sums[..., 1:])
    return sums
