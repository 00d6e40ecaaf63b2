"""What a belief about the witness says about the key once the helper data are used.

Helper data are public, so every belief is sharpened by them before it is judged: exactly,
over all words of a block that fit the helper data, where those are few enough to
enumerate; by `ordered_statistics` for larger codes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from harness import gf2
from harness.contracts import Array, Linear
from harness.ranking import Ranks, concatenate, on_grid, product_ranks

__all__ = ["ENUMERABLE", "block_words", "enumerable", "secret_ranks", "witness_bits"]

ENUMERABLE = 14  # log2 of the words of a block that are enumerated at most
_IMPOSSIBLE = -(2.0**40)  # stands for -inf inside a matrix product
_CERTAIN = -(2.0**39)  # below this, one symbol was impossible: no finite sum of a block reaches it


def witness_bits(symbols: Array, labels: Array) -> Array:
    """(attempts, m) symbols -> (attempts, m * bits) uint8: bit j of symbol i is i * bits + j."""
    return labels[symbols].reshape(symbols.shape[0], -1).astype(np.uint8)


def block_words(bits: Array, positions: Array) -> Array:
    """Witness bits as blocks: (rows, bits), (1 or rows, blocks, n) -> (rows, blocks, n)."""
    padded = np.concatenate([bits, np.zeros((len(bits), 1), np.uint8)], axis=1)
    if positions.shape[0] == 1:
        return padded[:, positions[0]]
    return np.take_along_axis(padded[:, None, :], positions, axis=2)


def enumerable(linear: Linear) -> bool:
    """Whether the words of a block that fit the helper data can be enumerated."""
    return gf2.solver(linear.parity).dimension <= ENUMERABLE


def secret_ranks(log_prob: Array, labels: Array, linear: Linear, symbols: Array) -> Ranks:
    """Rank of the true secret under a belief and the helper data, exact per block.

    Parameters
    ----------
    log_prob : (rows, m, alphabet)
        Belief about the witness.
    labels : (alphabet, bits) uint8
    linear : Linear
        For the same rows; blocks small enough for `enumerable`.
    symbols : (rows, m) uint8
        The true witness of device A.

    Returns
    -------
    Ranks
        Among secrets. Where `finish` maps several secrets to one key, the rank among keys is at
        most this.

    Notes
    -----
    A symbol whose bits lie in two blocks enters each through its marginal there: what joins the
    blocks is not used, so the attacker gets at least this.
    """
    truth = witness_bits(symbols, labels)
    parts, order = [], []
    candidates = _candidates(linear)
    for rows, positions in _structures(linear):
        for start in range(0, rows.size, 64):
            some = rows[start : start + 64]
            parts.append(
                _block_ranks(log_prob[some], labels, linear, some, positions, truth[some], candidates)
            )
            order.append(some)
    return _reordered(concatenate(parts), np.concatenate(order))


def _reordered(ranks: Ranks, order: Array) -> Ranks:
    back = np.argsort(order, kind="stable")
    names = ("fewer_low", "fewer_high", "upto_low", "upto_high", "surprise")
    return Ranks(**{n: getattr(ranks, n)[back] for n in names}, work=ranks.work)


def _structures(linear: Linear) -> Iterator[tuple[Array, Array]]:
    """Rows that share their positions, with these: (rows,), (blocks, n)."""
    if linear.positions.shape[0] == 1:
        yield np.arange(linear.syndrome.shape[0]), linear.positions[0]
        return
    flat = linear.positions.reshape(linear.positions.shape[0], -1)
    distinct, index = np.unique(flat, axis=0, return_inverse=True)
    for i, positions in enumerate(distinct):
        yield np.flatnonzero(index.ravel() == i), positions.reshape(linear.positions.shape[1:])


@dataclass(frozen=True, slots=True)
class _Candidates:
    """The words of a block that fit a syndrome of nothing; every other syndrome shifts them all alike."""

    space: gf2.Solver
    null_words: Array  # (candidates, n) uint8
    groups: Array | None  # (candidates,) number of the secret each leads to; None if all differ


def _candidates(linear: Linear) -> _Candidates:
    space = gf2.solver(linear.parity)
    null_words = gf2.product(gf2.all_words(space.dimension), space.basis)
    secrets = gf2.product(null_words, linear.secret_map.T)
    distinct, index = np.unique(secrets, axis=0, return_inverse=True)
    return _Candidates(space, null_words, None if len(distinct) == len(secrets) else index.ravel())


def _block_ranks(
    log_prob: Array,
    labels: Array,
    linear: Linear,
    rows: Array,
    positions: Array,
    truth: Array,
    candidates: _Candidates,
) -> Ranks:
    words = block_words(truth, positions[None])
    costs, true = [], []
    for block in range(positions.shape[0]):
        start = candidates.space.particular(linear.syndrome[rows, block])  # (rows, n)
        score = _word_scores(log_prob, labels, positions[block], candidates.null_words, start)
        number = _numbers(words[:, block] ^ start, candidates.space)
        if candidates.groups is not None:
            score, number = _by_secret(score, candidates.groups), candidates.groups[number]
        costs.append(-score)
        true.append(number)
    return product_ranks(costs, np.stack(true, axis=1))


def _numbers(words: Array, space: gf2.Solver) -> Array:
    """Which candidate each null word is: its free positions, the first most significant."""
    powers = 1 << np.arange(space.dimension - 1, -1, -1)
    return (words[:, space.free].astype(np.intp) @ powers).astype(np.intp)


def _by_secret(score: Array, groups: Array) -> Array:
    """Sum the probabilities of candidates with one secret: (rows, words) -> (rows, secrets)."""
    order = np.argsort(groups, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(groups[order]) > 0])
    top = score.max(axis=1, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    total = np.add.reduceat(np.exp(score - top)[:, order], starts, axis=1)
    with np.errstate(divide="ignore"):
        return on_grid(np.log(total) + top)


def _word_scores(
    log_prob: Array, labels: Array, positions: Array, null_words: Array, start: Array
) -> Array:
    """Log-probability of every word ``start ^ null word`` of one block, (rows, words).

    One matrix product: for each symbol of the block, a one-hot code of the bits that the null
    word gives it, against a table of what the belief says of these bits. On the grid, so
    exact whatever order the product adds in.
    """
    rows = len(log_prob)
    tables, codes = [], []
    for columns, symbol, inside in _slots(positions, labels.shape[1]):
        width = len(columns)
        patterns = gf2.all_words(width)
        if symbol < 0:  # positions that always read 0
            table = np.full((rows, 2), _IMPOSSIBLE)
            table[:, 0] = 0.0
        else:
            table = _pattern_table(log_prob[:, symbol], labels[:, inside], patterns)
        powers = 1 << np.arange(width - 1, -1, -1)
        shift = start[:, columns].astype(np.intp) @ powers  # (rows,)
        index = np.arange(1 << width)[None, :] ^ shift[:, None]
        tables.append(np.take_along_axis(table, index, axis=1))
        pattern = null_words[:, columns].astype(np.intp) @ powers
        codes.append(np.eye(1 << width)[pattern])
    score = np.concatenate(tables, axis=1) @ np.concatenate(codes, axis=1).T
    return np.where(score < _CERTAIN, -np.inf, score)


def _slots(positions: Array, bits: int) -> list[tuple[list[int], int, list[int]]]:
    """Columns of a block by symbol: (columns, symbol or -1, bits of the symbol they hold)."""
    slots: dict[int, tuple[list[int], int, list[int]]] = {}
    for column, position in enumerate(positions.tolist()):
        if position < 0:
            slots[-1 - column] = ([column], -1, [])
            continue
        symbol, bit = divmod(position, bits)
        columns, _, inside = slots.setdefault(symbol, ([], symbol, []))
        columns.append(column)
        inside.append(bit)
    return list(slots.values())


def _pattern_table(log_prob: Array, labels: Array, patterns: Array) -> Array:
    """(rows, alphabet) over symbols -> (rows, patterns) over the bits present, impossible ones marked."""
    matches = (labels[None, :, :] == patterns[:, None, :]).all(axis=2)  # (patterns, alphabet)
    table = np.full((len(log_prob), len(patterns)), -np.inf)
    for i, match in enumerate(matches):
        if match.any():
            table[:, i] = np.logaddexp.reduce(log_prob[:, match], axis=1)
    table = on_grid(table)
    return np.where(np.isneginf(table), _IMPOSSIBLE, table)
