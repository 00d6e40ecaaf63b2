"""Learners of bits from a view, and the choice between them on people who are not tested."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TypeAlias

import numpy as np
from scipy.special import expit

from harness.contracts import Array
from harness.estimators.leakage.logistic import fit_logistic

__all__ = ["LEARNERS", "Learner", "boosted", "chosen", "folds_of", "linear", "surprise_of"]

Learner: TypeAlias = Callable[[Array, Array, Array], Array]
"""(training view, training bits, view) -> (rows, bits) probability of a 1."""

LEAST = 1e-4
"""No bit is held for surer than this: a learner that is wrong once must not lose everything."""


def linear(view: Array, bits: Array, asked: Array, *, penalty: float = 1.0) -> Array:
    """Penalised logistic regression."""
    return np.asarray(expit(fit_logistic(view, bits, penalty=penalty).log_odds(asked)))


def boosted(view: Array, bits: Array, asked: Array) -> Array:
    """Boosted trees: what a logistic regression cannot see, thresholds and parities of few features."""
    from sklearn.ensemble import HistGradientBoostingClassifier  # costs half a second to import

    told = np.empty((len(asked), bits.shape[1]))
    for k, label in enumerate(bits.T):
        if label.min() == label.max():
            told[:, k] = (label.sum() + 0.5) / (len(label) + 1)
            continue
        trees = HistGradientBoostingClassifier(
            max_iter=60, learning_rate=0.1, max_leaf_nodes=8, min_samples_leaf=10, random_state=0
        )
        told[:, k] = trees.fit(view, label).predict_proba(asked)[:, 1]
    return told


LEARNERS: tuple[Learner, ...] = (linear, partial(linear, penalty=100.0), boosted)


def surprise_of(told: Array, bits: Array) -> Array:
    """(rows, bits) float: -log2 of the probability that was given to what came."""
    right = np.where(bits == 1, told, 1 - told)
    return np.asarray(-np.log2(np.clip(right, LEAST, 1 - LEAST)))


def folds_of(subject: Array, folds: int) -> Array:
    """(rows,) int fold of each row; a subject's rows are never split.

    Raises
    ------
    ValueError
        If there are fewer than two subjects.
    """
    people, index = np.unique(subject, return_inverse=True)
    if len(people) < 2:
        raise ValueError(f"learning from other people needs at least two subjects, got {len(people)}")
    return np.asarray(index.ravel() % min(folds, len(people)))


def chosen(
    view: Array, bits: Array, subject: Array, learners: Sequence[Learner], *, folds: int = 3
) -> list[int]:
    """For each bit the learner that was least surprised by people it had not seen.

    Parameters
    ----------
    view : (rows, features) float
    bits : (rows, bits) of 0 and 1
    subject : (rows,) int
        At least two people.
    learners : sequence of Learner
    folds : int

    Returns
    -------
    list of int
        Index into `learners` per bit.
    """
    if len(learners) == 1:
        return [0] * bits.shape[1]
    fold = folds_of(subject, folds)
    total = np.zeros((len(learners), bits.shape[1]))
    for part in np.unique(fold):
        out = fold == part
        for i, learner in enumerate(learners):
            total[i] += surprise_of(learner(view[~out], bits[~out], view[out]), bits[out]).sum(axis=0)
    return [int(i) for i in total.argmin(axis=0)]
