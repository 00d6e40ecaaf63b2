"""How alike two helper data are: scores of pairs of attempts, larger where they are more alike."""

from __future__ import annotations

import numpy as np

from harness.contracts import ABORTED, Array, Helper, Linear
from harness.cosets import coset_weights, packed

__all__ = ["array_likeness", "parity_likeness"]

_DIGITS = 9  # scores that differ by rounding alone are equal


def array_likeness(helper: Helper, first: Array, second: Array) -> Array:
    """Likeness of the published arrays, whatever they mean.

    Of each array, the mean squared distance with every column in units of its spread (for bits:
    agreements, rare ones counting more); arrays are added up in units of their own spread over pairs.

    Parameters
    ----------
    helper : mapping
        Arrays (attempts, ...).
    first, second : (rows,) int
        Attempts to compare, each of `first` with each of `second`.

    Returns
    -------
    (first, second) float
        All 0 where nothing varies.
    """
    total = np.zeros((len(first), len(second)))
    for name in sorted(set(helper) - {ABORTED}):
        array = np.nan_to_num(np.asarray(helper[name]).astype(np.float64))
        flat = array.reshape(len(array), -1)
        x, y = flat[first], flat[second]
        both = np.concatenate([x, y])
        spread = both.std(axis=0)
        varies = spread > 1e-12 * np.abs(both).max(axis=0, initial=0.0)
        if not varies.any():
            continue
        middle = both.mean(axis=0)[varies]
        x, y = ((z[:, varies] - middle) / spread[varies] for z in (x, y))
        distance = (x**2).sum(axis=1)[:, None] + (y**2).sum(axis=1) - 2 * x @ y.T
        distance = np.round(distance / varies.sum(), _DIGITS)
        if distance.std() > 0:
            total -= distance / distance.std()
    return np.round(total, _DIGITS)


def parity_likeness(linear: Linear, first: Array, second: Array) -> Array | None:
    """Likeness of the witnesses, as far as the published parities tell.

    The syndromes of two attempts differ by the syndrome of what their witnesses differ in. Where the same
    witness comes again that is few errors, so the score is the least number of errors that explains the
    difference, summed over blocks, with its sign turned.

    Parameters
    ----------
    linear : Linear
    first, second : (rows,) int
        As in `array_likeness`.

    Returns
    -------
    (first, second) float, or None
        None where attempts place their blocks differently: their parities are of different bits.
    """
    positions = linear.positions
    if (positions != positions[:1]).any():
        return None
    keys = packed(linear.syndrome)  # (attempts, blocks)
    total = np.zeros((len(first), len(second)))
    known = {}
    for block, where in enumerate(positions[0]):
        usable = where >= 0
        if (shape := usable.tobytes()) not in known:
            known[shape] = coset_weights(linear.parity, usable)
        total -= known[shape].of(keys[first, block][:, None] ^ keys[second, block])
    return total
