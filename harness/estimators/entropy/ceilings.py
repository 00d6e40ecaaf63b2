"""How much the estimators can say of a sequence of some length, however good its source is."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache, partial

from harness.estimators.entropy.collision import collision_ceiling
from harness.estimators.entropy.compression import compression_ceiling
from harness.estimators.entropy.sequences import upper_share
from harness.estimators.entropy.stretch_ceilings import (
    longest_repeated_substring_ceiling,
    t_tuple_ceiling,
)

__all__ = ["ceiling", "most_of_any"]


@lru_cache(maxsize=256)  # people often have equally many symbols
def ceiling(method: str, n: int, kinds: int, *, likeliest: float = 0.0) -> float | None:
    """What an estimator says, with the standard's parameters, of a typical sequence from a perfect source.

    Parameters
    ----------
    method : str
        Slug of one of the ten estimators.
    n : int
        Symbols.
    kinds : int
        In the alphabet, all alike and independent.
    likeliest : float
        The share of the likeliest symbol even so, if that is more than one of the kinds: of bits in which
        an alphabet is written that does not fill them.

    Returns
    -------
    float or None
        Bits per symbol; None if so few symbols leave the estimator without an answer.

    Notes
    -----
    A sequence may come out a little above by chance, or by being more even than chance. Two figures hold
    for every sequence: no most common value is rarer than one of the kinds, and the Markov estimate ends
    at one bit. Of the others the statistic is put where a perfect source has it on average (collision,
    compression, predictors) or at its median, with counts of stretches as if they were independent
    (t-tuple, longest repeated substring); the standard's confidence limit then does the rest.

    Examples
    --------
    >>> round(ceiling("most-common-value", 1000, 2), 3)
    0.887
    """
    found = _CEILINGS[method](n, kinds)
    if found is None or method not in _BY_SHARE:
        return found
    return min(found, -math.log2(upper_share(max(likeliest, 1 / kinds), n)) + 0.0)


def most_of_any(n: int, kinds: int) -> float:
    """What the assessment of any n symbols comes to at most: the most common value bounds it.

    Parameters
    ----------
    n : int
        At least 2.
    kinds : int
    """
    return -math.log2(upper_share(math.ceil(n / kinds) / n, n)) + 0.0


def _most_common(n: int, kinds: int) -> float | None:
    return most_of_any(n, kinds) if n >= 2 else None


def _predictor(n: int, kinds: int, *, before: int) -> float | None:
    predictions = n - before
    if predictions < 2:
        return None
    return -math.log2(upper_share(1 / kinds, predictions)) + 0.0


_BY_SHARE = frozenset({"most-common-value", "multi-most-common-in-window", "lag", "multi-markov", "lz78y"})
_CEILINGS: dict[str, Callable[[int, int], float | None]] = {
    "most-common-value": _most_common,
    "collision": lambda n, _: collision_ceiling(n),
    "markov": lambda n, _: 1.0 if n >= 3 else None,
    "compression": lambda n, _: compression_ceiling(n),
    "t-tuple": t_tuple_ceiling,
    "longest-repeated-substring": longest_repeated_substring_ceiling,
    "multi-most-common-in-window": partial(_predictor, before=63),
    "lag": partial(_predictor, before=1),
    "multi-markov": partial(_predictor, before=2),
    "lz78y": partial(_predictor, before=17),
}
