"""The order in which a person's keys were made."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from harness.detectors.evidence import Evidence, own_keys

__all__ = ["consecutive", "session_rank"]


def session_rank(data: Evidence) -> Array:
    """(attempts,) the how-manieth session of this person it is, from 0."""
    rank = np.empty(data.attempts, int)
    for person in np.unique(data.subject):
        own = data.subject == person
        rank[own] = np.unique(data.session[own], return_inverse=True)[1].ravel()
    return rank


def consecutive(data: Evidence) -> tuple[Array, Array]:
    """Rows of a person's keys, and of the key after each, whatever session it is in."""
    rows = own_keys(data)
    order = rows[np.lexsort((data.local[rows], data.session[rows], data.subject[rows]))]
    own = np.flatnonzero(data.subject[order][1:] == data.subject[order][:-1])
    return order[own], order[own + 1]
