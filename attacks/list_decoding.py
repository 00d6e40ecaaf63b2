"""The likeliest witnesses of a dependent source that fit the helper data, a list for each attempt.

Blocks of a code are joined by what each symbol says of the next: a dependence that no belief about single
symbols can carry.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.strings import Chain
from harness.contracts import Array, Linear
from harness.gf2 import all_words, product, solver

__all__ = ["KEPT", "Blocks", "blocks_of", "listed"]

KEPT = 48  # strings that are kept for every last symbol
MOST_WORDS = 13  # log2 of the words of a block


@dataclass(frozen=True, slots=True)
class Blocks:
    """Codes whose blocks hold whole symbols, in their order."""

    symbols: tuple[Array, ...]  # per block, (s,) the symbols that it holds
    null_words: Array  # (words, n) uint8
    lift: Array  # (n, r)


def blocks_of(linear: Linear, bits: int) -> Blocks | None:
    """None where blocks share symbols, leave their order, or are too large to list."""
    space = solver(linear.parity)
    if len(linear.positions) != 1 or space.dimension > MOST_WORDS:
        return None
    symbols, last = [], -1
    for place in linear.positions[0]:
        used = place[place >= 0]
        held = used[::bits] // bits
        whole = (held[:, None] * bits + np.arange(bits)).ravel()
        if len(used) % bits or not np.array_equal(used, whole) or (place[: len(used)] < 0).any():
            return None
        if held[0] != last + 1 or (np.diff(held) != 1).any():
            return None
        symbols.append(held)
        last = int(held[-1])
    return Blocks(tuple(symbols), product(all_words(space.dimension), space.basis), space.lift)


def listed(blocks: Blocks, chain: Chain, labels: Array, syndrome: Array, *, kept: int = KEPT) -> Array:
    """The likeliest strings of one attempt that fit its helper data, best first.

    Parameters
    ----------
    blocks : Blocks
    chain : Chain
        Of order 1.
    labels : (alphabet, bits) uint8
    syndrome : (blocks, r) uint8
        Of one attempt.
    kept : int
        Strings kept for every last symbol, after every block.

    Returns
    -------
    (n, symbols) uint8
        Exact up to `kept`; none where no string spells symbols.
    """
    alphabet, width = labels.shape
    spell = np.full(2**width, -1)
    powers = 1 << np.arange(width)
    spell[labels @ powers] = np.arange(alphabet)
    score, strings = np.zeros(1), np.zeros((1, 0), np.intp)
    for held, said in zip(blocks.symbols, syndrome, strict=True):
        words = blocks.null_words ^ product(said, blocks.lift.T)
        used = len(held) * width
        fits = ~words[:, used:].any(axis=1)
        parts = spell[words[fits, :used].reshape(-1, len(held), width) @ powers]
        parts = parts[(parts >= 0).all(axis=1)]
        if not len(parts):
            return np.zeros((0, 0), np.uint8)
        inner = chain.follow[parts[:, :-1], parts[:, 1:]].sum(axis=1)
        parts, inner = _best_by(parts, inner, parts[:, 0] * alphabet + parts[:, -1], kept)
        if strings.shape[1] == 0:
            joined, total = parts, inner + chain.start[0, parts[:, 0]]
        else:
            step = chain.follow[strings[:, -1]][:, parts[:, 0]]
            total = (score[:, None] + step + inner).ravel()
            before, after = np.divmod(np.arange(len(total)), len(parts))
            best = _heads(total, parts[after, -1], kept)
            total = total[best]
            joined = np.concatenate([strings[before[best]], parts[after[best]]], axis=1)
        strings, score = _best_by(joined, total, joined[:, -1], kept)
    return strings[np.argsort(-score, kind="stable")].astype(np.uint8)


def _best_by(strings: Array, score: Array, group: Array, kept: int) -> tuple[Array, Array]:
    best = _heads(score, group, kept)
    return strings[best], score[best]


def _heads(score: Array, group: Array, kept: int) -> Array:
    """Indices of the best of every group."""
    order = np.lexsort((-score, group))
    start = np.r_[0, np.flatnonzero(np.diff(group[order])) + 1]
    rank = np.arange(len(order)) - np.repeat(start, np.diff(np.r_[start, len(order)]))
    return np.asarray(order[rank < kept])
