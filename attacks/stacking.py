"""What enrolments of one person say together: equations that add up, and bits that flipped between."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Linear

__all__ = ["equations", "flips_between", "leaders", "solved"]

_PATTERNS = 2**16  # error patterns that are listed at most


def equations(linear: Linear, row: int, bits: int) -> tuple[Array, Array]:
    """One enrolment's helper data as equations on its witness bits.

    Parameters
    ----------
    linear : Linear
    row : int
        Which attempt of it.
    bits : int
        Of the whole witness.

    Returns
    -------
    left : (blocks * r, bits) uint8
    right : (blocks * r,) uint8
    """
    positions = linear.positions[row if len(linear.positions) > 1 else 0]
    r = linear.parity.shape[0]
    left = np.zeros((len(positions), r, bits + 1), np.uint8)
    for block, place in enumerate(positions):
        # an empty position reads as 0: its coefficient lands in a column that is cut off
        for equation in range(r):
            np.bitwise_xor.at(left[block, equation], place, linear.parity[equation])
    return left[:, :, :bits].reshape(-1, bits), linear.syndrome[row].reshape(-1)


def solved(left: Array, right: Array) -> tuple[Array, Array] | None:
    """All witnesses that fit equations over GF(2).

    Parameters
    ----------
    left : (equations, bits) uint8
    right : (equations,) uint8

    Returns
    -------
    one : (bits,) uint8
    basis : (dimension, bits) uint8
        Every solution is `one` plus a sum of these.
        None if the equations contradict each other.

    Examples
    --------
    >>> one, basis = solved(np.array([[1, 1, 0], [0, 1, 0]]), np.array([1, 1]))
    >>> one.tolist(), basis.tolist()
    ([0, 1, 0], [[0, 0, 1]])
    """
    work = np.concatenate([left, right[:, None]], axis=1).astype(np.uint8)
    bits = left.shape[1]
    pivots: list[int] = []
    for column in range(bits):
        row = len(pivots)
        below = np.flatnonzero(work[row:, column])
        if not below.size:
            continue
        work[[row, row + below[0]]] = work[[row + below[0], row]]
        others = np.flatnonzero(work[:, column])
        work[others[others != row]] ^= work[row]
        pivots.append(column)
    if work[len(pivots) :, bits].any():
        return None
    one = np.zeros(bits, np.uint8)
    one[pivots] = work[: len(pivots), bits]
    free = np.setdiff1d(np.arange(bits), pivots)
    basis = np.zeros((len(free), bits), np.uint8)
    basis[np.arange(len(free)), free] = 1
    basis[:, pivots] = work[: len(pivots), free].T
    return one, basis


def leaders(parity: Array) -> tuple[Array, Array]:
    """Syndromes of the fewest errors, ascending, and the errors: as far as 65 536 patterns go.

    Returns
    -------
    keys : (listed,) int
        Syndromes as numbers, the first parity least significant.
    errors : (listed, n) uint8
        The lightest pattern of each, of equal ones the first.

    Raises
    ------
    ValueError
        If there are more than 62 parities.
    """
    r, n = parity.shape
    if r > 62:
        raise ValueError(f"`parity` must have at most 62 rows to be listed, got {r}")
    columns = parity.T.astype(np.int64) @ (1 << np.arange(r, dtype=np.int64))
    keys, errors = np.zeros(1, np.int64), np.zeros((1, n), np.uint8)
    layer_keys, layer = keys, errors
    while len(keys) < min(_PATTERNS, 2**r) and len(layer) * n <= 32 * _PATTERNS:
        grown, index, added = [], [], []
        for column in range(n):
            fits = np.flatnonzero(~layer[:, column:].any(axis=1))  # each pattern once, by its last error
            grown.append(layer_keys[fits] ^ columns[column])
            index.append(fits)
            added.append(np.full(len(fits), column))
        if not sum(map(len, grown)):
            break
        fresh, first = np.unique(np.concatenate(grown), return_index=True)
        new = ~np.isin(fresh, keys)
        parents, place = np.concatenate(index), np.concatenate(added)
        everything = layer[parents]
        everything[np.arange(len(place)), place] = 1
        layer_keys, layer = np.concatenate(grown), everything
        keys = np.concatenate([keys, fresh[new]])
        errors = np.concatenate([errors, layer[first[new]]])
        if not new.any():
            break
    order = np.argsort(keys)
    return keys[order], errors[order]


def flips_between(linear: Linear, here: Array, there: Array, bits: int) -> Array:
    """Witness bits that most likely differ between two enrolments, from their helper data alone.

    Parameters
    ----------
    linear : Linear
        With one set of positions for all.
    here, there : (pairs,) int
        Attempts of it.
    bits : int
        Of the whole witness.

    Returns
    -------
    (pairs, bits) float
        1 where the lightest error flips a bit, .5 throughout a block whose errors are too many to list.
    """
    keys, errors = leaders(linear.parity)
    powers = 1 << np.arange(linear.parity.shape[0], dtype=np.int64)
    apart = (linear.syndrome[here] ^ linear.syndrome[there]).astype(np.int64) @ powers  # (pairs, blocks)
    place = np.minimum(np.searchsorted(keys, apart), len(keys) - 1)
    found = np.where((keys[place] == apart)[:, :, None], errors[place].astype(float), 0.5)
    out = np.zeros((len(here), bits + 1))
    for block, positions in enumerate(linear.positions[0]):
        out[:, positions] = found[:, block]
    return out[:, :bits]
