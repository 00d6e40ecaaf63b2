"""What the estimators by stretches can say of a sequence of some length from a perfect source."""

from __future__ import annotations

import math

from scipy.stats import poisson

from harness.estimators.entropy.sequences import upper_share

__all__ = ["longest_repeated_substring_ceiling", "t_tuple_ceiling"]


def t_tuple_ceiling(n: int, kinds: int, *, cutoff: int = 35) -> float | None:
    """What the estimate comes to if the most frequent stretches are as frequent as a median says.

    Counts of different stretches are taken to be independent and Poisson, of symbols all alike.

    Returns
    -------
    float or None
        Bits per symbol; None if a median leaves no stretch frequent enough.
    """
    best = 0.0
    for length in range(1, n + 1):
        places = n - length + 1
        most = _median_of_greatest(places, float(kinds) ** length)
        if most < cutoff:
            break
        best = max(best, min(most / places, 1.0) ** (1 / length))
    return -math.log2(upper_share(best, n)) + 0.0 if best else None


def longest_repeated_substring_ceiling(n: int, kinds: int, *, cutoff: int = 35) -> float | None:
    """What the estimate comes to if as many pairs of places agree as a median says.

    Counts are taken to be Poisson, of symbols all alike and independent.

    Returns
    -------
    float or None
        Bits per symbol; None if a median leaves no pair.
    """
    best = 0.0
    for length in range(1, n):
        places = n - length + 1
        if _median_of_greatest(places, float(kinds) ** length) >= cutoff:
            continue
        possible = math.comb(places, 2)
        pairs = float(poisson.median(possible * float(kinds) ** -length))
        if pairs == 0:
            break
        best = max(best, (pairs / possible) ** (1 / length))
    return -math.log2(upper_share(best, n)) + 0.0 if best else None


def _median_of_greatest(places: int, stretches: float) -> float:
    """Of as many independent Poisson counts as there are stretches, `places` in all on average."""
    return float(poisson.isf(-math.expm1(-math.log(2) / stretches), places / stretches))
