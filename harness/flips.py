"""How many sets of bit flips cost less than a limit: key ranks where every bit is believed apart.

The number of subsets below a sum, counted by shift-and-add on rounded costs. What rounding can do
to a set that fits the limit is bounded as a knapsack, not by half a bin for every bit.
"""

from __future__ import annotations

import numpy as np

from harness.contracts import Array

__all__ = ["brackets", "flip_set_counts", "resolution"]

ENUMERATED = 7  # bits whose sums are listed, once before rounding and once after it
ROWS_AT_ONCE = 256
DUST = 1e-6  # bins: far more than floating point errs by in sums and quotients of costs


def flip_set_counts(penalty: Array, limit: Array, *, bins: int) -> Array:
    """Brackets of the number of sets of flips below a limit and of sets up to it, (2, 2, rows).

    Parameters
    ----------
    penalty : (rows, bits) float64
        What each flip adds, on the grid, at least 0; inf = impossible. At most 1000 bits, so that all sets
        are countable in float64.
    limit : (rows,) float64
        What a set that there is costs; above 0 and finite.
    bins : int
        Resolution of the limit; more bins, tighter bounds.

    Returns
    -------
    (2, 2, rows)
        Sets below the limit, at least and at most; and sets up to the limit, at least and at most.
        Exact where all penalties are multiples of the smallest, and the limit is one of at most `bins`.

    Notes
    -----
    Penalties are rounded to the nearest multiple of w = limit / bins. A set that costs at most the
    limit is rounded up by at most U bins, and one that is rounded to at most `bins` was rounded down by
    at most D: the values of two fractional knapsacks. So counts up to bins + U and below bins - D
    bracket the truth. The smallest penalties would lose most to rounding: the sums of seven are rounded
    once each, and those of the next seven are taken off the limit instead.
    """
    parts = [slice(i, i + ROWS_AT_ONCE) for i in range(0, len(limit), ROWS_AT_ONCE)]
    return np.concatenate([_counts(penalty[p], limit[p], bins) for p in parts], axis=2)


def resolution(costs: list[Array], limit: Array, bins: int) -> tuple[Array, Array, Array]:
    """Bins per nat, the limit in bins (at most `bins`), and where every cost is a whole number of bins.

    (rows, candidates) each, (rows,) -> (rows,) each. Equal costs, as of a hard-decision channel, need no
    rounding: then all are multiples of the smallest.
    """
    least = np.min([np.where(c > 0, c, np.inf).min(axis=1) for c in costs], axis=0)
    whole = limit / least
    # on the grid and in this range no quotient is rounded to a whole number
    rows = np.flatnonzero((whole == np.rint(whole)) & (whole >= 1) & (whole <= bins) & (least < 2.0**10))
    for cost in costs:
        ratio = np.where(np.isfinite(cost[rows]), cost[rows], 0) / least[rows, None]
        rows = rows[(ratio == np.rint(ratio)).all(axis=1)]
    scale, target, exact = bins / limit, np.full(len(limit), float(bins)), np.zeros(len(limit), np.bool_)
    factor = np.floor(bins / whole[rows])
    scale[rows], target[rows], exact[rows] = factor / least[rows], factor * whole[rows], True
    return scale, target, exact


def brackets(low: Array, high: Array, exact: Array) -> Array:
    """Brackets of keys below the true one and up to it, (2, 2, rows).

    From counts of keys certainly below and possibly up to it, or exactly so.
    """
    # the true key itself is among the keys up to its cost, and is not among those below it
    below = np.where(exact, low, np.maximum(high - 1.0, 0.0))
    return np.array(
        [[np.minimum(low, below), below], [np.where(exact, high, np.minimum(low + 1.0, high)), high]]
    )


def _counts(penalty: Array, limit: Array, bins: int) -> Array:
    penalty = np.where(penalty <= limit[:, None], penalty, np.inf)  # others are in no set that matters
    scale, target, exact = resolution([penalty], limit, bins)
    scaled = np.sort(penalty, axis=1) * scale[:, None]
    first, last = _sums(scaled[:, :ENUMERATED]), _sums(scaled[:, ENUMERATED : 2 * ENUMERATED])
    middle = scaled[:, 2 * ENUMERATED :]
    start, steps = np.rint(first), np.rint(middle)
    kept, rounded = np.where(np.isfinite(middle), middle, 0), np.where(np.isfinite(middle), steps, 0)
    error = np.where(first <= bins + 1, start, 0) - np.where(first <= bins + 1, first, 0)
    up = DUST + error.max(axis=1) + _knapsack(rounded - kept, kept, bins)
    down = DUST - error.min(axis=1) + _knapsack(kept - rounded, rounded, bins)
    totals = _shift_and_add(start, steps, bins + int(np.ceil(up.max())) + 1)
    np.cumsum(totals, axis=1, out=totals)
    left = target[:, None] - last
    low = _read(totals, np.ceil(left - down[:, None]) - 1)
    high = _read(totals, np.where(left < -DUST, -1, np.floor(left + up[:, None])))
    # whole numbers are exact below 2**53; larger sums err by less than this, term by term
    found = brackets(low, high, exact)
    return np.where(found < 2.0**52, found, found * np.array([1 - 1e-11, 1 + 1e-11])[None, :, None])


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
