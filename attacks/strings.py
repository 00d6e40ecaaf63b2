"""Models of symbol strings, learned on other people, and their likeliest strings.

A long context is rare among few people; it then says what the shorter one says that ends alike (each level
of context is worth one count to the next; as in back-off models of text, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array

__all__ = ["Chain", "fitted_chain", "likeliest_strings", "order_that_fits"]

ORDERS = (0, 1, 2, 3, 4, 5, 6, 8, 10)
WORTH = 2.0
_STATES = 1024  # contexts that are counted at most
_BEAM = 2**17  # strings that are kept at most


@dataclass(frozen=True, slots=True)
class Chain:
    """Each symbol given the ones before it; of order 0, given its place instead."""

    order: int
    start: (
        Array  # (m, alphabet) natural logs by place: of all symbols if order is 0, else of the first ones
    )
    follow: Array  # (alphabet ** order, alphabet) natural logs given the symbols before, oldest first

    def log_prob(self, strings: Array) -> Array:
        """(rows,) natural log-probability of whole strings (rows, m)."""
        m = strings.shape[1]
        lead = m if self.order == 0 else min(self.order, m)
        total = self.start[np.arange(lead), strings[:, :lead]].sum(axis=1)
        if self.order == 0:
            return np.asarray(total)
        context = contexts(strings, self.order, self.follow.shape[1])
        return np.asarray(total + self.follow[context, strings[:, self.order :]].sum(axis=1))


def contexts(strings: Array, order: int, alphabet: int) -> Array:
    """(rows, m - order) number of the symbols before each place, oldest first."""
    m = strings.shape[1]
    number = np.zeros((len(strings), max(0, m - order)), np.intp)
    for back in range(order):
        number = number * alphabet + strings[:, back : m - order + back]
    return number


def fitted_chain(strings: Array, alphabet: int, order: int) -> Chain:
    """Shares of what follows each context, drawn by one count towards the next shorter context's.

    Parameters
    ----------
    strings : (rows, m) int
    alphabet, order : int
    """
    counts = np.stack([(strings == v).sum(axis=0) for v in range(alphabet)], axis=1) + 1 / alphabet
    start = np.log(counts / counts.sum(axis=1, keepdims=True))
    if order == 0:
        return Chain(0, start, np.zeros((1, alphabet)))
    all_of_them = np.bincount(strings.ravel(), minlength=alphabet) + 1.0
    share = all_of_them[None, :] / all_of_them.sum()
    for depth in range(1, order + 1):
        cells = contexts(strings, depth, alphabet) * alphabet + strings[:, depth:]
        joint = np.bincount(cells.ravel(), minlength=alphabet ** (depth + 1)).reshape(-1, alphabet)
        share = joint + np.tile(share, (alphabet, 1))  # oldest first: short contexts are remainders
        share /= share.sum(axis=1, keepdims=True)
    return Chain(order, start, np.log(share))


def order_that_fits(
    strings: Array, subject: Array, alphabet: int, *, most: int = ORDERS[-1]
) -> tuple[int, float]:
    """The order under which half of the people were likeliest to who learned from the other half.

    Parameters
    ----------
    strings : (rows, m) int
    subject : (rows,) int
    alphabet : int
    most : int
        Greatest order that is tried.

    Returns
    -------
    order : int
        0 unless another is better by `WORTH` bits a string: a list ends, a belief by place does not.
    surprise : float
        Bits of a whole string of people who were not learned from.
    """
    half = np.isin(subject, np.unique(subject)[::2])
    if half.all() or not half.any():
        return 0, float("inf")
    tried = [o for o in ORDERS if o <= most and alphabet**o <= _STATES and o < strings.shape[1]]
    scores = [
        float(fitted_chain(strings[half], alphabet, o).log_prob(strings[~half]).mean()) for o in tried
    ]
    best = int(np.argmax(scores))
    if scores[best] < scores[0] + WORTH * float(np.log(2)):
        best = 0
    return tried[best], -scores[best] / float(np.log(2))


def likeliest_strings(chain: Chain, m: int, count: int) -> Array:
    """The likeliest strings, best first, (count or fewer, m) uint8.

    The best strings with given last symbols start with best strings with given last symbols, so that the
    list is exact while fewer than 2^17 strings are kept: `count` for every context. Beyond, only the best
    go on.
    """
    alphabet = chain.follow.shape[1]
    score, strings = np.zeros(1), np.zeros((1, 0), np.uint8)
    for place in range(m):
        if place < chain.order or chain.order == 0:
            step = np.broadcast_to(chain.start[place], (len(score), alphabet))
        else:
            step = chain.follow[_last(strings, chain.order, alphabet)]
        total = (score[:, None] + step).ravel()
        parent, symbol = np.divmod(np.arange(len(total)), alphabet)
        grown = np.concatenate([strings[parent], symbol[:, None].astype(np.uint8)], axis=1)
        group = _last(grown, min(chain.order, place + 1), alphabet)
        order = np.lexsort((-total, group))
        start = np.r_[0, np.flatnonzero(np.diff(group[order])) + 1]
        rank = np.arange(len(order)) - np.repeat(start, np.diff(np.r_[start, len(order)]))
        keep = order[rank < count]
        if len(keep) > _BEAM:
            keep = np.sort(keep[np.argsort(-total[keep], kind="stable")[:_BEAM]])
        score, strings = total[keep], grown[keep]
    best = np.argsort(-score, kind="stable")[:count]
    return strings[best]


def _last(strings: Array, order: int, alphabet: int) -> Array:
    """(rows,) number of the last symbols of each string, oldest first."""
    number = np.zeros(len(strings), np.intp)
    for back in range(order, 0, -1):
        number = number * alphabet + strings[:, -back]
    return number
