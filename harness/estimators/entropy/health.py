"""Cutoffs of the tests that run along with a source and raise an alarm when it fails."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.stats import binom

__all__ = ["ALPHA", "Cutoffs", "adaptive_proportion_cutoff", "cutoffs", "repetition_count_cutoff"]

ALPHA = 2.0**-20
"""The chance of a false alarm that the standard recommends: for each repetition, and for each window."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutoffs:
    """Where each health test of one source raises its alarm."""

    entropy: float  # bits a symbol, as assessed
    repetition_count: int
    window: int
    adaptive_proportion: int | None  # None: more than the window holds, so that the test could never alarm


def cutoffs(entropy: float, *, binary: bool, alpha: float = ALPHA) -> Cutoffs:
    """Both cutoffs, with the standard's window: 1024 for bits, 512 for wider symbols.

    Raises
    ------
    ValueError
        As `repetition_count_cutoff`.
    """
    window = 1024 if binary else 512
    proportion = adaptive_proportion_cutoff(entropy, window=window, alpha=alpha)
    return Cutoffs(
        entropy=entropy,
        repetition_count=repetition_count_cutoff(entropy, alpha=alpha),
        window=window,
        adaptive_proportion=proportion if proportion <= window else None,
    )


def repetition_count_cutoff(entropy: float, *, alpha: float = ALPHA) -> int:
    """How many equal symbols in a row raise an alarm.

    Parameters
    ----------
    entropy : float
        Bits of min-entropy a symbol; a higher one than the source has raises false alarms.
    alpha : float
        Chance of a false alarm at most.

    Raises
    ------
    ValueError
        If `entropy` is not above 0 (then no repetition is surprising) or `alpha` not between 0 and 1.

    References
    ----------
    NIST SP 800-90B (2018) §4.4.1.

    Examples
    --------
    >>> repetition_count_cutoff(2.0)
    11
    """
    _check(entropy, alpha)
    return 1 + math.ceil(-math.log2(alpha) / entropy)


def adaptive_proportion_cutoff(entropy: float, *, window: int, alpha: float = ALPHA) -> int:
    """How often the first symbol of a window must be in it to raise an alarm.

    Parameters
    ----------
    entropy : float
        As `repetition_count_cutoff`.
    window : int
        Symbols of a window; the standard has 1024 for bits and 512 else.
    alpha : float

    Returns
    -------
    int
        One more than the critical value of the binomial distribution; above `window` where the test could
        never raise an alarm.

    Raises
    ------
    ValueError
        As `repetition_count_cutoff`, or if `window` is less than 1.

    References
    ----------
    NIST SP 800-90B (2018) §4.4.2.

    Examples
    --------
    >>> adaptive_proportion_cutoff(1.0, window=1024)
    589
    """
    _check(entropy, alpha)
    if window < 1:
        raise ValueError(f"`window` must be at least 1, got {window}")
    return 1 + int(binom.ppf(1 - alpha, window, 2.0**-entropy))


def _check(entropy: float, alpha: float) -> None:
    if not (entropy > 0 and math.isfinite(entropy)):
        raise ValueError(f"`entropy` must be above 0 for a cutoff to exist, got {entropy:g}")
    if not 0 < alpha < 1:
        raise ValueError(f"`alpha` must lie strictly between 0 and 1, got {alpha:g}")
