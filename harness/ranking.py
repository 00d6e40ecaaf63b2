"""Where the true key stands among all keys, when a belief is a product over blocks.

The rank is never counted one key at a time: costs are rounded to bins, block histograms are
convolved, and knowing how far rounding can err turns the counts into bounds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from harness.contracts import Array
from harness.flips import brackets, flip_set_counts, resolution

__all__ = ["GRID", "Ranks", "concatenate", "merge_blocks", "on_grid", "product_ranks"]

GRID = 2.0**24
"""Log-probabilities live on a grid of 1/GRID nats, so that sums are exact in any order and
equal keys tie exactly, on every machine and for every batch size."""

FLOOR = -(2.0**13)  # the least finite log-probability: e**-8192 stands for anything smaller
MAX_CANDIDATES = 4096  # blocks are merged up to this many candidates
BINS = 2048
ROWS_AT_ONCE = 32  # their merged blocks stay in the processor's cache
COUNTABLE = 2.0**900
"""Larger numbers of keys are bracketed by this and infinity: float64 ends at 2**1024."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranks:
    """Brackets of b, the number of keys likelier than the true one, and of b + t, with its ties.

    A key that the attacker never reaches has b = inf.
    """

    fewer_low: Array  # (rows,) b is at least this
    fewer_high: Array  # (rows,) b is at most this
    upto_low: Array  # (rows,) b + t is at least this
    upto_high: Array
    surprise: Array  # (rows,) bits: -log2 of the posterior of the true key; NaN if unknown
    work: float = 0.0  # log2 of off-line trials spent before the first guess

    def success(self, budget: int, *, offline: bool) -> tuple[Array, Array]:
        """Chance of success within `budget` guesses, ties shared: lower and upper, (rows,).

        With b keys likelier than the true one and t tied with it, the chance is
        clip((G - b) / t, 0, 1). Off line the trials already spent count; on line they do not.
        """
        guesses = float(budget)
        if offline and self.work > 0:
            guesses -= 2.0**self.work - 1.0
        return (
            _share(guesses, self.fewer_high, self.upto_high),
            _share(guesses, self.fewer_low, self.upto_low),
        )

    def log2_rank(self, key_bits: int) -> tuple[Array, Array]:
        """log2 of the rank b + (t + 1) / 2, lower and upper bound, (rows,).

        A key that is never reached counts as the last of all 2**key_bits.
        """
        low = (self.fewer_low + self.upto_low + 1) / 2
        high = (self.fewer_high + self.upto_high + 1) / 2
        return np.minimum(np.log2(low), key_bits), np.minimum(np.log2(high), key_bits)


def _share(guesses: float, fewer: Array, upto: Array) -> Array:
    reachable = np.isfinite(fewer)
    ahead = np.where(reachable, fewer, 0.0)
    ties = np.maximum(upto - ahead, 1.0)
    return np.where(reachable, np.clip((guesses - ahead) / ties, 0, 1), 0.0)


def concatenate(parts: list[Ranks]) -> Ranks:
    """Ranks of several batches as one."""
    names = ("fewer_low", "fewer_high", "upto_low", "upto_high", "surprise")
    joined = {n: np.concatenate([getattr(p, n) for p in parts]) for n in names}
    return Ranks(**joined, work=max((p.work for p in parts), default=0.0))


def on_grid(log_prob: Array) -> Array:
    """Natural logs rounded to the grid; -inf stays -inf, finite values stop at FLOOR."""
    with np.errstate(invalid="ignore"):
        rounded = np.rint(np.maximum(log_prob, FLOOR) * GRID) / GRID
    return np.where(np.isneginf(log_prob), -np.inf, rounded)


