"""Ordered-statistics decoding: keys ranked for codes too large to enumerate.

The most reliable independent positions of a block spell a word of the code. Words that differ from it
there in at most two bits are listed with their whole probability; all others follow by what their bits
cost at these positions alone. That is an attack which can be run, so the attacker gets at least this.
It is nearly the best there is where reliabilities differ, and far from it where all are alike: then the
basis is any, and an attacker who draws it again and again needs fewer guesses.

References
----------
Fossorier and Lin, IEEE Trans. Inf. Theory 41 (1995): soft-decision decoding based on
ordered statistics (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np

from harness import gf2
from harness.contracts import Array, Linear
from harness.decoding import block_words, witness_bits
from harness.ranking import FLOOR, Ranks, concatenate, on_grid, product_ranks

__all__ = ["Reprocessed", "after_own_decoder", "bit_log_odds", "ordered_statistics", "reprocess"]

LISTED_AT_ONCE = 2**20  # words listed at a time: 8 MB
PAIRS_AT_ONCE = 2**17  # their matrices stay in the processor's cache


def ordered_statistics(log_prob: Array, labels: Array, linear: Linear, symbols: Array) -> Ranks:
    """Rank of the true secret for a code too large to enumerate, by ordered statistics of order 2.

    Parameters
    ----------
    log_prob : (rows, m, alphabet)
        Belief about the witness.
    labels : (alphabet, bits) uint8
    linear : Linear
        For the same rows.
    symbols : (rows, m) uint8
        The true witness of device A.

    Returns
    -------
    Ranks
        Of an attack that first tries combinations of the words listed for each block, by their whole
        probability, and then all sets of flips by their cost at the most reliable positions. With K
        bits of secret it tries 1 + K + K (K - 1) / 2 combinations, so that a secret outside the lists
        is not long delayed. The lists hold a part of all words, so a better attack may need fewer
        guesses. `surprise` is NaN, since the posterior is not normalised here.
    """
    space = gf2.solver(linear.parity)
    blocks, k = linear.syndrome.shape[1], space.dimension
    bits, odds = witness_bits(symbols, labels), bit_log_odds(log_prob, labels)
    at_once = max(1, LISTED_AT_ONCE // (blocks * _list_size(k)))
    parts = []
    for start in range(0, len(bits), at_once):
        rows = slice(start, start + at_once)
        positions = linear.positions if len(linear.positions) == 1 else linear.positions[rows]
        offset = space.particular(linear.syndrome[rows])
        word = block_words(bits[rows], positions) ^ offset
        told = _block_odds(odds[rows], positions)
        found = reprocess(np.where(offset == 1, -told, told), word, space.basis)
        parts.append(_ranks(found, first=min(_list_size(blocks * k), _list_size(k) ** blocks)))
    return concatenate(parts)


def after_own_decoder(ranks: Ranks, accepted: Array, right: Array) -> Ranks:
    """The same attack, after one guess at what the scheme's own decoder makes of the likeliest witness.

    With hard decisions, whose reliabilities are all alike, ordered statistics reach fewer errors than an
    algebraic decoder; with this guess an attacker never gets less than the owner would with the same view.

    Parameters
    ----------
    ranks : Ranks
    accepted : (rows,) bool
        Where the decoder gives a key at all; elsewhere no guess is spent.
    right : (rows,) bool
        Where it is the true key.
    """
    spent = accepted.astype(float)
    found = accepted & right
    return Ranks(
        fewer_low=np.where(found, 0.0, ranks.fewer_low),
        fewer_high=np.where(found, 0.0, ranks.fewer_high + spent),
        upto_low=np.where(found, 1.0, ranks.upto_low),
        upto_high=np.where(found, 1.0, ranks.upto_high + spent),
        surprise=ranks.surprise,
        work=ranks.work,
    )


def bit_log_odds(log_prob: Array, labels: Array) -> Array:
    """(rows, m, alphabet) -> (rows, m * bits): log P(bit = 1) / P(bit = 0), on the grid, in its range."""
    odds = []
    for bit in range(labels.shape[1]):
        one = labels[:, bit] == 1
        with np.errstate(invalid="ignore"):
            value = np.logaddexp.reduce(log_prob[:, :, one], axis=2) - np.logaddexp.reduce(
                log_prob[:, :, ~one], axis=2
            )
        odds.append(value)
    joined = np.stack(odds, axis=2).reshape(len(log_prob), -1)
    return on_grid(np.clip(joined, FLOOR, -FLOOR))


def _block_odds(odds: Array, positions: Array) -> Array:
    """Log-odds as blocks (rows, blocks, n); an empty position is certainly 0, as far as the grid goes."""
    padded = np.concatenate([odds, np.full((len(odds), 1), FLOOR)], axis=1)
    if positions.shape[0] == 1:
        return padded[:, positions[0]]
    return np.take_along_axis(padded[:, None, :], positions, axis=2)


def _list_size(bits: int) -> int:
    return 1 + bits + comb(bits, 2)


@dataclass(frozen=True, slots=True)
class Reprocessed:
    """What ordered statistics say of some words; every cost is exact on the grid of the log-odds."""

    listed: Array  # (..., list) what each listed word costs more than the re-encoded one, which comes first
    index: Array  # (...) which listed word is true; -1 if none
    penalty: Array  # (..., k) |log-odds| of the basis
    flipped: Array  # (..., k) uint8: where the true word differs there


def reprocess(odds: Array, word: Array, generator: Array) -> Reprocessed:
    """List the words that differ in at most two bits from the most reliable basis's.

    Parameters
    ----------
    odds : (..., n)
        log P(1) / P(0) for every bit of a word of the code, on the grid.
    word : (..., n) uint8
        The true one.
    generator : (k, n) uint8, of full rank

    Returns
    -------
    Reprocessed
        The list is the re-encoded word, its k single flips, and its pairs of flips in the order of
        ``numpy.triu_indices(k, 1)``. With s the log-odds that each bit of the re-encoded word is right
        and G its systematic generator, flips i and j cost ``c_i + c_j - 2 sum(s G_i G_j)``, where
        ``c_i = sum(s G_i)``.
    """
    lead, (k, n) = odds.shape[:-1], generator.shape
    values, truth = odds.reshape(-1, n), word.reshape(-1, n)
    order = np.argsort(-np.abs(values), axis=1, kind="stable")
    systematic, basis = gf2.most_reliable_basis(generator, order)
    values, truth = (np.take_along_axis(x, order, axis=1) for x in (values, truth))
    # positions of the basis, in the order of the generator's rows, and the others
    by_kind = np.argsort(~basis.T, axis=1, kind="stable")
    held = np.take_along_axis(gf2.row_numbers(systematic).T, by_kind[:, :k], axis=1)
    at, rest = np.empty_like(held), by_kind[:, k:]
    np.put_along_axis(at, held, by_kind[:, :k], axis=1)
    told, others = (np.take_along_axis(values, x, axis=1) for x in (at, rest))
    hard = told > 0
    flipped = np.take_along_axis(truth, at, axis=1) ^ hard
    dependent = gf2.unpacked(np.take_along_axis(systematic.transpose(2, 1, 0), rest[:, :, None], axis=1), k)
    listed = np.empty((len(values), _list_size(k)))
    at_once = max(1, PAIRS_AT_ONCE // k**2)
    for start in range(0, len(values), at_once):
        some = slice(start, start + at_once)
        listed[some] = _costs(dependent[some].astype(np.float64), others[some], told[some])
    return Reprocessed(
        listed=listed.reshape(*lead, -1),
        index=_which(flipped).reshape(lead),
        penalty=np.abs(told).reshape(*lead, k),
        flipped=flipped.reshape(*lead, k),
    )


def _costs(dependent: Array, others: Array, told: Array) -> Array:
    """(words, list) from the generator at the other positions, (words, n - k, k), and all log-odds."""
    words, _, k = dependent.shape
    parity = (dependent @ (told > 0).astype(np.float64)[:, :, None])[:, :, 0]
    right = np.where(parity % 2 == 1, others, -others)
    both = ((dependent * right[:, :, None]).transpose(0, 2, 1) @ dependent).reshape(words, k * k)
    single = np.abs(told) + both[:, :: k + 1]
    i, j = np.triu_indices(k, 1)
    pairs = both.take(i * k + j, axis=1)
    pairs *= -2.0
    pairs += single.take(i, axis=1)
    pairs += single.take(j, axis=1)
    return np.concatenate([np.zeros((words, 1)), single, pairs], axis=1)


def _which(flipped: Array) -> Array:
    """(words, k) flips -> (words,) place in the list, -1 where there are more than two."""
    k, weight = flipped.shape[1], flipped.sum(axis=1)
    first, last = flipped.argmax(axis=1), k - 1 - flipped[:, ::-1].argmax(axis=1)
    before = first * k - first * (first + 1) // 2  # pairs whose first flip comes earlier
    place = np.select([weight == 0, weight == 1], [0, 1 + first], 1 + k + before + last - first - 1)
    return np.where(weight <= 2, place, -1)


def _ranks(found: Reprocessed, first: int) -> Ranks:
    """Rank of the attack that tries `first` combinations of listed words, then all sets of flips."""
    rows = len(found.index)
    penalty, flips = found.penalty.reshape(rows, -1), found.flipped.reshape(rows, -1).astype(np.intp)
    brackets = np.full((2, 2, rows), np.inf)  # b and b + t, low and high, of the combinations
    listed = np.flatnonzero((found.index >= 0).all(axis=1))
    if listed.size:
        costs = list(found.listed[listed].swapaxes(0, 1))
        brackets[:, :, listed] = _brackets(product_ranks(costs, found.index[listed]))
    late = np.flatnonzero(brackets[1, 1] > first)
    if late.size:
        costs = [np.stack([np.zeros(late.size), c], axis=1) for c in penalty[late].T]
        then = _brackets(product_ranks(costs, flips[late]))
        # of the combinations tried before, all or none stand before the truth among the sets of flips
        low = np.maximum(then[:, 0], [[first], [first + 1]])
        high = np.minimum(then[:, 1] + first, 2.0 ** min(penalty.shape[1], 1023))
        maybe = brackets[0, 0, late] < first  # its place in the list is not known well enough
        brackets[:, 0, late] = np.where(maybe, np.minimum(brackets[:, 0, late], low), low)
        brackets[:, 1, late] = high
    (fewer_low, fewer_high), (upto_low, upto_high) = brackets
    return Ranks(
        fewer_low=fewer_low,
        fewer_high=fewer_high,
        upto_low=upto_low,
        upto_high=upto_high,
        surprise=np.full(rows, np.nan),
    )


def _brackets(ranks: Ranks) -> Array:
    return np.array([[ranks.fewer_low, ranks.fewer_high], [ranks.upto_low, ranks.upto_high]])
