"""All channels that counts allow at a level, and the most that any of them tells."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.proportion import clopper_pearson

__all__ = ["corners", "most_information", "region", "shannon"]

_MOST_CORNERS = 2**14


def region(table: Array, level: float) -> tuple[Array, Array]:
    """(secrets, views) lower and upper ends of every cell of the channel, all at once at the level."""
    if not 0 < level < 1:
        raise ValueError(f"`level` must lie strictly between 0 and 1, got {level}")
    secrets, views = table.shape
    trials = table.sum(axis=1)
    if (trials == 0).any():
        raise InsufficientData(f"every secret must have occurred, got {trials.tolist()} times")
    share = level ** (1 / secrets)
    own = share if views == 2 else 1 - (1 - share) / views  # two views are one rate
    ends = [
        [clopper_pearson(float(c), float(n), level=own) for c in row]
        for row, n in zip(table, trials, strict=True)
    ]
    return np.array(ends)[:, :, 0], np.array(ends)[:, :, 1]


def corners(low: Array, high: Array) -> Array:
    """(corners, views): the extreme distributions between `low` and `high`; one takes what is left."""
    views = len(low)
    if views == 1:
        return np.ones((1, 1))
    ends = np.array(list(itertools.product((False, True), repeat=views - 1)))
    found = []
    for free in range(views):
        others = np.delete(np.arange(views), free)
        p = np.empty((len(ends), views))
        p[:, others] = np.where(ends, high[others], low[others])
        p[:, free] = 1 - p[:, others].sum(axis=1)
        fits = (p[:, free] >= low[free] - 1e-12) & (p[:, free] <= high[free] + 1e-12)
        found.append(np.maximum(p[fits], 0))
    return np.concatenate(found)


def most_information(rows: Sequence[Array], weights: Array) -> float:
    """At least the information of every channel whose rows lie between the corners."""
    if math.prod(len(c) for c in rows) <= _MOST_CORNERS:
        index = np.stack(np.meshgrid(*(np.arange(len(c)) for c in rows), indexing="ij")).reshape(
            len(rows), -1
        )
        taken = np.stack([c[i] for c, i in zip(rows, index, strict=True)])  # (secrets, channels, views)
        mixed = np.einsum("k,kcv->cv", weights, taken)
        kept = np.einsum("k,kc->c", weights, shannon(taken))
        return float((shannon(mixed) - kept).max())
    # divergence from any mixture is at least the information; the second one sits where the first was worst
    mixture = np.einsum("k,kv->v", weights, np.stack([c.mean(axis=0) for c in rows]))
    limits = []
    for _ in range(3):
        far = [_divergence(c, mixture) for c in rows]
        limits.append(sum(float(w * f.max()) for w, f in zip(weights, far, strict=True)))
        worst = np.stack([c[f.argmax()] for c, f in zip(rows, far, strict=True)])
        mixture = (mixture + weights @ worst) / 2
    return min(limits)


def _divergence(rows: Array, mixture: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(rows > 0, rows * np.log2(rows / mixture), 0.0)
    return np.asarray(terms.sum(axis=1))


def shannon(p: Array) -> Array:
    """Bits, over the last axis."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(-np.where(p > 0, p * np.log2(p), 0.0).sum(axis=-1))
