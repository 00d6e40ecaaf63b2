"""Min-entropy of bits from how soon a value repeats."""

from __future__ import annotations

import math

from harness.contracts import Array, Estimate
from harness.estimators.entropy.sequences import NORMAL_995, as_estimate, only_bits

__all__ = ["collision", "collision_ceiling", "collision_times", "collision_times_limit"]


_LEAST = 6


def collision(symbols: Array, *, attempts: int = 1, subjects: int = 1) -> Estimate:
    """Min-entropy per bit, if bits were independent and alike, from the mean time to a repeated value.

    Parameters
    ----------
    symbols : (n,) int
        All 0 or 1.
    attempts, subjects : int
        Where the bits come from; recorded with the estimate.

    Returns
    -------
    Estimate
        Unit "bit/symbol", side "defender-at-most". Value and low: from the lower 99.5 % limit of the mean
        time.

    Raises
    ------
    ValueError
        If a symbol is neither 0 nor 1.
    InsufficientData
        If there are fewer than 6 bits, which may hold a single repetition.

    Notes
    -----
    Of two bits two repeat at once or the third does, so the standard's expectation, an incomplete gamma
    function, is 2 + 2 p (1 - p) and is solved directly. A limit of at least 2.5 has no solution and counts
    as a full bit, as the standard says. A limit below 2 has none either; here it counts as p = 1, for such
    bits are nearly constant.

    References
    ----------
    NIST SP 800-90B (2018) §6.3.2.

    Examples
    --------
    >>> import numpy as np
    >>> bits = np.array([int(b) for b in "1000111001010101110011000111001010101110"])
    >>> round(collision(bits).value, 10)
    0.4483395878
    """
    bits = only_bits(symbols, least=_LEAST, needs="the collision estimate")
    twos, threes = collision_times(bits)
    return as_estimate(
        "collision",
        _likelier(collision_times_limit(twos, threes)),
        attempts=attempts,
        subjects=subjects,
    )


def collision_times(bits: Array) -> tuple[int, int]:
    """How many repetitions took two bits, and how many three; each search starts behind the last.

    Parameters
    ----------
    bits : (n,) uint8
        All 0 or 1. An unfinished search at the end does not count.
    """
    repeats = (bits[1:] == bits[:-1]).tobytes()
    at, twos, threes = 0, 0, 0
    # each start depends on all before it: a plain loop takes about 30 ms for a million bits
    while at < len(repeats):
        if repeats[at]:
            twos, at = twos + 1, at + 2
        else:
            threes, at = threes + 1, at + 3
    unfinished = at > len(bits)
    return twos, threes - unfinished


def collision_ceiling(bits: int) -> float | None:
    """What the estimate comes to if repetitions take two and three bits equally often, as fair bits do.

    Returns
    -------
    float or None
        Bits per bit; None for too few bits.
    """
    if bits < _LEAST:
        return None
    each = bits / 2.5 / 2
    return -math.log2(_likelier(collision_times_limit(each, each)))


def collision_times_limit(twos: float, threes: float) -> float:
    """Lower 99.5 % limit of the mean time."""
    v = twos + threes
    share = threes / v
    deviation = math.sqrt(v * share * (1 - share) / (v - 1))
    return 2 + share - NORMAL_995 * deviation / math.sqrt(v)


def _likelier(mean: float) -> float:
    product = min(max((mean - 2) / 2, 0.0), 0.25)  # of the two probabilities
    return 0.5 + math.sqrt(0.25 - product)
