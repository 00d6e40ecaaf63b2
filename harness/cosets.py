"""The least number of errors that explains a syndrome."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array

__all__ = ["CosetWeights", "coset_weights", "packed"]

_WORD = 64
_PATTERNS = 2**16  # error patterns that are listed at most


@dataclass(frozen=True, slots=True)
class CosetWeights:
    """Syndromes of few errors, in order, and their least number of errors."""

    keys: Array  # (listed,) uint64, ascending
    weights: Array  # (listed,) uint8
    beyond: int  # what a syndrome that is not listed takes at least

    def of(self, keys: Array) -> Array:
        """Least number of errors for packed syndromes of any shape; `beyond` where more are not listed."""
        place = np.minimum(np.searchsorted(self.keys, keys), len(self.keys) - 1)
        return np.where(self.keys[place] == keys, self.weights[place], np.uint8(self.beyond))


def packed(syndrome: Array) -> Array:
    """(..., r) bits as uint64 (...); of more than 64 bits the first 64.

    Leaving bits out makes a few syndromes look alike, never equal ones different.
    """
    used = syndrome[..., :_WORD]
    powers = np.left_shift(np.uint64(1), np.arange(used.shape[-1], dtype=np.uint64))
    return np.asarray((used.astype(np.uint64) * powers).sum(axis=-1, dtype=np.uint64))


def coset_weights(parity: Array, usable: Array) -> CosetWeights:
    """List the syndromes of 0, 1, 2, ... errors as far as 65 536 error patterns go.

    Parameters
    ----------
    parity : (r, n) uint8
    usable : (n,) bool
        Positions where an error may be; an empty position has none.

    Returns
    -------
    CosetWeights

    Examples
    --------
    A perfect code of distance 3 explains every syndrome by at most one error:

    >>> hamming = np.array([[1, 0, 1, 0, 1, 0, 1], [0, 1, 1, 0, 0, 1, 1], [0, 0, 0, 1, 1, 1, 1]], np.uint8)
    >>> coset_weights(hamming, np.ones(7, bool)).weights.tolist()
    [0, 1, 1, 1, 1, 1, 1, 1]
    """
    columns = packed(parity.T[usable])
    n = len(columns)
    keys, weights = np.zeros(1, np.uint64), np.zeros(1, np.uint8)
    layer, last = np.zeros(1, np.uint64), np.full(1, -1)  # patterns of one weight, and their last position
    listed, weight, cosets = 1, 0, 2 ** min(len(parity), _WORD)
    while weight < n and len(keys) < cosets:
        more = n - 1 - last  # patterns that a further error makes of each
        listed += int(more.sum())
        if listed > _PATTERNS:
            break
        weight += 1
        parent = np.repeat(np.arange(len(layer)), more)
        start = np.repeat(np.cumsum(more) - more, more)
        added = last[parent] + 1 + np.arange(len(parent)) - start
        layer, last = layer[parent] ^ columns[added], added
        fresh = np.setdiff1d(layer, keys)
        keys = np.concatenate([keys, fresh])
        weights = np.concatenate([weights, np.full(len(fresh), weight, np.uint8)])
        order = np.argsort(keys)
        keys, weights = keys[order], weights[order]
    return CosetWeights(keys=keys, weights=weights, beyond=weight + 1)
