"""Average min-entropy of a whole key given its helper data, by Monte Carlo where the exact sum is too long.

What is wanted is the sum over the syndromes of all blocks of the probability of the likeliest word.
Syndromes are drawn block by block, in proportion to a ceiling on what each can still come to, so that each
draw's share of the sum is known to lie below one number; the mean share times that number is the sum,
without bias.

The ceiling: from one end i, blocks to come add up to at most c_i, from all ends together to at most c;
hence from ends that are worth u_i to at most ``min over t of sum_i c_i max(u_i - t, 0) + c t``. That this
holds after one block more, whose ceilings are made of these, follows because the expression is sublinear
and submodular in u.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.contracts import Array, Estimate
from harness.estimators.bounded_mean import bounded_mean
from harness.estimators.entropy.joint_trellis import best_tables, sections, through
from harness.estimators.entropy.symbol_chains import SymbolChain

__all__ = ["SyndromeSample", "draw_syndromes", "likeliest", "sampled_min_entropy"]

_AT_ONCE = 1 << 19  # (draw, syndrome) pairs worked on together


def sampled_min_entropy(
    parity: Array,
    positions: Array,
    labels: Array,
    chain: SymbolChain,
    *,
    rng: np.random.Generator,
    draws: int = 1000,
    level: float = 0.95,
) -> Estimate:
    """Average min-entropy of all blocks together given all their syndromes, by Monte Carlo.

    Parameters
    ----------
    parity, positions, labels, chain
        As `joint_min_entropy`.
    rng : numpy.random.Generator
    draws : int
        Independent draws of the syndromes of all blocks.
    level : float
        Two-sided; `bounded_mean`, which assumes nothing of the distribution.

    Returns
    -------
    Estimate
        Unit "bit", side "estimate"; evidence "exact": the source is given, and the interval is that of the
        draws alone. No subjects and no attempts.

    Raises
    ------
    ValueError, InsufficientData
        As `sections` and `best_words`.
    """
    tables, log2_scale = best_tables(sections(parity, positions, labels, chain))
    sample = draw_syndromes(tables, rng=rng, draws=draws)
    # one block is summed over, not drawn
    low, high = bounded_mean(sample.share, level=level) if len(tables) > 1 else (1.0, 1.0)
    top = log2_scale + sample.log2_ceiling
    return Estimate(
        value=_bits(float(sample.share.mean()), top),
        low=_bits(high, top),
        high=_bits(low, top) if low > 0 else float("nan"),
        level=level,
        unit="bit",
        side="estimate",
        evidence="exact",
        subjects=0,
        attempts=0,
        method="average-given-helper-sampled",
    )


def _bits(share: float, log2_ceiling: float) -> float:
    return max(0.0, -float(np.log2(share)) - log2_ceiling)


@dataclass(frozen=True, slots=True)
class SyndromeSample:
    """Syndromes drawn for all blocks but the last, which is summed over."""

    picks: Array  # (blocks - 1, draws) int
    share: Array  # (draws,) in [0, 1]: the draw's unbiased estimate of the sum, relative to the ceiling
    last: Array  # (draws,) log2 of the likeliest word, summed over the last block's syndromes
    log2_ceiling: float  # of the sum


def draw_syndromes(tables: Sequence[Array], *, rng: np.random.Generator, draws: int) -> SyndromeSample:
    """Draw syndromes under the source that the tables were made for.

    Parameters
    ----------
    tables : sequence of (states before, states after, 2**r) float
        From `best_tables`.
    rng : numpy.random.Generator
    draws : int
    """
    if draws < 1:
        raise ValueError(f"`draws` must be at least 1, got {draws}")
    if not tables:
        return SyndromeSample(np.zeros((0, draws), np.intp), np.ones(draws), np.zeros(draws), 0.0)
    ceilings = _ceilings(tables)
    uniform = rng.random((len(tables) - 1, draws))
    rows = max(1, _AT_ONCE // tables[0].shape[2])
    parts = [
        _drawn(tables, ceilings, uniform[:, at : at + rows], draws=min(rows, draws - at))
        for at in range(0, draws, rows)
    ]
    picks = np.concatenate([p for p, _ in parts], axis=1)
    share = np.concatenate([s for _, s in parts])
    return SyndromeSample(
        picks=picks,
        share=np.minimum(share, 1.0),  # rounding alone can exceed the ceiling
        last=likeliest(tables, picks),
        log2_ceiling=float(np.log2(ceilings[0][1])),
    )


def likeliest(tables: Sequence[Array], picks: Array) -> Array:
    """log2 of the likeliest word's probability for drawn syndromes, summed over those of the last block.

    Under another source than they were drawn under, the change of this says how the draw's share changes.

    Parameters
    ----------
    tables : sequence of (states before, states after, 2**r) float
    picks : (blocks - 1, draws) int

    Returns
    -------
    (draws,) float
        -inf where the other source cannot have them.
    """
    draws = picks.shape[1]
    ends = np.ones((1, draws))
    log2 = np.zeros(draws)
    for table, pick in zip(tables[:-1], picks, strict=True):
        ends = (ends[:, None, :] * table[:, :, pick]).max(axis=0)
        peak = ends.max(axis=0)
        with np.errstate(divide="ignore"):
            log2 += np.log2(peak)
        ends /= np.where(peak > 0, peak, 1.0)
    rows = max(1, _AT_ONCE // tables[-1].shape[2])
    sums = [
        through(ends[:, at : at + rows], tables[-1]).max(axis=0).sum(axis=1) for at in range(0, draws, rows)
    ]
    with np.errstate(divide="ignore"):
        return np.asarray(log2 + np.log2(np.concatenate(sums)))


def _ceilings(tables: Sequence[Array]) -> list[tuple[Array, float]]:
    """(single, total) before each block and after the last, see the head of this file."""
    found = [(np.ones(tables[-1].shape[1]), 1.0)]
    for table in reversed(tables):
        states = len(table)
        starts = np.concatenate([np.eye(states), np.ones((states, 1))], axis=1)
        # one start at a time: all of them would be as many times the table
        sums = [
            float(_ceiling(through(starts[:, i, None], table), *found[-1]).sum()) for i in range(states + 1)
        ]
        found.append((np.array(sums[:-1]), sums[-1]))
    return found[::-1]


def _ceiling(worth: Array, single: Array, total: float) -> Array:
    """(states, ...) worth of each end -> what it can still come to at most."""
    lowest = np.tensordot(single, worth, axes=1)
    for level in worth:
        above = total * level
        for own, value in zip(single, worth, strict=True):
            above += own * np.maximum(value - level, 0.0)
        np.minimum(lowest, above, out=lowest)
    return np.asarray(lowest)


def _drawn(
    tables: Sequence[Array], ceilings: Sequence[tuple[Array, float]], uniform: Array, *, draws: int
) -> tuple[Array, Array]:
    each = np.arange(draws)
    ends = np.ones((1, draws))
    share, current = np.ones(draws), np.full(draws, ceilings[0][1])
    picks = np.zeros(uniform.shape, np.intp)
    for number, table in enumerate(tables):
        worth = through(ends, table)
        reach = _ceiling(worth, *ceilings[number + 1])  # (draws, syndromes)
        running = reach.cumsum(axis=1)
        share *= running[:, -1] / current
        if number == len(tables) - 1:
            continue
        # a draw that rounding puts past the end belongs to the last syndrome that is possible
        place = uniform[number] * running[:, -1]
        pick = np.minimum((running <= place[:, None]).sum(axis=1), (running < running[:, -1:]).sum(axis=1))
        picks[number] = pick
        ends = worth[:, each, pick]
        peak = ends.max(axis=0)
        ends = ends / peak
        current = reach[each, pick] / peak
    return picks, share
