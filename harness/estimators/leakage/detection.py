"""What a test could have seen in so many attempts, had it been there."""

from __future__ import annotations

from scipy.optimize import brentq
from scipy.stats import binom

from harness.errors import InsufficientData
from harness.estimators.leakage.channel import symmetric_information

__all__ = ["detectable_information"]


def detectable_information(trials: int, *, power: float = 0.8, level: float = 0.05) -> float:
    """The least a symmetric binary view must tell to be seen in so many independent attempts.

    Parameters
    ----------
    trials : int
    power : float
        Chance of seeing it.
    level : float
        Of the one-sided exact test of agreement against coin flips. Where many bits are tested and the
        greatest counts, the level that is left for one of them.

    Returns
    -------
    float
        Bits. What is not seen may still be there up to this: an undetected .02 bit a bit hides more than
        two bits of a key of 128.

    Raises
    ------
    InsufficientData
        If not even full agreement would be significant.
    ValueError
        If power or level is no probability, or the level is not below the power.

    Examples
    --------
    >>> round(detectable_information(1000), 4)
    0.0046
    """
    if not 0 < level < power < 1:
        raise ValueError(f"`level` and `power` must satisfy 0 < level < power < 1, got {level} and {power}")
    needed = int(binom.isf(level, max(trials, 0), 0.5)) + 1 if trials > 0 else 1
    if needed > trials:
        raise InsufficientData(f"{trials} attempts cannot show any leak at the level {level:g}")
    share = brentq(lambda p: float(binom.sf(needed - 1, trials, p)) - power, 0.5, 1 - 1e-12)
    return symmetric_information(float(share))
