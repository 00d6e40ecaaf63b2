"""Guessing the key from other people's keys: no sensing, no helper data. The baseline of all others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.potential import PROPOSED
from attacks.strings import fitted_chain, likeliest_strings, order_that_fits
from harness.contracts import Array, Belief, Guesses, View

MOST = 4096
LISTABLE = 24.0  # bits of surprise at a whole key up to which a list of the likeliest can hope to hold it


@dataclass(frozen=True, slots=True)
class Population:
    """Keys that recur among other people if any do, else their bits one by one.

    Recurring means that different people had the same key more often than chance explains: a short key, a
    small seed, a template. Such keys are listed, the most frequent first. Where bits depend on those before
    them so much that a list can hope to hold the key, the likeliest keys of that dependence are listed.
    """

    name: str = "population"
    sees: frozenset[str] = frozenset({"population"})
    potential = PROPOSED["population"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief | Guesses:
        known = view.population
        if known is None or known.keys is None:
            raise ValueError("`population` must hold other people's keys, got none")
        keys, subject = known.keys, known.subject
        distinct, index = np.unique(keys, axis=0, return_inverse=True)
        owners = np.unique(np.stack([index.ravel(), subject]), axis=1)[0]
        people = np.bincount(owners, minlength=len(distinct))
        if people.max() > 1 and keys.shape[1] > np.log2(len(keys)) * 2:
            order = np.lexsort((np.arange(len(distinct)), -np.bincount(index.ravel()), -people))[:MOST]
            return Guesses(keys=_for_all(distinct[order], view.attempts))
        depth, surprise = order_that_fits(keys, subject, 2)
        if depth > 0 and surprise < LISTABLE:
            likeliest = likeliest_strings(fitted_chain(keys, 2, depth), keys.shape[1], MOST)
            return Guesses(keys=_for_all(likeliest, view.attempts))
        ones = (keys.sum(axis=0) + 1.0) / (len(keys) + 2.0)
        log_prob = np.log(np.stack([1 - ones, ones], axis=1))
        return Belief(log_prob=_for_all(log_prob, view.attempts), about="key")


def _for_all(table: Array, attempts: int) -> Array:
    return np.broadcast_to(table, (attempts, *table.shape)).copy()
