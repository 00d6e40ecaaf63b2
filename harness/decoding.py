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

__all__ = [
    "ENUMERABLE",
    "block_words",
    "enumerable",
    "secret_costs",
    "secret_ranks",
    "witness_bits",
]

ENUMERABLE = 14  # log2 of the words of a block that are enumerated at most
_ROWS_AT_ONCE = 32  # their words' costs stay in the processor's cache


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
    parts, order = [], []
    for some, costs, true in secret_costs(log_prob, labels, linear, symbols):
        parts.append(product_ranks(costs, true))
        order.append(some)
    return _reordered(concatenate(parts), np.concatenate(order))


def secret_costs(
    log_prob: Array, labels: Array, linear: Linear, symbols: Array
) -> Iterator[tuple[Array, list[Array], Array]]:
    """What each secret of each block costs under a belief and the helper data, some rows at a time.

    Parameters
    ----------
    log_prob, labels, linear, symbols
        As `secret_ranks`.

    Yields
    ------
    rows : (some,) int
    costs : list of (some, secrets) float
        Per block, minus the log-probability of each secret, up to a constant.
    true : (some, blocks) int
        Which of them is A's.
    """
    truth = witness_bits(symbols, labels)
    candidates = _candidates(linear)
    for rows, positions in _structures(linear):
        blocks = [_layout(p, labels) for p in positions]
        codes = {c: _pattern_codes(c, candidates.null_words) for c in {b.columns for b in blocks}}
        for start in range(0, rows.size, _ROWS_AT_ONCE):
            some = rows[start : start + _ROWS_AT_ONCE]
            words = block_words(truth[some], positions[None])
            costs, true = [], []
            for i, block in enumerate(blocks):
                offset = candidates.space.particular(linear.syndrome[some, i])  # (rows, n)
                cost = _word_costs(log_prob[some], block, codes[block.columns], offset)
                number = _numbers(words[:, i] ^ offset, candidates.space)
                if candidates.groups is not None:
                    cost, number = _by_secret(cost, candidates.groups), candidates.groups[number]
                costs.append(cost)
                true.append(number)
            yield some, costs, np.stack(true, axis=1)


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
    distinct, index = np.unique(np.packbits(secrets, axis=1), axis=0, return_inverse=True)
    return _Candidates(space, null_words, None if len(distinct) == len(secrets) else index.ravel())


def _numbers(words: Array, space: gf2.Solver) -> Array:
    """Which candidate each null word is: its free positions, the first most significant."""
    powers = 1 << np.arange(space.dimension - 1, -1, -1)
    return (words[:, space.free].astype(np.intp) @ powers).astype(np.intp)


def _by_secret(cost: Array, groups: Array) -> Array:
    """Sum the probabilities of candidates with one secret: (rows, words) -> (rows, secrets) costs."""
    order = np.argsort(groups, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(groups[order]) > 0])
    least = cost.min(axis=1, keepdims=True)
    least = np.where(np.isfinite(least), least, 0.0)
    total = np.add.reduceat(np.exp(least - cost)[:, order], starts, axis=1)
    with np.errstate(divide="ignore"):
        return -on_grid(np.log(total) - least)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Which symbols a block's bits come from; one entry for every set of bits that it takes of a symbol."""

    symbols: tuple[Array, ...]  # (slots,) int each; of positions that always read 0, a -1 each
    columns: tuple[tuple[tuple[int, ...], ...], ...]  # (slots, width): where these bits lie in the block
    matches: tuple[Array, ...]  # (2**width, alphabet) bool: symbols by what these bits read


def _layout(positions: Array, labels: Array) -> _Layout:
    slots: dict[int, tuple[list[int], list[int]]] = {}
    for column, position in enumerate(positions.tolist()):
        symbol, bit = divmod(position, labels.shape[1]) if position >= 0 else (-1 - column, -1)
        columns, inside = slots.setdefault(symbol, ([], []))
        columns.append(column)
        inside.append(bit)
    kinds: dict[tuple[int, ...], list[tuple[int, tuple[int, ...]]]] = {}
    for symbol, (columns, inside) in slots.items():
        kinds.setdefault(tuple(inside), []).append((max(symbol, -1), tuple(columns)))
    patterns = [gf2.all_words(len(inside)) for inside in kinds]
    return _Layout(
        symbols=tuple(np.array([s for s, _ in kind]) for kind in kinds.values()),
        columns=tuple(tuple(c for _, c in kind) for kind in kinds.values()),
        matches=tuple(
            (labels[None, :, list(inside)] == p[:, None, :]).all(axis=2)
            for inside, p in zip(kinds, patterns, strict=True)
        ),
    )


def _pattern_codes(columns: tuple[tuple[tuple[int, ...], ...], ...], null_words: Array) -> Array:
    """(1 + patterns, words) float64: ones, and for each slot which pattern but the first a word holds."""
    codes = [np.ones((len(null_words), 1))]
    for kind in columns:
        width = len(kind[0])
        pattern = null_words[:, np.array(kind)].astype(np.intp) @ _powers(width)  # (words, slots)
        codes.append(np.eye(1 << width)[pattern][:, :, 1:].reshape(len(null_words), -1))
    return np.ascontiguousarray(np.concatenate(codes, axis=1).T)


def _powers(width: int) -> Array:
    return 1 << np.arange(width - 1, -1, -1)


def _word_costs(log_prob: Array, block: _Layout, codes: Array, offset: Array) -> Array:
    """Minus the log-probability of every word ``offset ^ null word`` of one block, (rows, words).

    One matrix product: what each slot of the block costs with another pattern of bits than its
    first, and which words have it. On the grid, so exact whatever order the product adds in.
    """
    tables, barred = [], []
    for symbols, columns, matches in zip(block.symbols, block.columns, block.matches, strict=True):
        table = _pattern_costs(log_prob, symbols, matches)  # (rows, slots, patterns)
        width = len(columns[0])
        shift = offset[:, np.array(columns)].astype(np.intp) @ _powers(width)  # (rows, slots)
        table = np.take_along_axis(table, np.arange(1 << width) ^ shift[:, :, None], axis=2)
        never = np.isposinf(table)
        tables.append(np.where(never, 0.0, table))
        barred.append(never.astype(np.float64))
    cost = _sums(tables, codes)
    if any(never.any() for never in barred):
        cost[_sums(barred, codes) > 0] = np.inf
    return cost


def _sums(tables: list[Array], codes: Array) -> Array:
    """Sum over slots of the entry of each word's pattern, (rows, slots, patterns) -> (rows, words)."""
    rows = len(tables[0])
    first = np.concatenate([t[:, :, 0] for t in tables], axis=1).sum(axis=1, keepdims=True)
    more = [(t[:, :, 1:] - t[:, :, :1]).reshape(rows, -1) for t in tables]
    return np.asarray(np.concatenate([first, *more], axis=1) @ codes)


def _pattern_costs(log_prob: Array, symbols: Array, matches: Array) -> Array:
    """(rows, m, alphabet) -> (rows, slots, patterns): minus the log-probability of each pattern of bits."""
    if symbols[0] < 0:  # bits that always read 0
        return np.broadcast_to(np.array([0.0, np.inf]), (len(log_prob), len(symbols), 2))
    told = log_prob[:, symbols]
    table = np.full((*told.shape[:2], len(matches)), -np.inf)
    for i, match in enumerate(matches):
        if match.any():
            table[:, :, i] = np.logaddexp.reduce(told[:, :, match], axis=2)
    return -on_grid(table)
