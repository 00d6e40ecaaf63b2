"""What every estimator of a sequence asks of its symbols, and how a probability becomes an Estimate."""

from __future__ import annotations

import math

import numpy as np

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.entropy.whole_symbols import whole_symbols

__all__ = ["NORMAL_995", "as_estimate", "codes", "only_bits", "upper_share"]

NORMAL_995 = 2.576
"""The standard's own rounding of the 99.5 % point of a normal distribution."""

_WIDEST = 1 << 16  # symbols told apart


def codes(symbols: Array, *, least: int, needs: str) -> tuple[Array, int]:
    """Number the symbols that occur from 0, in their order.

    Parameters
    ----------
    symbols : (n,) int or bool
    least : int
        Fewest symbols that will do.
    needs : str
        Who needs them and why, to begin the sentence of an error.

    Returns
    -------
    (n,) uint8 or uint16, int
        The numbers, and how many different symbols there are.

    Raises
    ------
    ValueError
        If symbols are not whole numbers in one dimension, or more than 2^16 differ.
    InsufficientData
        If there are fewer than `least`.

    Examples
    --------
    >>> numbers, kinds = codes(np.array([40, 7, 40]), least=1, needs="this example")
    >>> numbers.tolist(), kinds
    ([1, 0, 1], 2)
    """
    values = _whole(symbols)
    if values.size < least:
        raise InsufficientData(f"{needs} needs at least {least} symbols, got {values.size}")
    if values.size == 0:
        return np.zeros(0, np.uint8), 0
    lowest, highest = int(values.min()), int(values.max())
    if highest - lowest < _WIDEST:  # a table is far faster than sorting
        # narrow signed numbers would wrap around
        wide = values if values.dtype.kind == "u" else values.astype(np.int64)
        shifted = (wide - wide.min()).astype(np.uint16)
        occurs = np.bincount(shifted, minlength=1) > 0
        kinds = int(occurs.sum())
        table = np.cumsum(occurs) - 1
        return table.astype(np.uint8 if kinds <= 256 else np.uint16)[shifted], kinds
    kept, numbers = np.unique(values, return_inverse=True)
    if len(kept) > _WIDEST:
        raise ValueError(f"`symbols` must be of at most {_WIDEST} kinds, got {len(kept)}")
    return numbers.astype(np.uint8 if len(kept) <= 256 else np.uint16), len(kept)


def only_bits(symbols: Array, *, least: int, needs: str) -> Array:
    """Return the symbols as (n,) uint8, all 0 or 1.

    Raises
    ------
    ValueError
        If they are not; wider symbols go through `bitstring`.
    InsufficientData
        If there are fewer than `least`.
    """
    values = _whole(symbols)
    if values.size < least:
        raise InsufficientData(f"{needs} needs at least {least} bits, got {values.size}")
    if values.size and (values.min() < 0 or values.max() > 1):
        other = values[(values < 0) | (values > 1)][0]
        raise ValueError(f"{needs} is defined for bits only, got the symbol {other}: use its bitstring")
    return values.astype(np.uint8)


def _whole(symbols: Array) -> Array:
    values = whole_symbols(symbols)
    return values.view(np.uint8) if values.dtype.kind == "b" else values


def upper_share(share: float, n: int) -> float:
    """Upper 99.5 % limit of a share of n, by the standard's normal approximation, at most 1."""
    return min(1.0, share + NORMAL_995 * math.sqrt(share * (1 - share) / (n - 1)))


def as_estimate(
    method: str,
    probability: float,
    *,
    symbols: int = 1,
    has_limit: bool = True,
    attempts: int,
    subjects: int,
) -> Estimate:
    """Min-entropy per symbol from the probability of the likeliest outcome.

    Parameters
    ----------
    method : str
        Slug of the estimator.
    probability : float
    symbols : int
        How many of them the outcome spans.
    has_limit : bool
        The probability is an upper confidence limit, so that the value is a lower one. There is no upper
        limit: `high` is NaN, and so is `low` without any limit.
    attempts, subjects : int
        Where the symbols come from.
    """
    value = -math.log2(probability) / symbols + 0.0
    return Estimate(
        value=value,
        low=value if has_limit else math.nan,
        high=math.nan,
        level=0.99,
        unit="bit/symbol",
        side="defender-at-most",
        evidence="counted",
        subjects=subjects,
        attempts=attempts,
        method=method,
    )
