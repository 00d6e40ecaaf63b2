"""Sets of listed features, those believed most: what opens a list that hides A's among others."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array

__all__ = ["believed_sets"]


def believed_sets(log_prob: Array, places: Array, *, needed: int, count: int) -> Array:
    """Witnesses with only the listed features that are believed most, from just enough to more and more.

    Chaff says nothing of which features A has, so listed ones stand in the order of the belief. What is
    believed of features that are not listed does not matter.

    Parameters
    ----------
    log_prob : float, shape (rows, m, 2)
        Natural logs; 1 = A has the feature.
    places : int, shape (rows, points)
        Different places in the witness.
    needed : int
        So many features open the list.
    count : int
        Sets at most, of needed, needed + 1, ... features.

    Returns
    -------
    uint8, shape (rows, sets, m)
    """
    odds = np.maximum(log_prob[:, :, 1], -1e300) - np.maximum(log_prob[:, :, 0], -1e300)
    order = np.argsort(-np.take_along_axis(odds, places, axis=1), axis=1, kind="stable")
    believed = np.take_along_axis(places, order, axis=1)
    rows, points = places.shape
    sizes = np.arange(needed, min(points, needed + count - 1) + 1)
    sets = np.zeros((rows, len(sizes), log_prob.shape[1]), np.uint8)
    for number, size in enumerate(sizes.tolist()):
        np.put_along_axis(sets[:, number], believed[:, :size], 1, axis=1)
    return sets
