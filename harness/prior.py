"""What everybody has: the belief of who senses nothing."""

from __future__ import annotations

import numpy as np
from scipy.special import gammaln

from harness.contracts import Array

__all__ = ["symbol_prior"]

_PULLS = (1.0, 3.0, 10.0, 30.0, 100.0, 1e3, 1e4, 1e6)
"""What all positions have in common, in counts of one position."""


def symbol_prior(symbols: Array, alphabet: int) -> Array:
    """(m, alphabet) log-probability of each symbol at each position, from other people's witnesses.

    Positions are drawn towards what all have in common, by as much as makes the symbols seen likeliest
    (of `_PULLS`, the evidence of a Dirichlet prior): shares of few people at single positions are mostly
    chance, and an adversary who says nothing would seem to know more than they. With nobody to learn from,
    all symbols are equally likely.
    """
    counts = np.stack([(symbols == value).sum(axis=0) for value in range(alphabet)], axis=1).astype(float)
    common = counts.sum(axis=0) + 1.0 / alphabet
    common /= common.sum()
    best = max(_PULLS, key=lambda pull: _evidence(counts, pull * common))
    pulled = counts + best * common
    return np.asarray(np.log(pulled / pulled.sum(axis=1, keepdims=True)))


def _evidence(counts: Array, pseudo: Array) -> float:
    """Log-probability of counts by position under a Dirichlet prior of these pseudo-counts."""
    whole = counts.sum(axis=1)
    apart = gammaln(counts + pseudo) - gammaln(pseudo)
    return float((apart.sum(axis=1) - gammaln(whole + pseudo.sum()) + gammaln(pseudo.sum())).sum())
