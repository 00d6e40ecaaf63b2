"""Min-entropy of bits from how far back the same block lies (Maurer's universal statistic)."""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import brentq

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.entropy.sequences import NORMAL_995, as_estimate, only_bits

__all__ = [
    "compression",
    "compression_ceiling",
    "expected_log_distance",
    "log_distance_limit",
    "log_distances",
]

_SPREAD = 0.5907  # the standard's factor for the variance of dependent distances


def compression(
    symbols: Array, *, block: int = 6, initial: int = 1000, attempts: int = 1, subjects: int = 1
) -> Estimate:
    """Min-entropy per bit from the mean log distance to the last block of the same bits.

    Parameters
    ----------
    symbols : (n,) int
        All 0 or 1.
    block : int
        Bits of a block, from 1 to 16. The standard's: 6.
    initial : int
        Blocks that only fill the dictionary. The standard's: 1000.
    attempts, subjects : int
        Where the bits come from; recorded with the estimate.

    Returns
    -------
    Estimate
        Unit "bit/symbol", side "defender-at-most". Value and low: from the lower 99.5 % limit of the mean.

    Raises
    ------
    ValueError
        If a symbol is neither 0 nor 1, or a parameter is out of range.
    InsufficientData
        If fewer than two blocks are left behind the initial ones.

    Notes
    -----
    A limit above what equally likely blocks reach has no solution and counts as a full bit, as the standard
    says; one below 0 counts as p = 1, for such blocks are nearly constant. The inner sum runs to the number
    of blocks, not of bits.

    References
    ----------
    NIST SP 800-90B (2018) §6.3.4.
    """
    if not 1 <= block <= 16:
        raise ValueError(f"`block` must be from 1 to 16 bits, got {block}")
    if initial < 1:
        raise ValueError(f"`initial` must be at least one block, got {initial}")
    needs = "the compression estimate"
    bits = only_bits(symbols, least=0, needs=needs)
    if bits.size // block < initial + 2:
        raise InsufficientData(f"{needs} needs at least {(initial + 2) * block} bits, got {bits.size}")
    logs = log_distances(bits, block=block, initial=initial)
    limit, blocks = log_distance_limit(logs), bits.size // block
    return as_estimate(
        "compression",
        _likeliest(limit, block=block, initial=initial, blocks=blocks),
        symbols=block,
        attempts=attempts,
        subjects=subjects,
    )


def log_distances(bits: Array, *, block: int, initial: int) -> Array:
    """log2 of how many blocks back each tested block was last seen, or of its number if never.

    Returns
    -------
    (blocks - initial,) float
    """
    count = bits.size // block
    words = bits[: count * block].reshape(count, block) @ (1 << np.arange(block)[::-1]).astype(np.uint16)
    order = np.argsort(words, kind="stable")
    same = words[order[1:]] == words[order[:-1]]
    last = np.full(count, -1)  # a block never seen counts from before the first
    last[order[1:][same]] = order[:-1][same]
    return np.asarray(np.log2((np.arange(count) - last)[initial:]))


def log_distance_limit(logs: Array) -> float:
    """Lower 99.5 % limit of the mean log distance."""
    return _limit(float(logs.mean()), float((logs**2).sum()), len(logs))


def _limit(mean: float, sum_of_squares: float, v: int) -> float:
    spread = _SPREAD * math.sqrt(max(sum_of_squares / (v - 1) - mean**2, 0.0))
    return mean - NORMAL_995 * spread / math.sqrt(v)


def compression_ceiling(bits: int, *, block: int = 6, initial: int = 1000) -> float | None:
    """What the estimate comes to if log distances have the mean and spread that fair bits are expected to.

    Returns
    -------
    float or None
        Bits per bit; None for too few bits.
    """
    blocks = bits // block
    if blocks < initial + 2:
        return None
    flat, v = 2.0**-block, blocks - initial
    mean, square = (2**block * _weighted(flat, initial, blocks, power=power) for power in (1, 2))
    limit = _limit(mean, square * v, v)
    return -math.log2(_likeliest(limit, block=block, initial=initial, blocks=blocks)) / block


def expected_log_distance(likeliest: float, *, block: int, initial: int, blocks: int) -> float:
    """Mean log2 distance if one block has this probability and all others share the rest alike."""
    others = (1 << block) - 1
    rest = (1 - likeliest) / others
    return _weighted(likeliest, initial, blocks) + others * _weighted(rest, initial, blocks)


def _weighted(z: float, initial: int, blocks: int, *, power: int = 1) -> float:
    """The part of a block of probability z in the mean power of a log distance: the standard's G for 1."""
    if z <= 0:
        return 0.0
    # beyond this distance the rest of a geometric sum is below a double's last digit
    reach = blocks if z >= 1 else min(blocks, 2 + int(-50 / math.log1p(-z)))
    at = np.arange(1, reach + 1)
    tested = blocks - initial
    weight = np.log2(at) ** power * np.power(1 - z, at - 1.0)
    inside = z * z * float(weight @ np.minimum(blocks - at, tested))
    never = z * float(weight[initial:].sum())  # never seen before: the distance is the block's number
    return float(inside + never) / tested


def _likeliest(mean: float, *, block: int, initial: int, blocks: int) -> float:
    def above(p: float) -> float:
        return expected_log_distance(p, block=block, initial=initial, blocks=blocks) - mean

    flat = 2.0**-block
    if above(flat) <= 0:
        return flat
    if mean <= 0:
        return 1.0
    return float(brentq(above, flat, 1.0, xtol=1e-13, rtol=1e-13))
