"""Logistic regression of many secrets on one view, all at once.

Newton's method on every label in step: the products of features are formed once, so that the curvature of
all labels is one matrix product.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from harness.contracts import Array

__all__ = ["Logistic", "fit_logistic"]

_STEPS = 50
_ALL_AT_ONCE = 6  # from so many labels on one product of paired features beats a product for each
_CLOSE = 1e-6  # nats an attempt
_MOST_PAIRS = 2000  # above, paired features would take more memory than they save time


@dataclass(frozen=True, slots=True, kw_only=True)
class Logistic:
    """Fitted weights; features are scaled as the training view was."""

    centre: Array  # (features,)
    scale: Array  # (features,)
    weights: Array  # (1 + features, labels); the first is the intercept

    def log_odds(self, view: Array) -> Array:
        """(rows, labels) natural log-odds of a 1."""
        return np.asarray(self.weights[0] + ((view - self.centre) / self.scale) @ self.weights[1:])


def fit_logistic(view: Array, labels: Array, *, penalty: float = 1.0) -> Logistic:
    """Weights that minimise the log loss of every label plus half of `penalty` times their squares.

    Parameters
    ----------
    view : (rows, features) float
        Finite. Features are scaled to unit variance; one that never changes counts for nothing.
    labels : (rows, labels) of 0 and 1
    penalty : float
        Above 0, so that a repeated feature or a label that the view separates has a solution all the same.
        The intercept goes free of it.

    Returns
    -------
    Logistic

    Raises
    ------
    ValueError
        If shapes differ, a value is not finite, a label is not 0 or 1, or the penalty is not positive.

    Examples
    --------
    >>> view = np.array([[0.0], [1.0], [0.2], [0.9], [0.1], [1.1]])
    >>> told = fit_logistic(view, (view > 0.5).astype(int)).log_odds(view)
    >>> bool(((told > 0) == (view > 0.5)).all())
    True
    """
    x, y = np.asarray(view, float), np.asarray(labels)
    if x.ndim != 2 or y.ndim != 2 or len(x) != len(y) or not len(x):
        raise ValueError(f"`view` and `labels` must be tables of one length, got {x.shape} and {y.shape}")
    if not np.isfinite(x).all():
        raise ValueError(f"`view` must be finite, got {int((~np.isfinite(x)).sum())} values that are not")
    if not ((y == 0) | (y == 1)).all():
        raise ValueError("`labels` must be 0 or 1 throughout")
    if not penalty > 0:
        raise ValueError(f"`penalty` must be positive, got {penalty}")
    centre, scale = x.mean(axis=0), x.std(axis=0)
    scale = np.where(scale > 1e-12 * (1 + np.abs(centre)), scale, 1.0)
    design = np.column_stack([np.ones(len(x)), (x - centre) / scale])
    return Logistic(centre=centre, scale=scale, weights=_newton(design, y.astype(float), penalty))


def _newton(design: Array, y: Array, penalty: float) -> Array:
    rows, width = design.shape
    ridge = np.full(width, penalty)
    ridge[0] = 1e-9  # a label that is always the same would send the intercept to infinity
    rate = np.clip(y.mean(axis=0), 0.5 / rows, 1 - 0.5 / rows)
    weights = np.zeros((width, y.shape[1]))
    weights[0] = np.log(rate / (1 - rate))
    sign = 2 * y - 1
    curvature = _Curvature(design, y.shape[1])
    right = expit(sign * (design @ weights))  # probability of what was
    loss = _loss(right, weights, ridge)
    for _ in range(_STEPS):
        slope = design.T @ (sign * (1 - right)) - ridge[:, None] * weights
        bent = curvature(right * (1 - right))
        bent[:, np.arange(width), np.arange(width)] += ridge
        step = np.linalg.solve(bent, slope.T[:, :, None])[:, :, 0].T
        gain = float((slope * step).sum(axis=0).max())
        size = np.ones(y.shape[1])
        while True:  # a full step may overshoot where the view nearly separates a label
            moved = weights + size * step
            right = expit(sign * (design @ moved))
            after = _loss(right, moved, ridge)
            worse = after > loss + 1e-9 * np.abs(loss)
            if not worse.any():
                break
            size = np.where(worse, size / 2, size)
        weights, loss = moved, after
        if gain < _CLOSE * rows:  # the next step would gain about the square of it
            break
    return weights


def _loss(right: Array, weights: Array, ridge: Array) -> Array:
    return np.asarray(ridge @ weights**2 / 2 - np.log(np.maximum(right, 1e-300)).sum(axis=0))


class _Curvature:
    """(labels, width, width) second derivatives of the log loss, for weights (rows, labels) of the rows."""

    def __init__(self, design: Array, labels: int) -> None:
        self.design, self.width = design, design.shape[1]
        self.row, self.column = np.triu_indices(self.width)
        self.paired = None
        if labels >= _ALL_AT_ONCE and len(self.row) <= _MOST_PAIRS:
            self.paired = design[:, self.row] * design[:, self.column]

    def __call__(self, share: Array) -> Array:
        if self.paired is None:
            return np.stack([(self.design * w[:, None]).T @ self.design for w in share.T])
        flat = share.T @ self.paired
        bent = np.empty((len(flat), self.width, self.width))
        bent[:, self.row, self.column] = bent[:, self.column, self.row] = flat
        return bent
