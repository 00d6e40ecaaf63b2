"""How many guesses an adversary needs for given odds."""

from __future__ import annotations

import math
from collections.abc import Callable

from harness.contracts import Array, Estimate

__all__ = ["guesses_for_odds"]

_LARGEST = 1000  # log2 of the largest budget that ranks, being floats, can be compared with
_STEPS = 14  # halvings: a hundredth of a bit on a key of 128


def guesses_for_odds(
    odds: Callable[[int], tuple[Array, Array]],
    rate: Callable[[Array, Array], Estimate],
    *,
    target: float,
    key_bits: int,
    method: str,
) -> Estimate | None:
    """log2 of the smallest budget at which the odds reach a target.

    Parameters
    ----------
    odds : callable
        Budget to the chance of success of each attempt, lower and upper; both grow with the budget.
    rate : callable
        Chances to an Estimate of their rate, as `proportion.clustered_rate`.
    target : float
        Odds to reach, between 0 and 1.
    key_bits : int
        Budgets are searched up to twice the number of all keys, and up to 2**1000 at most.
    method : str
        Passed on.

    Returns
    -------
    Estimate or None
        Unit "log2", side "attacker-at-least": an adversary gets there with at most this many guesses.
        Its lower end is where the upper limit of the odds reaches the target, NaN where even all keys
        do not; its upper end is where the lower limit does. None if the odds never reach the target.
    """
    most = min(key_bits + 1, _LARGEST)
    at_first, at_last = rate(*odds(1)), rate(*odds(2**most))
    if at_last.value < target:
        return None

    def smallest(reached: Callable[[Estimate], bool]) -> float:
        if reached(at_first):
            return 0.0
        if not reached(at_last):
            return math.nan
        low, high = 0.0, float(most)
        for _ in range(_STEPS):
            middle = (low + high) / 2
            if reached(rate(*odds(_budget(middle)))):
                high = middle
            else:
                low = middle
        return min(high, float(key_bits))

    return Estimate(
        value=smallest(lambda e: e.value >= target),
        low=smallest(lambda e: e.high >= target),
        high=smallest(lambda e: e.low >= target),
        level=at_first.level,
        unit="log2",
        side="attacker-at-least",
        evidence=at_first.evidence,
        subjects=at_first.subjects,
        attempts=at_first.attempts,
        method=method,
    )


def _budget(bits: float) -> int:
    """2**bits rounded down to a whole number of guesses, where a float would overflow too."""
    whole = max(int(bits) - 52, 0)
    return int(2.0 ** (bits - whole)) << whole
