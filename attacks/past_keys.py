"""The victim's own past sessions, with their keys."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.habits import habit_belief, habits_of, own_keys_recur, past_rows
from attacks.potential import PROPOSED
from attacks.reproducing import even
from harness.contracts import Array, Belief, Exchange, Guesses, View


@dataclass(frozen=True, slots=True)
class PastKeys:
    """Keys that come again are tried as they are; else symbols that a person repeats are expected again.

    How far people repeat themselves is learned from others: how much one past symbol of theirs at a place
    counts against what everybody has there.
    """

    name: str = "past-keys"
    sees: frozenset[str] = frozenset({"history", "labels"})
    likes: frozenset[str] = frozenset({"population"})
    potential = PROPOSED["past-keys"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief | Guesses:
        past = _with_labels(view)
        if view.population is not None and own_keys_recur(view.population):
            return Guesses(keys=_past_keys(view, past))
        return habit_belief(view, past, habits_of(view.population))


def _with_labels(view: View) -> Exchange:
    past = view.history
    if past is None or past.witness is None or past.keys is None:
        raise ValueError("`history` must hold the victims' past witnesses and keys, got none")
    return past


def _past_keys(view: View, past: Exchange) -> Array:
    """(attempts, g, key_bits): past keys, latest first; where there are fewer, the oldest again."""
    keys = past.keys
    if keys is None:
        raise ValueError("`history` must hold keys, got none")
    lists = []
    for person, session in zip(view.subject, view.session, strict=True):
        mine = past_rows(past, person, session)
        order = mine[np.argsort(-past.session[mine], kind="stable")]
        _, first = np.unique(keys[order], axis=0, return_index=True)
        lists.append(keys[order[np.sort(first)]])
    return even(lists)
