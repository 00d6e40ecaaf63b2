"""Min-entropy against a predictor that names the most common of the last symbols."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.entropy.predictions import from_predictions
from harness.estimators.entropy.scoreboard import packed, right_by_the_best
from harness.estimators.entropy.sequences import codes

__all__ = ["multi_most_common_in_window", "window_hits"]

_WINDOWS = (63, 255, 1023, 4095)
_CHUNK = 1 << 15  # places at once: what is compared stays in the cache


def multi_most_common_in_window(
    symbols: Array, *, windows: Sequence[int] = _WINDOWS, attempts: int = 1, subjects: int = 1
) -> Estimate:
    """Min-entropy per symbol against the best of predictors that name the most common symbol of a window.

    Parameters
    ----------
    symbols : (n,) int
    windows : sequence of int
        Lengths of the windows, ascending. The standard's: 63, 255, 1023, 4095.
    attempts, subjects : int
        Where the symbols come from; recorded with the estimate.

    Returns
    -------
    Estimate
        Unit "bit/symbol", side "defender-at-most"; see `from_predictions`.

    Raises
    ------
    ValueError
        If symbols are not whole numbers in one dimension, or windows do not ascend from at least 1.
    InsufficientData
        If fewer than two symbols follow the shortest window.

    References
    ----------
    NIST SP 800-90B (2018) §6.3.7.

    Examples
    --------
    >>> s = np.array([1, 2, 1, 0, 2, 1, 1, 2, 2, 0, 0, 0])
    >>> round(multi_most_common_in_window(s, windows=(3, 5, 7, 9)).value, 10)
    0.3908754486
    """
    needs = "the window estimate"
    lengths = _ascending(windows)
    numbers, kinds = codes(symbols, least=0, needs=needs)
    if len(numbers) < lengths[0] + 2:
        raise InsufficientData(f"{needs} needs at least {lengths[0] + 2} symbols, got {len(numbers)}")
    return from_predictions(
        "multi-most-common-in-window",
        window_hits(numbers, windows=lengths),
        kinds,
        attempts=attempts,
        subjects=subjects,
    )


def _ascending(windows: Sequence[int]) -> tuple[int, ...]:
    lengths = tuple(int(w) for w in windows)
    if not lengths or lengths[0] < 1 or list(lengths) != sorted(set(lengths)):
        raise ValueError(f"`windows` must ascend from at least 1, got {list(windows)}")
    return lengths


def window_hits(numbers: Array, *, windows: Sequence[int] = _WINDOWS) -> Array:
    """Which symbols behind the shortest window are predicted: (n - windows[0],) bool."""
    lengths = _ascending(windows)
    n, shortest = len(numbers), lengths[0]
    hits = np.zeros((len(lengths), n - shortest), bool)
    for start in range(shortest, n, _CHUNK):
        stop = min(start + _CHUNK, n)
        for hit, forecast in zip(hits, _modes(numbers, lengths, start, stop), strict=True):
            behind = stop - len(forecast)  # none before the window is full
            hit[behind - shortest : stop - shortest] = forecast == numbers[behind:stop]
    return right_by_the_best(packed(hits, n - shortest), n - shortest)


def _modes(numbers: Array, lengths: Sequence[int], start: int, stop: int) -> list[Array]:
    """The most common symbol of each window before each place from `start` to `stop`; of equals the latest.

    Windows that would begin before the sequence does are left out.
    """
    begin = max(0, start - lengths[-1])
    part = numbers[begin:stop]
    full = [max(start, length) - begin for length in lengths]  # where the first forecast is made
    size = len(part)
    exact: type[np.signedinteger[Any]] = np.int32 if (lengths[-1] + 1) * size < 2**31 else np.int64
    best: list[Array] = [np.zeros(max(size - at, 0), exact) for at in full]
    place: Array = np.arange(size, dtype=exact)
    count: Array = np.zeros(size + 1, exact)
    for symbol in np.flatnonzero(np.bincount(part)).tolist():
        seen = part == symbol
        np.cumsum(seen, out=count[1:])
        last = np.maximum.accumulate(place * seen)
        for mode, at, length in zip(best, full, lengths, strict=True):
            if len(mode):
                # one that left the window counts nothing, so that its last place never decides
                key: Array = count[at:size] - count[at - length : size - length]
                key *= size
                key += last[at - 1 : size - 1]
                np.maximum(mode, key, out=mode)
    return [part[mode % size] for mode in best]
