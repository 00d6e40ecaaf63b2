"""How many sets of bit flips cost less than a limit: key ranks where every bit is believed apart.

The number of subsets below a sum, counted by shift-and-add on rounded costs. What rounding can do
to a set that fits the limit is bounded as a knapsack, not by half a bin for every bit.
"""

from __future__ import annotations

import numpy as np

from harness.contracts import Array

__all__ = ["flip_set_counts"]

ENUMERATED = 7  # bits whose sums are listed, once before rounding and once after it
ROWS_AT_ONCE = 256
DUST = 1e-6  # bins: far more than floating point errs by in sums and quotients of costs


def flip_set_counts(penalty: Array, limit: Array, *, bins: int) -> tuple[Array, Array]:
    """Sets of flips certainly cheaper than a limit, and sets possibly not dearer, (rows,) each.

    Parameters
    ----------
    penalty : (rows, bits) float64
        What each flip adds, at least 0; inf = impossible. At most 1000 bits, so that all sets are
        countable in float64.
    limit : (rows,) float64
        Above 0 and finite.
    bins : int
        Resolution of the limit; more bins, tighter bounds.

    Returns
    -------
    low, high
        low <= number of sets below the limit, and number of sets up to the limit <= high.

    Notes
    -----
    Penalties are rounded to the nearest multiple of w = limit / bins. A set that costs at most the
    limit is rounded up by at most U bins, and one that is rounded to at most `bins` was rounded down by
    at most D: the values of two fractional knapsacks. So counts up to bins + U and below bins - D
    bracket the truth. The smallest penalties would lose most to rounding: the sums of seven are rounded
    once each, and those of the next seven are taken off the limit instead.
    """
    parts = [slice(i, i + ROWS_AT_ONCE) for i in range(0, len(limit), ROWS_AT_ONCE)]
    found = [_counts(penalty[p], limit[p], bins) for p in parts]
    return np.concatenate([low for low, _ in found]), np.concatenate([high for _, high in found])


def _counts(penalty: Array, limit: Array, bins: int) -> tuple[Array, Array]:
    scaled = np.sort(penalty, axis=1) * (bins / limit)[:, None]
    first, last = _sums(scaled[:, :ENUMERATED]), _sums(scaled[:, ENUMERATED : 2 * ENUMERATED])
    middle = scaled[:, 2 * ENUMERATED :]
    start, steps = np.rint(first), np.rint(middle)
    # what is dearer than the limit alone is in no set that matters
    kept, rounded = np.where(middle <= bins + 1, middle, 0), np.where(middle <= bins + 1, steps, 0)
    error = np.where(first <= bins + 1, start, 0) - np.where(first <= bins + 1, first, 0)
    up = DUST + error.max(axis=1) + _knapsack(rounded - kept, kept, bins)
    down = DUST - error.min(axis=1) + _knapsack(kept - rounded, rounded, bins)
    totals = _shift_and_add(start, steps, bins + int(np.ceil(up.max())) + 1)
    np.cumsum(totals, axis=1, out=totals)
    left = bins - last
    low = _read(totals, np.ceil(left - down[:, None]) - 1)
    high = _read(totals, np.where(left < -DUST, -1, np.floor(left + up[:, None])))
    # whole numbers are exact below 2**53; larger sums of at most 1000 terms err by far less than this
    return (
        np.where(low < 2.0**52, low, low * (1 - 1e-12)),
        np.where(high < 2.0**52, high, high * (1 + 1e-12)),
    )


def _read(totals: Array, at: Array) -> Array:
    """Sum of the totals at several bins, nothing below bin 0: (rows,)."""
    found = np.take_along_axis(totals, np.maximum(at, 0).astype(np.intp), axis=1)
    return np.asarray(np.where(at < 0, 0.0, found).sum(axis=1))


def _sums(values: Array) -> Array:
    """(rows, b) -> (rows, 2**b): the sum of every subset."""
    total = np.zeros((len(values), 1))
    for value in values.T:
        total = np.concatenate([total, total + value[:, None]], axis=1)
    return total


def _knapsack(gain: Array, weight: Array, capacity: float) -> Array:
    """At most what items of positive gain can bring together within a capacity, (rows,)."""
    gain = np.where(weight <= capacity, np.maximum(gain, 0.0), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        order = np.argsort(np.where(gain > 0, -gain / weight, 0.0), axis=1)
    gain, weight = np.take_along_axis(gain, order, axis=1), np.take_along_axis(weight, order, axis=1)
    before = np.cumsum(weight, axis=1) - weight
    share = np.clip((capacity - before) / np.maximum(weight, 1e-300), 0.0, 1.0)
    return np.asarray((gain * share).sum(axis=1))


def _shift_and_add(start: Array, steps: Array, width: int) -> Array:
    """(rows, width): sets by their rounded sum, one of `start` and any of `steps`; dearer ones dropped.

    `steps` ascend in every row.
    """
    rows = len(start)
    kept = start < width
    flat = (np.where(kept, start, 0).astype(np.intp) + np.arange(rows)[:, None] * width)[kept]
    counts = np.bincount(flat, minlength=rows * width).reshape(rows, width).astype(np.float64)
    free, reach = (steps == 0).sum(axis=1).tolist(), (steps < width).sum(axis=1).tolist()
    shifts = np.minimum(steps, width).astype(np.intp).tolist()
    # zeros stand before the counts, so that a shifted view reads no sets below 0
    padded, spare = np.zeros(2 * width), np.zeros(2 * width)
    now, following = padded[width:], spare[width:]
    add = np.add
    for row in range(rows):
        np.multiply(counts[row], 2.0 ** free[row], now)
        for step in shifts[row][free[row] : reach[row]]:
            add(now, padded[width - step : -step], following)
            padded, spare, now, following = spare, padded, following, now
        counts[row] = now
    return counts
