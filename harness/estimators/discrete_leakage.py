"""What a discrete view tells about a secret bit: estimate, upper limit, and what could have been seen."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np
from scipy.optimize import brentq
from scipy.stats import binom

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.proportion import clopper_pearson

__all__ = [
    "channel_information",
    "detectable_information",
    "information_limit",
    "min_entropy_leakage",
    "plug_in_information",
    "symmetric_information_limit",
]


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
        Bits; at least the gain of the best single guess, which Shannon's measure can hide.

    Examples
    --------
    >>> round(8 * min_entropy_leakage(np.array([[0.9, 0.1], [0.1, 0.9]]), np.array([0.5, 0.5])), 2)
    6.78
    """
    joint = _joint(channel, prior)
    return max(0.0, math.log2(float(joint.max(axis=0).sum()) / float(np.max(prior))))


def _joint(channel: Array, prior: Array) -> Array:
    rows = np.asarray(channel, float)
    share = np.asarray(prior, float)
    if rows.ndim != 2 or share.shape != rows.shape[:1]:
        raise ValueError(f"`channel` must have a row for each of {share.size} secrets, got {rows.shape}")
    for name, p in (("channel", rows), ("prior", share)):
        if not (p >= 0).all() or not np.allclose(p.sum(axis=-1), 1, atol=1e-9):
            raise ValueError(f"`{name}` must hold probabilities that sum to 1, got sums {p.sum(axis=-1)}")
    return np.asarray(share[:, None] * rows)


def plug_in_information(counts: Array) -> float:
    """Mutual information of counts, less what chance adds to it (Miller and Madow).

    Parameters
    ----------
    counts : (secrets, views) int

    Returns
    -------
    float
        Bits, raw: it may fall below 0 where nothing leaks.

    Raises
    ------
    InsufficientData
        If there is no count.

    References
    ----------
    Miller, in Information Theory in Psychology (1955) 95–100 (from memory).
    """
    table = _counts(counts)
    n = float(table.sum())
    channel = table / np.maximum(table.sum(axis=1, keepdims=True), 1)
    kept = table.sum(axis=1) > 0
    raw = channel_information(channel[kept], table.sum(axis=1)[kept] / n)
    cells, rows, columns = (table > 0).sum(), kept.sum(), (table.sum(axis=0) > 0).sum()
    return raw - (int(cells) - int(rows) - int(columns) + 1) / (2 * n * math.log(2))


def information_limit(
    counts: Array,
    *,
    prior: tuple[float, float] = (0.5, 0.5),
    level: float = 0.95,
    measure: Callable[[Array, Array], float] = channel_information,
) -> Estimate:
    """Upper limit of what a binary view tells about a secret bit, whatever the channel between them.

    Parameters
    ----------
    counts : (2, 2) int
        Attempts by secret (row) and view (column); attempts independent of one another.
    prior : pair of float
        Of the secret, known by design.
    level : float
        One-sided.
    measure : callable
        `channel_information`, or `min_entropy_leakage`.

    Returns
    -------
    Estimate
        Unit "bit", side "attacker-at-most", low open: from Clopper–Pearson boxes at the square root of the
        level for either secret; both measures are convex in the channel, so that one corner holds the most.

    Raises
    ------
    InsufficientData
        If a secret never occurred.
    ValueError
        If the view is not binary: no limit of this kind is offered for more values.
    """
    table = _counts(counts)
    if table.shape != (2, 2):
        raise ValueError(f"`counts` must be of a secret bit and a binary view, (2, 2), got {table.shape}")
    trials = table.sum(axis=1)
    if (trials == 0).any():
        raise InsufficientData(f"both values of the secret must have occurred, got {trials.tolist()} times")
    share = math.sqrt(level)
    boxes = [clopper_pearson(float(table[k, 1]), float(trials[k]), level=share) for k in (0, 1)]
    weights = np.array(prior, float)

    def at(ones: tuple[float, ...]) -> float:
        p = np.array(ones)
        return measure(np.stack([1 - p, p], axis=1), weights)

    return Estimate(
        value=at(tuple(table[:, 1] / trials)),
        low=math.nan,
        high=max(at(corner) for corner in itertools.product(*boxes)),
        level=level,
        unit="bit",
        side="attacker-at-most",
        evidence="counted",
        subjects=1,
        attempts=int(table.sum()),
        method="clopper-pearson-boxes",
    )


def symmetric_information_limit(wrong: int, trials: int, *, level: float = 0.95) -> Estimate:
    """Upper limit of what a view tells about a bit, **if** it errs as often on ones as on zeros.

    Half as wide as `information_limit`, and worthless where the channel is not symmetric: on a Z-channel it
    never covered. So it may be shown only beside the claim of symmetry.

    Parameters
    ----------
    wrong, trials : int
    level : float
        One-sided.

    Returns
    -------
    Estimate
        As `information_limit`.
    """
    low, high = clopper_pearson(float(wrong), float(trials), level=2 * level - 1)
    furthest = low if abs(low - 0.5) >= abs(high - 0.5) else high
    return Estimate(
        value=_binary(wrong / trials),
        low=math.nan,
        high=_binary(furthest),
        level=level,
        unit="bit",
        side="attacker-at-most",
        evidence="counted",
        subjects=1,
        attempts=trials,
        method="symmetric-channel",
    )


def detectable_information(trials: int, *, power: float = 0.8, level: float = 0.05) -> float:
    """The least a symmetric binary view must tell to be seen in so many independent attempts.

    Parameters
    ----------
    trials : int
    power : float
        Chance of seeing it.
    level : float
        Of the one-sided exact test of agreement against coin flips.

    Returns
    -------
    float
        Bits. What is not seen may still be there up to this: an undetected .02 bit a bit hides more than
        two bits of a key of 128.

    Raises
    ------
    InsufficientData
        If not even full agreement would be significant.

    Examples
    --------
    >>> round(detectable_information(1000), 4)
    0.0046
    """
    needed = int(binom.isf(level, trials, 0.5)) + 1
    if binom.sf(needed - 1, trials, 0.5) > level or needed > trials:
        raise InsufficientData(f"{trials} attempts cannot show any leak at the level {level:g}")
    share = brentq(lambda p: float(binom.sf(needed - 1, trials, p)) - power, 0.5, 1 - 1e-12)
    return _binary(float(share))


def _binary(p: float) -> float:
    """Capacity of a binary symmetric channel."""
    return channel_information(np.array([[1 - p, p], [p, 1 - p]]), np.array([0.5, 0.5]))


def _counts(counts: Array) -> Array:
    table = np.asarray(counts)
    if table.dtype.kind not in "iu" or table.ndim != 2 or (table < 0).any():
        raise ValueError(f"`counts` must be whole numbers of at least 0, by secret and view, got {table!r}")
    if table.sum() == 0:
        raise InsufficientData("information needs at least one attempt, got none")
    return table
