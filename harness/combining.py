"""All adversaries together: their beliefs added up.

Beliefs about the same symbol are multiplied as far as they are trustworthy: weights are fitted on people
whom neither the attacks nor the victims include, so a view that repeats another is not counted twice.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import minimize
from scipy.special import log_softmax

from harness.contracts import Array

__all__ = ["combined", "fitted_weights"]

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


def combined(beliefs: Sequence[Array], prior: Array, weights: Array) -> Array:
    """The weighted product of beliefs, normalised, (rows, m, alphabet)."""
    return np.asarray(log_softmax(np.tensordot(weights, _sources(beliefs, prior), axes=1), axis=2))
