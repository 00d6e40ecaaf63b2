"""All adversaries together: their beliefs added up.

Beliefs about the same symbol are multiplied as far as they are trustworthy: weights are fitted on people
whom neither the attacks nor the victims include, so a view that repeats another is not counted twice.
Weights fitted on few people may lose to the best belief alone, as to a model trained on all views at once:
then that belief is taken, chosen on people whom the weights were not fitted on.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import minimize
from scipy.special import log_softmax

from harness.contracts import Array

__all__ = ["chosen_weights", "combined", "fitted_weights"]

_LEAST = -30.0  # a belief of exactly 0 must not veto all others


def _sources(beliefs: Sequence[Array], prior: Array) -> Array:
    """(1 + beliefs, rows, m, alphabet): the prior, and what each belief adds to it."""
    rows = beliefs[0].shape[0]
    base = np.broadcast_to(prior, (rows, *prior.shape))
    return np.stack([base, *[np.maximum(b, _LEAST) - prior for b in beliefs]])


def fitted_weights(beliefs: Sequence[Array], prior: Array, symbols: Array) -> Array:
    """Weights of the prior and of each belief that fit the true symbols of other people best.

    Parameters
    ----------
    beliefs : sequence of (rows, m, alphabet) float
        Normalised natural logs about the same rows.
    prior : (m, alphabet) float
        Natural logs, finite.
    symbols : (rows, m) uint8
        True witnesses of these rows.

    Returns
    -------
    (1 + beliefs,) float
        At least 0. Weights of 1 multiply likelihoods as if views were independent.
    """
    sources = _sources(beliefs, prior)
    count = len(sources)
    flat = sources.reshape(count, -1, prior.shape[1])
    truth = symbols.ravel().astype(np.intp)
    each = np.arange(len(truth))

    def loss(weights: Array) -> tuple[float, Array]:
        scores = np.tensordot(weights, flat, axes=1)
        log_prob = log_softmax(scores, axis=1)
        error = np.exp(log_prob)
        error[each, truth] -= 1.0
        slope = (flat * error).sum(axis=(1, 2)) / len(truth)
        return -float(log_prob[each, truth].mean()), slope

    start = np.full(count, 1.0 / len(beliefs))
    start[0] = 1.0
    fit = minimize(loss, start, jac=True, method="L-BFGS-B", bounds=[(0.0, 4.0)] * count)
    return np.asarray(fit.x)


def chosen_weights(beliefs: Sequence[Array], prior: Array, symbols: Array, subject: Array) -> Array:
    """Weights of the product of beliefs, or those of the best belief alone if it tells more.

    Half of the people judge weights fitted on the other half, and the other way about; what is returned is
    fitted on all of them.

    Parameters
    ----------
    beliefs, prior, symbols
        As in `fitted_weights`.
    subject : (rows,) int
        Whose row each is; with fewer than two people nothing is chosen.

    Returns
    -------
    (1 + beliefs,) float
    """
    half = np.isin(subject, np.unique(subject)[::2])
    if half.all() or not half.any():
        return fitted_weights(beliefs, prior, symbols)
    alone = np.eye(len(beliefs) + 1)[1:]
    alone[:, 0] = 1.0
    score = np.zeros(len(alone) + 1)
    for fit, judged in ((half, ~half), (~half, half)):
        product = fitted_weights([b[fit] for b in beliefs], prior, symbols[fit])
        held = [b[judged] for b in beliefs]
        for i, weights in enumerate([product, *alone]):
            told = np.take_along_axis(combined(held, prior, weights), symbols[judged][..., None], axis=2)
            score[i] += float(told.sum())
    best = int(np.argmax(score))
    return fitted_weights(beliefs, prior, symbols) if best == 0 else alone[best - 1]


def combined(beliefs: Sequence[Array], prior: Array, weights: Array) -> Array:
    """The weighted product of beliefs, normalised, (rows, m, alphabet)."""
    return np.asarray(log_softmax(np.tensordot(weights, _sources(beliefs, prior), axes=1), axis=2))
