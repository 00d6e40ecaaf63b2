"""Tests of the walk's visits between returns to zero (SP 800-22 §2.14, 2.15)."""

from __future__ import annotations

import numpy as np
from scipy.special import erfc, gammaincc

from harness.contracts import Array
from harness.estimators.randomness.bits import require_bits

__all__ = ["STATES", "VARIANT_STATES", "excursions", "excursions_variant"]

STATES = (-4, -3, -2, -1, 1, 2, 3, 4)
VARIANT_STATES = tuple(x for x in range(-9, 10) if x)
_LEAST_CYCLES = 500


def _walk(bits: Array) -> tuple[Array, Array]:
    """The walk of one sequence, and the number of the cycle of each step; the last may be unfinished."""
    walk = np.cumsum(2 * bits.astype(np.int64) - 1)
    zero = walk == 0
    cycle = np.cumsum(zero) - zero
    return walk, cycle


def _cycles(walk: Array) -> int:
    return int((walk == 0).sum()) + int(walk[-1] != 0)


def excursions(bits: Array) -> Array:
    """Is every state visited as often as it should be within a cycle?

    Parameters
    ----------
    bits : (sequences, n) uint8

    Returns
    -------
    (sequences, 8) float
        p-values by `STATES`; NaN where the walk has fewer than 500 cycles: the test does not apply.
    """
    b = require_bits(bits, least=1000, test="random-excursions")
    found = np.full((len(b), len(STATES)), np.nan)
    for row, sequence in enumerate(b):
        walk, cycle = _walk(sequence)
        cycles = _cycles(walk)
        if cycles < _LEAST_CYCLES:
            continue
        for column, x in enumerate(STATES):
            visits = np.bincount(cycle[walk == x], minlength=cycles)
            seen = np.bincount(np.minimum(visits, 5), minlength=6)
            usual = cycles * _visits(x)
            found[row, column] = gammaincc(2.5, ((seen - usual) ** 2 / usual).sum() / 2)
    return found


def _visits(x: int) -> Array:
    """Chances of 0, 1, 2, 3, 4 and more visits to a state in one cycle."""
    stay = 1 - 1 / (2 * abs(x))
    middle = [stay ** (k - 1) / (4 * x * x) for k in range(1, 5)]
    return np.array([stay, *middle, stay**4 / (2 * abs(x))])


def excursions_variant(bits: Array) -> Array:
    """Is every state visited as often as it should be in all?

    Returns
    -------
    (sequences, 18) float
        p-values by `VARIANT_STATES`; NaN as in `excursions`.
    """
    b = require_bits(bits, least=1000, test="random-excursions-variant")
    found = np.full((len(b), len(VARIANT_STATES)), np.nan)
    for row, sequence in enumerate(b):
        walk, _ = _walk(sequence)
        cycles = _cycles(walk)
        if cycles < _LEAST_CYCLES:
            continue
        for column, x in enumerate(VARIANT_STATES):
            visits = int((walk == x).sum())
            found[row, column] = erfc(abs(visits - cycles) / np.sqrt(2 * cycles * (4 * abs(x) - 2)))
    return found
