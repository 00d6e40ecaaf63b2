"""Words that fit every parity told, the likeliest first, where belief propagation finds none.

References
----------
Fossorier and Lin, IEEE Trans. Inform. Theory 41 (1995) 1379-1396: ordered statistics (from memory).
"""

from __future__ import annotations

import numpy as np

from harness.contracts import Array

__all__ = ["fitting_words"]

_PAIRED = 40  # least sure of the sure bits that are changed two at a time


def fitting_words(matrix: Array, values: Array, log_odds: Array, reliability: Array) -> Array:
    """Words that satisfy a set of parities, the likeliest first.

    Of a basis of the surest bits, these are taken as they seem, then each changed by itself, then any two
    of the least sure `_PAIRED`; all other bits follow from the parities. A word that needs more changes
    than that is not found: a list from below, as every attack is.

    Parameters
    ----------
    matrix : uint8, shape (told, bits)
        Which bits go into each parity; rows may depend on each other, but not contradict.
    values : uint8, shape (told,)
    log_odds : float, shape (bits,)
        log P(bit = 1) / P(bit = 0) of independent bits, finite: by these words are ordered.
    reliability : float, shape (bits,)
        Log-odds by which bits are taken as they seem and as sure, as after belief propagation.

    Returns
    -------
    uint8, shape (words, bits)
        Each fits all parities.
    """
    bits = matrix.shape[1]
    order = np.argsort(np.abs(reliability), kind="stable")  # pivots are the least sure
    reduced, pivots = _reduced(np.hstack([matrix[:, order], values[:, None]]).astype(np.uint8), bits)
    free = np.setdiff1d(np.arange(bits), pivots)
    follow, constant = reduced[:, free], reduced[:, -1]
    seems = (reliability[order[free]] > 0).astype(np.uint8)
    changes = _changes(len(free))
    taken = seems ^ changes
    words = np.empty((len(changes), bits), np.uint8)
    words[:, order[free]] = taken
    # sums of at most `bits` zeros and ones, whose last bit is the parity
    sums = taken.astype(np.float32) @ follow.T.astype(np.float32)
    words[:, order[pivots]] = sums.astype(np.intp).astype(np.uint8) & 1 ^ constant
    return words[np.argsort(-(words @ log_odds), kind="stable")]


def _changes(free: int) -> Array:
    """(words, free) which of the surer bits, in ascending order of sureness, are changed."""
    first, second = np.triu_indices(min(free, _PAIRED), 1)
    pairs = np.zeros((len(first), free), np.uint8)
    rows = np.arange(len(first))
    pairs[rows, first] = pairs[rows, second] = 1
    return np.vstack([np.zeros((1, free), np.uint8), np.eye(free, dtype=np.uint8), pairs])


def _reduced(rows: Array, bits: int) -> tuple[Array, Array]:
    """Reduced row echelon form (rank, bits + 1) of equations, and the column of each row's pivot."""
    pivots: list[int] = []
    for column in range(bits):
        done = len(pivots)
        if done == len(rows):
            break
        below = np.flatnonzero(rows[done:, column])
        if below.size == 0:
            continue
        rows[[done, done + below[0]]] = rows[[done + below[0], done]]
        others = np.flatnonzero(rows[:, column])
        rows[others[others != done]] ^= rows[done]
        pivots.append(column)
    return rows[: len(pivots)], np.array(pivots, np.intp)
