"""Secret-key rate of two devices' symbols against an adversary's: Maurer's bounds and what they rest on.

Logarithms are to base 2. A joint distribution has axis 0 for device A, 1 for device B, 2 for the adversary.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import entr

from harness.contracts import Array, Estimate
from harness.estimators.extremes import Interval

__all__ = ["KeyRate", "informations", "key_rate", "public_discussion_rate", "rate_estimate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyRate:
    """What a known source allows, in bits per symbol."""

    i_ab: float
    i_ae: float
    i_be: float
    i_ab_given_e: float

    @property
    def lower(self) -> float:
        """Maurer's lower bound on the secret-key rate; below 0 it guarantees nothing."""
        return self.i_ab - min(self.i_ae, self.i_be)

    @property
    def upper(self) -> float:
        """Maurer's upper bound on the secret-key rate."""
        return min(self.i_ab, self.i_ab_given_e)


def key_rate(joint: Array) -> KeyRate:
    """Mutual informations and Maurer's bounds on the secret-key rate, exact for a known source.

    Parameters
    ----------
    joint : (A, B, E) float
        Probability of each triple of symbols: at least 0, summing to 1.

    Returns
    -------
    KeyRate
        ``lower = I(A;B) - min(I(A;E), I(B;E)) <= S <= min(I(A;B), I(A;B|E)) = upper`` for the secret-key
        rate S of independent repetitions of the triple.

    Raises
    ------
    ValueError
        If it is no distribution over three axes.

    References
    ----------
    Maurer, IEEE Trans. Inf. Theory 39 (1993) 733–742 (pages from memory): both bounds, and the source of
    the example, a satellite's fair bits received with errors.

    Examples
    --------
    A and B receive a fair bit with a tenth of errors, the adversary with a fifth:

    >>> def channel(error):
    ...     return np.array([[1 - error, error], [error, 1 - error]])
    >>> source = np.einsum("ra,rb,re->abe", channel(0.1), channel(0.1), channel(0.2)) / 2
    >>> found = key_rate(source)
    >>> f"{found.i_ab:.6f}, {found.lower:.6f} to {found.upper:.6f}"
    '0.319923, 0.146669 to 0.189631'
    """
    table = np.asarray(joint, float)
    if table.ndim != 3 or table.size == 0:
        raise ValueError(f"`joint` must have axes for A, B and the adversary, got shape {table.shape}")
    total = float(table.sum())
    if not (table.min() >= 0 and abs(total - 1) < 1e-9):
        raise ValueError(
            f"`joint` must hold probabilities that sum to 1, got a least of {table.min():.6g} and a sum of "
            f"{total:.6g}"
        )
    i_ab, i_ae, i_be, i_ab_given_e = informations(table[None])[0].tolist()
    return KeyRate(i_ab=i_ab, i_ae=i_ae, i_be=i_be, i_ab_given_e=i_ab_given_e)


def public_discussion_rate(error: float, adversary_error: float) -> float:
    """Secret-key rate by public discussion over two independent binary symmetric channels from A.

    ``h(ε + δ - 2εδ) - h(ε)``: above 0 for every adversary with errors, also one who hears better than B.

    Parameters
    ----------
    error, adversary_error : float
        Error rate of B's and of the adversary's channel, 0 to 1/2.

    Returns
    -------
    float
        Bits per symbol, exact.

    Raises
    ------
    ValueError
        If an error rate is out of range.

    References
    ----------
    Maurer (1993), as in `key_rate`.

    Examples
    --------
    >>> round(public_discussion_rate(0.1, 0.2), 10)
    0.3577507789
    """
    for name, rate in (("error", error), ("adversary_error", adversary_error)):
        if not 0 <= rate <= 0.5:
            raise ValueError(f"`{name}` must lie in 0..1/2, got {rate}")
    both = error + adversary_error - 2 * error * adversary_error
    return _binary_entropy(both) - _binary_entropy(error)


def _binary_entropy(p: float) -> float:
    return float(entr(p) + entr(1 - p)) / float(np.log(2))


def informations(tables: Array) -> Array:
    """I(A;B), I(A;E), I(B;E) and I(A;B|E), as if counts were the truth.

    Parameters
    ----------
    tables : (..., A, B, E) float
        Counts or probabilities, at least 0, not all 0.

    Returns
    -------
    (..., 4) float
        Bits.
    """
    share = tables / tables.sum(axis=(-3, -2, -1), keepdims=True)

    def entropy(*summed: int) -> Array:
        left = share.sum(axis=summed) if summed else share
        return np.asarray(entr(left).reshape(*share.shape[:-3], -1).sum(axis=-1) / np.log(2))

    a, b, e = entropy(-2, -1), entropy(-3, -1), entropy(-3, -2)
    ab, ae, be, abe = entropy(-1), entropy(-2), entropy(-3), entropy()
    found = np.stack([a + b - ab, a + e - ae, b + e - be, ae + be - e - abe], axis=-1)
    # an information is never negative; sums in floating point may be, by rounding
    return np.where(found < 1e-12, 0.0, found)


def rate_estimate(
    found: Interval, *, side: str, method: str, level: float, subjects: int, attempts: int
) -> Estimate:
    """A counted mean over people, in bits per symbol."""
    value, low, high = found
    return Estimate(
        value=value,
        low=low,
        high=high,
        level=level,
        unit="bit/symbol",
        side=side,
        evidence="counted",
        subjects=subjects,
        attempts=attempts,
        method=method,
    )
