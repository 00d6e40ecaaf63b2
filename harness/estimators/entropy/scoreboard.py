"""Several predictors at once: each prediction is made by the one that was right most often before."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from harness.contracts import Array

__all__ = ["packed", "right_by_the_best"]

_BLOCK = 256  # predictions looked at together; a multiple of 64


def packed(hits: Iterable[Array], n: int) -> Array:
    """Bits of who was right when, in rows of whole blocks.

    Parameters
    ----------
    hits : (n,) bool, of each predictor
        False where it had no prediction.
    n : int

    Returns
    -------
    (predictors, blocks, 32) uint8
    """
    blocks = -(-n // _BLOCK)
    rows = []
    for hit in hits:
        row = np.zeros(blocks * _BLOCK // 8, np.uint8)
        bits = np.packbits(hit)
        row[: len(bits)] = bits
        rows.append(row)
    return np.stack(rows).reshape(len(rows), blocks, _BLOCK // 8)


def right_by_the_best(hits: Array, n: int) -> Array:
    """Which predictions come true if each is left to the predictor with the highest score so far.

    A predictor scores when it is right, and takes over as soon as its score reaches that of the one in
    charge. So the one in charge has the highest score and, among equals, was right last; of those right at
    the same time the last in line. The first starts.

    Parameters
    ----------
    hits : (predictors, blocks, 32) uint8
        As `packed` returns them.
    n : int

    Returns
    -------
    (n,) bool

    Notes
    -----
    Within a block only those matter whose score at its end reaches the highest one at its start; of 128
    lags of a random sequence that leaves a few.
    """
    blocks = hits.shape[1]
    gained = np.bitwise_count(hits.view(np.uint64)).sum(axis=2, dtype=np.int64)
    ends = np.cumsum(gained, axis=1)
    starts = ends - gained
    highest = starts.max(axis=0)
    in_charge = 0
    right = np.empty((blocks, _BLOCK), np.uint8)
    tick = np.arange(2, _BLOCK + 2)
    for block in range(blocks):
        # the last in line first, so that the first of equal keys is theirs
        able = np.flatnonzero(ends[:, block] >= highest[block])[::-1]
        hit = np.unpackbits(hits[able, block], axis=1)
        if len(able) == 1:
            in_charge = int(able[0])
            right[block] = hit[0]
            continue
        own = int(np.flatnonzero(able == in_charge)[0])
        key = np.empty((len(able), _BLOCK + 1), np.int64)
        key[:, 0] = 0
        np.multiply(hit, tick, out=key[:, 1:])
        key[own, 0] = 1  # of equals it keeps the lead until another is right
        np.maximum.accumulate(key, axis=1, out=key)
        score = np.cumsum(hit, axis=1, dtype=np.int64)
        score += starts[able, block, None] - highest[block]
        key[:, 0] += (starts[able, block] - highest[block]) * (2 * _BLOCK)
        key[:, 1:] += score * (2 * _BLOCK)
        best = key.argmax(axis=0)
        right[block] = hit[best[:-1], np.arange(_BLOCK)]
        in_charge = int(able[best[-1]])
    return right.reshape(-1)[:n].astype(bool)
