"""Guessing the key from other people's keys: no sensing, no helper data. The baseline of all others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import poisson

from attacks.potential import PROPOSED
from attacks.strings import fitted_chain, likeliest_strings, order_that_fits
from harness.contracts import Array, Belief, Guesses, View

MOST = 4096
LISTABLE = 12.0  # bits of surprise at a whole key: as many as the list holds
CHANCE = 0.001


@dataclass(frozen=True, slots=True)
class Population:
    """Keys that recur among other people if any do, else their bits one by one.

    Recurring means that different people had the same key more often than chance explains, and that a list
    of such keys holds more than single bits tell: a small seed, a template. They are listed, the most
    frequent first. Where bits depend so much on those before them, up to ten bits back, that a list can
    hope to hold the key, the likeliest keys of that dependence are listed.
    """

    name: str = "population"
    sees: frozenset[str] = frozenset({"population"})
    potential = PROPOSED["population"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief | Guesses:
        known = view.population
        if known is None or known.keys is None:
            raise ValueError("`population` must hold other people's keys, got none")
        keys, subject = known.keys, known.subject
        if keys_recur(keys, subject) and _list_pays(keys, subject):
            return Guesses(keys=_for_all(most_frequent(keys, subject), view.attempts))
        depth, surprise = order_that_fits(keys, subject, 2)
        if depth > 0 and surprise < LISTABLE:
            likeliest = likeliest_strings(fitted_chain(keys, 2, depth), keys.shape[1], MOST)
            return Guesses(keys=_for_all(likeliest, view.attempts))
        return Belief(log_prob=_for_all(_bits(keys), view.attempts), about="key")


def keys_recur(keys: Array, subject: Array) -> bool:
    """Whether different people have equal keys more often than keys drawn at random."""
    _, index = np.unique(keys, axis=0, return_inverse=True)
    alike = _pairs(np.unique(index.ravel(), return_counts=True)[1])
    own = _pairs(np.unique(np.stack([index.ravel(), subject]), axis=1, return_counts=True)[1])
    between = _pairs(np.array([len(keys)])) - _pairs(np.unique(subject, return_counts=True)[1])
    hits = alike - own
    return bool(hits > 0 and poisson.sf(hits - 1, between * 2.0 ** -keys.shape[1]) < CHANCE)


def _pairs(sizes: Array) -> float:
    return float((sizes * (sizes - 1.0) / 2).sum())


def most_frequent(keys: Array, subject: Array) -> Array:
    """(g, key_bits): keys by how many people had them, then how often they came."""
    distinct, index = np.unique(keys, axis=0, return_inverse=True)
    owners = np.unique(np.stack([index.ravel(), subject]), axis=1)[0]
    people = np.bincount(owners, minlength=len(distinct))
    order = np.lexsort((np.arange(len(distinct)), -np.bincount(index.ravel()), -people))[:MOST]
    return np.asarray(distinct[order])


def _list_pays(keys: Array, subject: Array) -> bool:
    """Whether a list made of half of the people holds more keys of the others than bits one by one reach.

    A key of probability p is among the first 1 / p. A list ends, so that a belief may reach 2^20 keys; of
    short keys as many as the list holds.
    """
    half = np.isin(subject, np.unique(subject)[::2])
    if half.all() or not half.any():
        return False
    known, others = keys[half], keys[~half]
    rows = {row.tobytes() for row in most_frequent(known, subject[half])}
    listed = np.mean([row.tobytes() in rows for row in others])
    told = _bits(known)[np.arange(keys.shape[1]), others].sum(axis=1)
    reach = 20.0 if keys.shape[1] > 20 else np.log2(len(rows))
    return bool(listed > (told >= -reach * np.log(2)).mean())


def _bits(keys: Array) -> Array:
    """(key_bits, 2) natural logs."""
    ones = (keys.sum(axis=0) + 1.0) / (len(keys) + 2.0)
    return np.asarray(np.log(np.stack([1 - ones, ones], axis=1)))


def _for_all(table: Array, attempts: int) -> Array:
    return np.broadcast_to(table, (attempts, *table.shape)).copy()
