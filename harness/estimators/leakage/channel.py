"""Information of channels that are known: nothing here is estimated."""

from __future__ import annotations

import math

import numpy as np

from harness.contracts import Array

__all__ = [
    "channel_information",
    "gaussian_shift_information",
    "min_entropy_leakage",
    "symmetric_information",
]

_NODES = 200


def channel_information(channel: Array, prior: Array) -> float:
    """Mutual information between a secret and a view.

    Parameters
    ----------
    channel : (secrets, views) float
        P(view | secret); rows sum to 1.
    prior : (secrets,) float

    Returns
    -------
    float
        Bits.

    Raises
    ------
    ValueError
        If probabilities are out of range or do not sum to 1.

    Examples
    --------
    >>> round(channel_information(np.array([[0.9, 0.1], [0.1, 0.9]]), np.array([0.5, 0.5])), 6)
    0.531004
    """
    joint = _joint(channel, prior)
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    seen = joint > 0
    return max(0.0, float((joint[seen] * np.log2(joint[seen] / apart[seen])).sum()))


def min_entropy_leakage(channel: Array, prior: Array) -> float:
    """How many bits of min-entropy a view costs a secret: log2 of the factor by which one guess gains.

    Parameters
    ----------
    channel, prior
        As in `channel_information`.

    Returns
    -------
    float
        Bits: log2 of the sum over views of the likeliest joint probability, less log2 of the likeliest
        secret's. It is the gain of the best single guess, which Shannon's measure can hide.

    References
    ----------
    Smith, On the foundations of quantitative information flow, FOSSACS 2009 (from memory).

    Examples
    --------
    >>> round(8 * min_entropy_leakage(np.array([[0.9, 0.1], [0.1, 0.9]]), np.array([0.5, 0.5])), 2)
    6.78
    """
    joint = _joint(channel, prior)
    return max(0.0, math.log2(float(joint.max(axis=0).sum()) / float(np.max(prior))))


def symmetric_information(agreement: float) -> float:
    """What a view that equals a fair bit with probability `agreement`, whichever the bit, tells of it."""
    p = agreement
    return channel_information(np.array([[p, 1 - p], [1 - p, p]]), np.array([0.5, 0.5]))


def gaussian_shift_information(shift: float) -> float:
    """What a Gaussian reading tells about a fair bit that shifts its mean.

    Parameters
    ----------
    shift : float
        Difference of the two means, in standard deviations.

    Returns
    -------
    float
        Bits. By Gauss–Hermite quadrature of the mean log-score of the right posterior.

    Examples
    --------
    >>> round(gaussian_shift_information(2.0), 4)
    0.4859
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    log_odds = shift * (nodes + shift / 2)
    surprise = np.logaddexp(0, -log_odds) / math.log(2)
    return max(0.0, 1 - float(weights @ surprise) / math.sqrt(2 * math.pi))


def _joint(channel: Array, prior: Array) -> Array:
    rows = np.asarray(channel, float)
    share = np.asarray(prior, float)
    if rows.ndim != 2 or share.shape != rows.shape[:1]:
        raise ValueError(f"`channel` must have a row for each of {share.size} secrets, got {rows.shape}")
    for name, p in (("channel", rows), ("prior", share)):
        if not (p >= 0).all() or not np.allclose(p.sum(axis=-1), 1, atol=1e-9):
            raise ValueError(f"`{name}` must hold probabilities that sum to 1, got sums {p.sum(axis=-1)}")
    return np.asarray(share[:, None] * rows)
