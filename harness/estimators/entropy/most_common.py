"""Min-entropy per symbol by the most common value."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.entropy.sequences import codes, upper_share

__all__ = ["most_common_value", "worst_subject"]


def most_common_value(symbols: Array, *, attempts: int = 1, subjects: int = 1) -> Estimate:
    """Min-entropy per symbol, if symbols were independent and alike.

    Parameters
    ----------
    symbols : (n,) int
    attempts, subjects : int
        Where the symbols come from; recorded with the estimate.

    Returns
    -------
    Estimate
        Unit "bit/symbol", side "defender-at-most": dependence between symbols, which this
        estimator cannot see, only lowers it. Value and low: from the upper 99.5 % limit of the most
        common value, as the standard has it; high: from the observed share.

    Raises
    ------
    ValueError
        If symbols are not whole numbers.
    InsufficientData
        If there are fewer than two symbols.

    References
    ----------
    NIST SP 800-90B (2018) §6.3.1.

    Examples
    --------
    >>> s = np.array([0, 1, 1, 2, 0, 1, 2, 2, 0, 1, 0, 1, 1, 0, 2, 2, 1, 0, 2, 1])
    >>> round(most_common_value(s).value, 10)
    0.5363411235
    """
    n = symbols.size
    if n < 2:
        raise InsufficientData(f"the most common value needs at least two symbols, got {n}")
    numbers, _ = codes(symbols.ravel(), least=2, needs="the most common value")
    share = float(np.bincount(numbers).max()) / n
    value = -float(np.log2(upper_share(share, n))) + 0.0
    return Estimate(
        value=value,
        low=value,
        high=-float(np.log2(share)) + 0.0,
        level=0.99,
        unit="bit/symbol",
        side="defender-at-most",
        evidence="counted",
        subjects=subjects,
        attempts=attempts,
        method="most-common-value",
    )


def worst_subject(symbols: Array, subject: Array) -> tuple[Estimate, int]:
    """The least most-common-value estimate of any one subject, and who that is.

    A pooled figure hides people: half of them at .9 and half at .1 pool to one full bit.

    Parameters
    ----------
    symbols : (attempts, m) int
    subject : (attempts,) int

    Returns
    -------
    Estimate, int
        Method "most-common-value-worst-subject". The worst of many is low by chance too: with few
        symbols a person it says little.

    Raises
    ------
    InsufficientData
        If there is nobody, or a subject has fewer than two symbols.
    """
    if len(symbols) == 0:
        raise InsufficientData("the worst subject needs at least one subject, got none")
    found = [
        (most_common_value(symbols[subject == p], attempts=int((subject == p).sum())), int(p))
        for p in np.unique(subject)
    ]
    worst, who = min(found, key=lambda pair: pair[0].value)
    return (
        Estimate(
            value=worst.value,
            low=worst.low,
            high=worst.high,
            level=worst.level,
            unit=worst.unit,
            side=worst.side,
            evidence=worst.evidence,
            subjects=1,
            attempts=worst.attempts,
            method="most-common-value-worst-subject",
        ),
        who,
    )
