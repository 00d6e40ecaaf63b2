"""What a view of few values tells about a secret of few values: estimates, and limits that hold.

The limits rest on a region that holds the whole channel at the level: exact intervals of every cell. Both
measures are convex in the channel, so that the most of the region is found at corners of it. They count
attempts as independent of one another: with attempts of several people, take one from each.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.leakage.channel import channel_information, symmetric_information
from harness.estimators.leakage.region import corners, most_information, region, shannon
from harness.estimators.proportion import clopper_pearson

__all__ = [
    "information_limit",
    "joint_counts",
    "min_entropy_leakage_limits",
    "plug_in_information",
    "symmetric_information_limit",
]

MOST_VIEWS = 12
_MOST_RULES = 2**12


def joint_counts(secret: Array, view: Array, *, secrets: int, views: int) -> Array:
    """Attempts by secret and view.

    Parameters
    ----------
    secret, view : (attempts,) int
        Values from 0 below `secrets` and `views`; values that never occur are columns of zeros.

    Returns
    -------
    (secrets, views) int

    Raises
    ------
    ValueError
        If lengths differ or a value is no whole number in range.
    """
    if np.shape(secret) != np.shape(view) or np.ndim(secret) != 1:
        shapes = f"{np.shape(secret)} and {np.shape(view)}"
        raise ValueError(f"`secret` and `view` must be one-dimensional and of one length, got {shapes}")
    for name, values, size in (("secret", secret, secrets), ("view", view, views)):
        given = np.asarray(values)
        if given.size and (given.dtype.kind not in "iub" or given.min() < 0 or given.max() >= size):
            found = f"{given.dtype} from {given.min()} to {given.max()}"
            raise ValueError(f"`{name}` must hold whole numbers from 0 to {size - 1}, got {found}")
    cells = np.asarray(secret, np.int64) * views + np.asarray(view, np.int64)
    return np.bincount(cells, minlength=secrets * views).reshape(secrets, views)


def plug_in_information(counts: Array, *, prior: Sequence[float] | None = None) -> float:
    """Mutual information of counts, less what chance adds to it (Miller and Madow).

    Parameters
    ----------
    counts : (secrets, views) int
    prior : sequence of float, optional
        Of the secrets, where the design says it. None: the shares that were seen.

    Returns
    -------
    float
        Bits, raw: it may fall below 0 where nothing leaks.

    Raises
    ------
    InsufficientData
        If there is no count, or a secret of positive prior never occurred.

    References
    ----------
    Miller, in Information Theory in Psychology (1955) 95–100 (from memory).
    """
    table = _counts(counts)
    trials = table.sum(axis=1)
    n = float(trials.sum())
    weights = trials / n if prior is None else _prior(prior, table)
    kept = weights > 0
    if (trials[kept] == 0).any():
        raise InsufficientData(f"every secret must have occurred, got {trials.tolist()} times")
    seen = table[kept]
    raw = channel_information(seen / trials[kept, None], weights[kept])
    cells, rows, columns = (seen > 0).sum(), len(seen), (seen.sum(axis=0) > 0).sum()
    return raw - (int(cells) - rows - int(columns) + 1) / (2 * n * math.log(2))


def information_limit(
    counts: Array, *, prior: Sequence[float] | None = None, level: float = 0.95
) -> Estimate:
    """Mutual information of a view and a secret, and an upper limit whatever the channel between them.

    Parameters
    ----------
    counts : (secrets, views) int
        Attempts by secret (row) and view (column); attempts independent of one another.
    prior : sequence of float, optional
        Of the secrets, known by design. None: all alike.
    level : float
        One-sided.

    Returns
    -------
    Estimate
        Unit "bit", side "attacker-at-most", low open. The value is the plug-in less Miller and Madow's
        correction, within 0 and the limit.

    Raises
    ------
    InsufficientData
        If a secret never occurred.
    ValueError
        If there are more than `MOST_VIEWS` views: values must be merged first, by a rule set beforehand.

    Notes
    -----
    Region: each secret's row of the channel at the level to the power 1 / secrets; within a row of two
    views one Clopper–Pearson interval, of more one for each view, by Bonferroni. Limit: the most over all
    corners, or where these are too many the mean divergence of each row's worst corner from a fixed
    mixture, which is never below it. Measured coverage is .98 to 1: conservative.
    """
    table = _counts(counts)
    if table.shape[1] > MOST_VIEWS:
        raise ValueError(
            f"a limit holds for at most {MOST_VIEWS} values of a view, got {table.shape[1]}: merge some by "
            "a rule that does not look at the secrets"
        )
    weights = _prior([1 / len(table)] * len(table) if prior is None else prior, table)
    rows = [corners(low, high) for low, high in zip(*region(table, level), strict=True)]
    high = min(most_information(rows, weights), float(shannon(weights)))
    return Estimate(
        value=min(max(0.0, plug_in_information(table, prior=weights.tolist())), high),
        low=math.nan,
        high=high,
        level=level,
        unit="bit",
        side="attacker-at-most",
        evidence="counted",
        subjects=int(table.sum()),
        attempts=int(table.sum()),
        method="clopper-pearson-boxes",
    )


def min_entropy_leakage_limits(
    counts: Array, *, prior: Sequence[float] | None = None, level: float = 0.95
) -> Estimate:
    """Min-entropy leakage of a view, with an interval whatever the channel.

    Parameters
    ----------
    counts, prior
        As in `information_limit`, and the same region.
    level : float
        Of both ends at once.

    Returns
    -------
    Estimate
        Unit "bit", side "estimate". The value is the plug-in, which chance makes too high.

    Raises
    ------
    InsufficientData
        If a secret never occurred.
    ValueError
        If there are more than 4096 ways to guess, secrets to the power of views.

    Notes
    -----
    A rule names a secret for each view. The leakage is that of the best rule; so its limits are the best of
    all rules at the worst and at the best channel for each.
    """
    table = _counts(counts)
    secrets, views = table.shape
    if secrets**views > _MOST_RULES:
        raise ValueError(
            f"there are {secrets}^{views} ways to guess, more than {_MOST_RULES}: merge values of the view "
            "by a rule that does not look at the secrets"
        )
    weights = _prior([1 / secrets] * secrets if prior is None else prior, table)
    low, high = region(table, level)
    least = most = 0.0
    for rule in itertools.product(range(secrets), repeat=views):
        named = np.arange(secrets)[:, None] == np.array(rule)
        within, without = np.where(named, low, 0).sum(axis=1), np.where(named, 0, high).sum(axis=1)
        least = max(least, float(weights @ np.maximum(within, 1 - without)))
        within, without = np.where(named, high, 0).sum(axis=1), np.where(named, 0, low).sum(axis=1)
        most = max(most, float(weights @ np.minimum(within, 1 - without)))
    blind = float(weights.max())
    found = float((weights[:, None] * table / table.sum(axis=1, keepdims=True)).max(axis=0).sum())
    value, below, above = (max(0.0, math.log2(chance / blind)) for chance in (found, least, most))
    return Estimate(
        value=value,
        low=min(below, value),
        high=max(above, value),
        level=level,
        unit="bit",
        side="estimate",
        evidence="counted",
        subjects=int(table.sum()),
        attempts=int(table.sum()),
        method="clopper-pearson-boxes",
    )


def symmetric_information_limit(counts: Array, *, claim: str, level: float = 0.95) -> Estimate:
    """Upper limit of what a view tells about a fair bit, **if** it errs as often on ones as on zeros.

    Half as wide as `information_limit`, and worthless where the channel is not symmetric: on a Z-channel it
    never covered. So it must be claimed, and is refused where the counts speak against it.

    Parameters
    ----------
    counts : (2, 2) int
        As in `information_limit`.
    claim : str
        Who says that errors are symmetric, and why; shown beside the figure.
    level : float
        One-sided.

    Returns
    -------
    Estimate
        As `information_limit`, method "symmetric-channel-claimed".

    Raises
    ------
    ValueError
        If nothing is claimed, counts are not (2, 2), or the two rates of error differ (.99
        boxes apart).
    InsufficientData
        If a secret never occurred.
    """
    if not claim.strip():
        raise ValueError("`claim` must say who holds errors to be symmetric and why, got nothing")
    table = _counts(counts)
    if table.shape != (2, 2):
        raise ValueError(f"`counts` must be of a secret bit and a binary view, (2, 2), got {table.shape}")
    low, high = region(table, 0.99)
    ones, zeros = (low[0, 1], high[0, 1]), (low[1, 0], high[1, 0])
    if ones[0] > zeros[1] or zeros[0] > ones[1]:
        raise ValueError(
            f"errors are not symmetric: a zero is read as a one in {ones[0]:.3g} to {ones[1]:.3g} of "
            f"attempts, a one as a zero in {zeros[0]:.3g} to {zeros[1]:.3g}; use the limit for any channel"
        )
    trials, wrong = int(table.sum()), int(table[0, 1] + table[1, 0])
    ends = clopper_pearson(float(wrong), float(trials), level=2 * level - 1)
    limit = max(map(symmetric_information, ends))
    value = symmetric_information(wrong / trials) - 1 / (2 * trials * math.log(2))
    return Estimate(
        value=min(max(0.0, value), limit),
        low=math.nan,
        high=limit,
        level=level,
        unit="bit",
        side="attacker-at-most",
        evidence="counted",
        subjects=trials,
        attempts=trials,
        method="symmetric-channel-claimed",
    )


def _prior(prior: Sequence[float], table: Array) -> Array:
    weights = np.asarray(prior, float)
    if weights.shape != (len(table),) or not (weights >= 0).all() or abs(weights.sum() - 1) > 1e-9:
        raise ValueError(
            f"`prior` must be probabilities of {len(table)} secrets that sum to 1, got {weights.tolist()}"
        )
    return weights


def _counts(counts: Array) -> Array:
    table = np.asarray(counts)
    if table.dtype.kind not in "iu" or table.ndim != 2 or (table < 0).any():
        raise ValueError(f"`counts` must be whole numbers of at least 0, by secret and view, got {table!r}")
    if table.sum() == 0:
        raise InsufficientData("information needs at least one attempt, got none")
    return table.astype(np.int64)
