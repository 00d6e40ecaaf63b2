"""Is every key bit even, and are any two of them tied to each other?

Generations of one witness may share its entropy, so each witness counts once, with the mean of its keys.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import minimum_spanning_tree

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, named, own_keys, signs
from harness.detectors.tails import (
    TOLD,
    advantage,
    bits_of,
    chi_square_tail,
    least_rows,
    ratio,
    sign_tail,
)

__all__ = ["PAIRED", "bit_marginals", "bit_pairs"]

PAIRED = 512
"""Only the first so many key bits are paired: pairs grow with the square."""
_ROOM = 1 << 22  # floats of products of pairs held at once


def bit_marginals(data: Evidence) -> Detection:
    """Bits that are more often 1 than 0, or the other way round.

    Three looks, as each is blind where another sees: the worst bit, all bits alike, and bits that lean
    either way.
    """
    slug, k = "key-bits", data.key_bits
    rows = own_keys(data)
    if len(rows) < least_rows(k):
        return untested(slug, _too_few(len(rows), least_rows(k)))
    every, turns = _means(data)
    mean = every[rows].sum(axis=1, dtype=float) / turns[rows][:, None]
    squares = (mean**2).sum(axis=0)
    z = ratio(mean.sum(axis=0), squares)
    single = sign_tail(z) * k
    together = mean.sum(axis=1)
    pooled = float(sign_tail(ratio(together.sum(), (together**2).sum())))
    spread = chi_square_tail(float((z**2).sum()), k)
    p = 3 * min(float(single.min()), pooled, spread)
    # a mean of n witnesses with sum of squares q stands like one of n²/q single keys
    lean, size = mean.mean(axis=0), len(rows) ** 2 / np.maximum(squares, 1e-12)
    lost = bits_of(advantage(lean, size, k))
    worst = np.flatnonzero(single * 3 <= TOLD)
    if len(worst):
        far = worst[np.abs(lean[worst]).argmax()]
        share = (1 - lean[far]) / 2
        text = f"{named(worst)} leaning to one value (bit {far} is 1 in {share:.1%} of keys)"
    else:
        text = f"no single key bit leans; the mean share of ones is {(1 - float(mean.mean())) / 2:.4g}"
        lost = bits_of(advantage(together.mean() / k, len(rows), 1)) * np.ones(k)
    return found(slug, p, text, bits=float(lost.sum()), attempts=len(rows), subjects=data.subjects)


def bit_pairs(data: Evidence) -> Detection:
    """Pairs of bits that are equal, or unequal, more often than not."""
    slug, k = "key-bit-pairs", min(data.key_bits, PAIRED)
    looks = k * (k - 1) // 2
    rows = own_keys(data)
    if k < 2:
        return untested(slug, "a key of one bit has no pairs")
    if len(rows) < least_rows(looks):
        return untested(slug, _too_few(len(rows), least_rows(looks)))
    total, squares = _products(data, rows, k)
    above = np.triu(np.ones((k, k), bool), 1)
    tail = np.where(above, sign_tail(ratio(total, squares)) * looks, np.inf)
    tied = tail <= TOLD
    lean = np.abs(total) / len(rows)
    lost = 0.0
    if tied.any():
        i, j = np.nonzero(tied)
        size = len(rows) ** 2 / np.maximum(squares[i, j], 1e-12)
        gain = bits_of(advantage(lean[i, j], size, looks))
        # bits tied in a ring are given away once less than the ring has ties
        tree = minimum_spanning_tree(coo_array((-np.maximum(gain, 1e-9), (i, j)), shape=(k, k)).tocsr())
        lost = float(-tree.sum())
        text = f"{named(np.union1d(i, j))} tied in {len(i)} pairs: {_strongest(tail, total, len(rows))}"
    else:
        text = f"the strongest tie of two key bits is chance: {_strongest(tail, total, len(rows))}"
    if k < data.key_bits:
        text += f"; only the first {k} key bits were paired"
    return found(slug, float(tail.min()), text, bits=lost, attempts=len(rows), subjects=data.subjects)


def _strongest(tail: Array, total: Array, rows: int) -> str:
    i, j = np.unravel_index(int(tail.argmin()), tail.shape)
    share = (1 + float(total[i, j]) / rows) / 2
    return f"bits {i} and {j} are equal in {share:.1%} of keys"


def _too_few(have: int, need: int) -> str:
    return f"{need} attempts with keys of their own could show it, and there are {have}"


def _means(data: Evidence) -> tuple[Array, Array]:
    """Signs of all keys of each witness (attempts, most, key_bits), 0 where there is none, and how many."""
    own = signs(data.keys)
    if data.generated is None:
        return own[:, None, :], np.ones(len(own))
    row = np.concatenate([np.arange(len(own)), data.generated.row])
    order = np.argsort(row, kind="stable")
    count = np.bincount(row, minlength=len(own))
    place = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    every = np.zeros((len(own), int(count.max()), data.key_bits), np.float32)
    every[row[order], place] = signs(np.concatenate([data.keys, data.generated.keys]))[order]
    return every, count.astype(float)


def _products(data: Evidence, rows: Array, k: int) -> tuple[Array, Array]:
    """(k, k) sum over witnesses of the mean product of two bits, and of its square."""
    every, count = _means(data)
    every = every[rows, :, :k] / np.sqrt(count[rows])[:, None, None].astype(np.float32)
    total, squares = np.zeros((2, k, k))
    step = max(1, _ROOM // (k * k))
    for start in range(0, len(rows), step):
        part = every[start : start + step]
        product = part.transpose(0, 2, 1) @ part
        total += product.sum(axis=0)
        squares += np.square(product, out=product).sum(axis=0)
    return total, squares
