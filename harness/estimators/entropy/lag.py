"""Min-entropy against a predictor that repeats what came some symbols before."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from harness.contracts import Array, Estimate
from harness.estimators.entropy.predictions import from_predictions
from harness.estimators.entropy.scoreboard import packed, right_by_the_best
from harness.estimators.entropy.sequences import codes

__all__ = ["lag", "lag_hits"]


def lag(symbols: Array, *, lags: int = 128, attempts: int = 1, subjects: int = 1) -> Estimate:
    """Min-entropy per symbol against the best of predictors that repeat the symbol d places back.

    Parameters
    ----------
    symbols : (n,) int
    lags : int
        Predictors: d from 1 to `lags`. The standard's: 128.
    attempts, subjects : int
        Where the symbols come from; recorded with the estimate.

    Returns
    -------
    Estimate
        Unit "bit/symbol", side "defender-at-most"; see `from_predictions`.

    Raises
    ------
    ValueError
        If symbols are not whole numbers in one dimension, or `lags` is less than 1.
    InsufficientData
        If there are fewer than three.

    Notes
    -----
    Of independent unequal symbols it lies above the truth: repeating one is no match for naming the
    likeliest. Only the least of all estimators is an assessment.

    References
    ----------
    NIST SP 800-90B (2018) §6.3.8.

    Examples
    --------
    >>> round(lag(np.array([2, 1, 3, 2, 1, 3, 1, 3, 1, 2]), lags=3).value, 10)
    0.7349024963
    """
    numbers, kinds = codes(symbols, least=3, needs="the lag estimate")
    return from_predictions(
        "lag", lag_hits(numbers, lags=lags), kinds, attempts=attempts, subjects=subjects
    )


def lag_hits(numbers: Array, *, lags: int = 128) -> Array:
    """Which symbols from the second on are predicted: (n - 1,) bool."""
    if lags < 1:
        raise ValueError(f"`lags` must be at least 1, got {lags}")
    n = len(numbers)

    def hits() -> Iterator[Array]:
        hit = np.zeros(n - 1, bool)
        for d in range(1, min(lags, n - 1) + 1):
            hit[: d - 1] = False
            np.equal(numbers[d:], numbers[:-d], out=hit[d - 1 :])
            yield hit

    return right_by_the_best(packed(hits(), n - 1), n - 1)