def merge_blocks(costs: list[Array], true: Array) -> tuple[list[Array], Array]:
    """Join neighbouring blocks while their candidates stay few; exact.

    Parameters
    ----------
    costs : list of (rows, candidates) float64
    true : (rows, blocks) int
        Index of the true candidate in each block.

    Returns
    -------
    costs, true
        Fewer blocks, same product.
    """
    merged: list[Array] = []
    indices: list[Array] = []
    for block, cost in enumerate(costs):
        index = true[:, block]
        if merged and merged[-1].shape[1] * cost.shape[1] <= MAX_CANDIDATES:
            last = merged[-1]
            merged[-1] = (last[:, :, None] + cost[:, None, :]).reshape(len(last), -1)
            indices[-1] = indices[-1] * cost.shape[1] + index
        else:
            merged.append(cost)
            indices.append(index)
    return merged, np.stack(indices, axis=1)


def product_ranks(costs: list[Array], true: Array, *, bins: int = BINS) -> Ranks:
    """Rank the true key among all combinations of block candidates.

    Parameters
    ----------
    costs : list of (rows, candidates) float64
        Per block, minus the log-probability of each candidate, on the grid; inf = impossible.
        Any constant per block may be added.
    true : (rows, blocks) int
        The candidate that is true.
    bins : int
        Resolution of the true key's cost; more bins, tighter bounds. As many again for every 128 bits
        of keys believed bit by bit.

    Returns
    -------
    Ranks
        Exact for one block or two (after merging), brackets otherwise.

    Notes
    -----
    Costs are rounded to the nearest multiple of w = T / bins, T being the cost of the true
    key. The sum of B rounded costs errs by at most B/2 bins, so the number of keys cheaper than T lies
    between the counts up to bins - B/2 and up to bins + B/2. Histograms are convolved by
    FFT after an exponential tilt that puts the weight near T: a plain FFT drowns small
    counts in the rounding noise of large ones. Rows where the error bound of the tilted FFT is not
    negligible are counted again by direct convolution. Keys believed bit by bit are counted as sets of
    flips (`flips.flip_set_counts`), which is many times faster.
    """
    if all(cost.shape[1] == 2 for cost in costs) and MAX_CANDIDATES**2 < 2 ** len(costs) <= COUNTABLE:
        # rounding errs by more where there are more bits
        return _bit_ranks(np.stack(costs, axis=1), true, bins * -(-len(costs) // 128))
    if len(true) <= ROWS_AT_ONCE:
        return _product_ranks(costs, true, bins)
    parts = [slice(i, i + ROWS_AT_ONCE) for i in range(0, len(true), ROWS_AT_ONCE)]
    return concatenate([_product_ranks([c[p] for c in costs], true[p], bins) for p in parts])


def _bit_ranks(costs: Array, true: Array, bins: int) -> Ranks:
    """`product_ranks` of two candidates a block, (rows, bits, 2), too many for a list of all keys."""
    least = costs.min(axis=2)
    least = np.where(np.isfinite(least), least, 0.0)  # a bit may be impossible either way
    chosen = np.take_along_axis(costs, true[:, :, None], axis=2)[:, :, 0] - least
    penalty = costs.max(axis=2) - least
    truth = chosen.sum(axis=1)
    reached = np.isfinite(truth)
    found = np.full((2, 2, len(true)), np.inf)
    best = reached & (truth == 0)
    found[0][:, best] = 0.0
    found[1][:, best] = 2.0 ** (penalty[best] == 0).sum(axis=1)
    part = np.flatnonzero(reached & ~best)
    if part.size:
        found[:, :, part] = flip_set_counts(penalty[part], truth[part], bins=bins)
    return _ranks(found, (truth + np.log1p(np.exp(-penalty)).sum(axis=1)) / np.log(2))


def _product_ranks(costs: list[Array], true: Array, bins: int) -> Ranks:
    rows = len(true)
    each = np.arange(rows)
    surprise = np.zeros(rows)
    shifted: list[Array] = []
    for block, cost in enumerate(costs):
        least = cost.min(axis=1, keepdims=True)
        least = np.where(np.isfinite(least), least, 0.0)
        cost = cost - least
        chosen = cost[each, true[:, block]]
        with np.errstate(divide="ignore", invalid="ignore"):  # a block may be impossible altogether
            surprise += (chosen + np.log(np.exp(-cost).sum(axis=1))) / np.log(2)
        shifted.append(cost)
    merged, index = merge_blocks(shifted, true)
    truth = np.sum([cost[each, index[:, b]] for b, cost in enumerate(merged)], axis=0)
    reached = np.isfinite(truth)
    found = np.full((2, 2, rows), np.inf)
    if len(merged) == 1:
        cost = merged[0][reached]
        own = truth[reached, None]
        found[0][:, reached] = (cost < own).sum(axis=1)
        found[1][:, reached] = (cost <= own).sum(axis=1)
    elif len(merged) == 2:
        found[:, :, reached] = _pairs([c[reached] for c in merged], truth[reached])[:, None]
    else:
        best = reached & (truth == 0)
        with np.errstate(over="ignore"):
            ties = np.prod([(c[best] == 0).sum(axis=1).astype(float) for c in merged], axis=0)
        found[0][:, best] = 0.0
        found[1][:, best] = np.minimum(ties, COUNTABLE), np.where(ties > COUNTABLE, np.inf, ties)
        part = np.flatnonzero(reached & ~best)
        if part.size:
            found[:, :, part] = _counts([c[part] for c in merged], truth[part], bins)
    return _ranks(found, np.where(reached, surprise, np.inf))


def _pairs(costs: list[Array], truth: Array) -> Array:
    """Pairs of candidates below the truth, and up to it, (2, rows); exact, as sums of grid numbers are."""
    few, many = sorted(costs, key=lambda c: int(c.shape[1]))
    counts = np.zeros((2, len(truth)))
    for row, (some, others) in enumerate(zip(few, np.sort(many, axis=1), strict=True)):
        room = truth[row] - some
        counts[0, row] = np.searchsorted(others, room, side="left").sum()
        counts[1, row] = np.searchsorted(others, room, side="right").sum()
    return counts


def _ranks(found: Array, surprise: Array) -> Ranks:
    (fewer_low, fewer_high), (upto_low, upto_high) = found
    return Ranks(
        fewer_low=fewer_low,
        fewer_high=fewer_high,
        upto_low=upto_low,
        upto_high=upto_high,
        surprise=surprise,
    )


def _counts(costs: list[Array], truth: Array, bins: int) -> Array:
    """Brackets of the number of keys below the truth and of keys up to it, (2, 2, rows)."""
    rows, blocks = len(truth), len(costs)
    scale, target, exact = resolution(costs, truth, bins)
    # rounded sum < target - slack implies true sum < T; true sum <= T implies rounded <= target + slack
    slack = np.where(exact, 0.0, blocks / 2)
    below = (np.ceil(target - slack) - 1).astype(np.intp)
    upto = np.floor(target + slack).astype(np.intp)
    top = bins + int(np.ceil(blocks / 2)) + 1
    histograms = np.empty((blocks, rows, top + 1))
    offset = np.arange(rows)[:, None] * (top + 2)  # the last bin of a row takes all that is dearer
    for block, cost in enumerate(costs):
        scaled = np.minimum(np.rint(cost * scale[:, None]), top + 1)
        flat = (scaled.astype(np.intp) + offset).ravel()
        found = np.bincount(flat, minlength=rows * (top + 2)).reshape(rows, -1)
        histograms[block] = found[:, : top + 1]
    counts, error, shift = _tilted_convolution(histograms)
    huge = shift > 0
    each, totals = np.arange(rows), np.cumsum(counts, axis=1)
    low, high = totals[each, below], totals[each, upto]
    doubtful = error > 1e-9 * np.maximum(low, 1.0)
    for row in np.flatnonzero(doubtful & ~huge):
        again = histograms[0, row]
        for block in range(1, blocks):
            again = _convolved(again, histograms[block, row])
        total = np.cumsum(again)
        low[row], high[row] = total[below[row]], total[upto[row]]
    if huge.any():
        kept = np.maximum(low[huge] - error[huge], np.finfo(float).tiny)
        low[huge] = np.exp(np.minimum(np.log(kept) + shift[huge], np.log(COUNTABLE)))
        high[huge] = np.inf
    counted = brackets(low, high, exact & ~huge)
    # floating point errs by at most 1e-9 of a count, so that smaller ones are known as whole numbers
    whole = np.rint(counted)
    counted[:, 0] = np.where(counted[:, 0] < 2.0**26, whole[:, 0], np.floor(counted[:, 0] * (1 - 1e-9)))
    counted[:, 1] = np.where(counted[:, 1] < 2.0**26, whole[:, 1], np.ceil(counted[:, 1] * (1 + 1e-9)))
    return counted


def _convolved(counts: Array, histogram: Array) -> Array:
    """Counts of the sum of one block more, by direct convolution, as many bins as before."""
    size = len(counts)
    filled = np.flatnonzero(histogram)
    if len(filled) > 64:
        return np.convolve(counts, histogram)[:size]
    # equal costs fill few bins, and adding shifted counts is then many times faster
    total = np.zeros(size)
    for x in filled.tolist():
        total[x:] += histogram[x] * counts[: size - x]
    return total


def _tilted_convolution(histograms: Array) -> tuple[Array, Array, Array]:
    """Counts of the sum of all blocks, and a bound on the error of their cumulated value.

    (blocks, rows, bins) -> (rows, bins), (rows,), (rows,). Sums past the last bin are dropped: all
    terms are non-negative, so they cannot come back. Where counts may pass `COUNTABLE`, they and the
    error are too small by a factor of which the last is the natural log; elsewhere it is 0.
    """
    blocks, rows, width = histograms.shape
    theta = _tilt(histograms)
    x = np.arange(width)
    weight = np.exp(-theta[:, None] * x)
    length = fft.next_fast_len(2 * width, real=True)
    scale = np.zeros(rows)
    accumulated: Array | None = None
    for block in range(blocks):
        current = histograms[block] * weight
        norm = np.maximum(current.sum(axis=1), np.finfo(float).tiny)
        current /= norm[:, None]
        scale += np.log(norm)
        if accumulated is None:
            accumulated = current
            continue
        spectrum = fft.rfft(accumulated, length, axis=1) * fft.rfft(current, length, axis=1)
        accumulated = np.maximum(fft.irfft(spectrum, length, axis=1)[:, :width], 0.0)
    if accumulated is None:
        raise ValueError("`histograms` must hold at least one block, got none")
    exponent = theta[:, None] * x + scale[:, None]
    shift = np.maximum(exponent.max(axis=1) - np.log(COUNTABLE), 0.0)
    untilt = np.exp(exponent - shift[:, None])
    # each FFT product errs by a few eps * log2(length) times the product of 2-norms, here at most 1
    noise = 8 * np.finfo(float).eps * np.log2(length) * (blocks - 1)
    return accumulated * untilt, noise * untilt.sum(axis=1), shift


def _tilt(histograms: Array) -> Array:
    """The exponent, at least 0, that moves the mean of the sum near the last bin, (rows,)."""
    blocks, rows, width = histograms.shape
    coarse = 64
    step = -(-width // coarse)
    padded = np.zeros((blocks, rows, coarse * step))
    padded[:, :, :width] = histograms
    mass = padded.reshape(blocks, rows, coarse, step).sum(axis=3)
    x = (np.arange(coarse) + 0.5) * step
    low, high = np.zeros(rows), np.full(rows, 64.0 / step)
    for _ in range(30):
        theta = (low + high) / 2
        tilted = mass * np.exp(-theta[:, None] * x)
        mean = ((tilted @ x) / np.maximum(tilted.sum(axis=2), np.finfo(float).tiny)).sum(axis=0)
        above = mean > width
        low, high = np.where(above, theta, low), np.where(above, high, theta)
    return np.where(high > 64.0 / step * 0.999, high, (low + high) / 2)
