"""What the share of right predictions, and their longest run, say about min-entropy."""

from __future__ import annotations

import math

import numpy as np

from harness.contracts import Array, Estimate
from harness.estimators.entropy.sequences import as_estimate, upper_share

__all__ = ["from_predictions", "global_limit", "local_limit", "longest_run"]

_LOG_99 = math.log(0.99)


def from_predictions(method: str, right: Array, kinds: int, *, attempts: int, subjects: int) -> Estimate:
    """Min-entropy per symbol of a sequence that a predictor was set on.

    Parameters
    ----------
    method : str
        Slug of the predictor.
    right : (predictions,) bool
    kinds : int
        Different symbols; nobody predicts worse than one of them at random.
    attempts, subjects : int
        Where the symbols come from.

    Returns
    -------
    Estimate
        Value and low: from the largest of the global limit, the local one and 1 / kinds.

    References
    ----------
    NIST SP 800-90B (2018) §6.3.7, steps 4 to 7 (numbers from memory); the other predictors end alike.
    """
    n, hits = len(right), int(right.sum())
    probability = max(global_limit(hits, n), local_limit(longest_run(right), n), 1 / kinds)
    return as_estimate(method, probability, attempts=attempts, subjects=subjects)


def global_limit(hits: int, n: int) -> float:
    """Upper 99 % limit of the share of right predictions."""
    if hits == 0:
        return -math.expm1(math.log(0.01) / n)
    return upper_share(hits / n, n)


def longest_run(right: Array) -> int:
    """Length of the longest run of True.

    Examples
    --------
    >>> longest_run(np.array([True, False, True, True]))
    2
    """
    wrong = np.flatnonzero(~right)
    return int(np.diff(np.r_[-1, wrong, len(right)]).max()) - 1


def local_limit(longest: int, n: int) -> float:
    """The share of right predictions at which a run longer than the longest seen has a chance of 1 %.

    Parameters
    ----------
    longest : int
        Length of the longest run of right predictions among n.
    n : int

    Notes
    -----
    The chance is Feller's approximation, with the standard's ten steps towards its root. One step less or
    more would change the answer where the longest run is most of the predictions; ten are kept.
    """
    run = longest + 1
    if run > n:
        return 1.0
    low, high = 0.0, 1.0
    while True:
        middle = (low + high) / 2
        if middle in (low, high):
            return middle
        if _log_chance_of_none(middle, run, n) > _LOG_99:
            low = middle
        else:
            high = middle


def _log_chance_of_none(p: float, run: int, n: int) -> float:
    """Log chance that n predictions, right with probability p each, hold no run of this length."""
    q = 1 - p
    first = math.log(q) + run * math.log(p)
    x = 1.0
    for _ in range(10):
        x = 1 + math.exp(min(first + (run + 1) * math.log(x), 700.0))
    above, below = 1 - p * x, (run + 1 - run * x) * q
    if above <= 0 or below <= 0:
        return -math.inf
    return math.log(above) - math.log(below) - (n + 1) * math.log(x)
