"""Blocks of the key that take one value too often, and keys of one weight."""

from __future__ import annotations

import numpy as np
from scipy.special import entr, rel_entr
from scipy.stats import beta, binom

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, named, own_keys
from harness.detectors.tails import TOLD, least_rows

__all__ = ["WIDTHS", "block_modes"]

WIDTHS = (4, 8)
_MISSED = 0.05


def block_modes(data: Evidence) -> Detection:
    """The most frequent value of each block of 4 and of 8 bits, of all blocks together, and of the weight.

    The chance that any value comes as often is at most the number of values times the exact binomial tail.
    """
    slug, k = "key-blocks", data.key_bits
    rows = own_keys(data)
    if len(rows) < least_rows(k):
        reason = f"{least_rows(k)} attempts with keys of their own could show it, and there are {len(rows)}"
        return untested(slug, reason)
    keys = data.keys[rows]
    looks = []  # p, bits given away, sentence
    for width in (w for w in WIDTHS if w <= k):
        looks += _of_width(keys, width)
    looks.append(_weight(keys))
    p = min(1.0, len(looks) * min(x[0] for x in looks))
    heard = [x for x in looks if x[0] * len(looks) <= TOLD]
    best = max(heard, key=lambda x: (x[1], -x[0])) if heard else min(looks)
    bits = best[1] if heard else 0.0
    return found(slug, p, best[2], bits=bits, attempts=len(rows), subjects=data.subjects)


def _of_width(keys: Array, width: int) -> list[tuple[float, float, str]]:
    n, blocks = len(keys), keys.shape[1] // width
    values = keys[:, : blocks * width].reshape(n, blocks, width) @ (1 << np.arange(width)[::-1])
    count = np.zeros((blocks, 1 << width), int)
    np.add.at(count, (np.arange(blocks), values), 1)
    most = count.max(axis=1)
    tail = binom.sf(most - 1, n, 2.0**-width) * (blocks << width)
    worst = int(tail.argmin())
    lost = float(_lost(most, n, width, blocks << width).sum())
    span = named(range(worst * width, (worst + 1) * width))
    told = f"{span} are {count[worst].argmax():0{width}b} in {most[worst]} of {n} keys"
    every = count.sum(axis=0)
    total = n * blocks
    p_all = float(binom.sf(every.max() - 1, total, 2.0**-width)) * (1 << width)
    lost_all = float(_lost(every.max() / blocks, n, width, 1 << width))  # of some block
    told_all = (
        f"blocks of {width} key bits are {every.argmax():0{width}b} in {every.max()} of {total} cases, "
        "whichever block"
    )
    return [(float(tail[worst]), lost, told), (p_all, lost_all, told_all)]


def _lost(most: Array, n: int, width: int, looks: int) -> Array:
    """Bits of entropy that a block lacks at least, from the lower limit of its commonest value's share."""
    share = np.maximum(beta.ppf(_MISSED / looks, most, n - most + 1), 2.0**-width)
    rest = 1 - share  # spread over all other values at best
    most_left = (entr(share) + entr(rest)) / np.log(2) + rest * np.log2(2.0**width - 1)
    return np.asarray(np.maximum(width - most_left, 0.0))


def _weight(keys: Array) -> tuple[float, float, str]:
    """Keys that hold one number of ones too often."""
    n, k = keys.shape
    weight = keys.sum(axis=1, dtype=int)
    count = np.bincount(weight, minlength=k + 1)
    chance = binom.pmf(np.arange(k + 1), k, 0.5)
    tail = binom.sf(count - 1, n, chance) * (k + 1)
    at = int(tail.argmin())
    share = max(float(beta.ppf(_MISSED / (k + 1), count[at], n - count[at] + 1)), float(chance[at]))
    told = f"{count[at]} of {n} keys hold exactly {at} ones, where {n * chance[at]:.3g} are expected"
    lost = (rel_entr(share, chance[at]) + rel_entr(1 - share, 1 - chance[at])) / np.log(2)
    return float(tail[at]), float(lost), told
