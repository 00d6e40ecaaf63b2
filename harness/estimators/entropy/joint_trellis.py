"""Blocks of a key as sections of one trellis: what each syndrome of a block leaves between its ends.

A section runs from the last symbol of the blocks before it to its own last symbol; a symbol that lies
across two blocks is the end of one and the beginning of the next. Since a syndrome adds up symbol by
symbol, a table over (syndrome so far, symbol) is all that has to be kept, whatever the number of words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.symbol_chains import SymbolChain

__all__ = ["LARGEST_TABLE", "Section", "best_tables", "best_words", "sections", "through"]

LARGEST_TABLE = 1 << 20  # entries (syndrome, first symbol, last symbol) of a section at most


@dataclass(frozen=True, slots=True)
class Section:
    """One block: the symbols that it reads, each with the way into it and its share of the syndrome."""

    enters: tuple[Array | None, ...]  # (states before, states) probabilities; None: already there
    adds: tuple[Array, ...]  # (states,) int: the syndrome of the bits that each state has in this block
    parities: int

    @property
    def ends(self) -> tuple[int, int]:
        """States before and after."""
        first = self.enters[0] if self.enters else None
        return (len(self.adds[0]) if first is None else len(first)), len(self.adds[-1])


def sections(parity: Array, positions: Array, labels: Array, chain: SymbolChain) -> list[Section]:
    """Cut the chain of symbols into the blocks that read it.

    Parameters
    ----------
    parity : (r, n) uint8
    positions : (blocks, n) int
        Bit j of symbol i is i * bits + j; -1 reads as 0. No block may begin before the symbol at which
        the block before it ends.
    labels : (alphabet, bits) uint8
    chain : SymbolChain
        Symbols that no block reads are summed out.

    Returns
    -------
    list of Section
        Blocks that read nothing are left out: they hold nothing.

    Raises
    ------
    ValueError
        If a position lies outside the chain, or the chain is of another alphabet than the labels.
    InsufficientData
        If symbols are not read in order, or one other than the first and the last is read only in part, so
        that several words of symbols would belong to one word of bits.
    """
    bits = labels.shape[1]
    if len(labels) != chain.alphabet:
        raise ValueError(
            f"`labels` must have a row for each of {chain.alphabet} symbols, got {len(labels)}"
        )
    if positions.ndim != 2 or positions.shape[1] != parity.shape[1]:
        raise ValueError(f"`positions` must be (blocks, {parity.shape[1]}), got {positions.shape}")
    if positions.size and not -1 <= int(positions.min()) <= int(positions.max()) < chain.symbols * bits:
        raise ValueError(
            f"`positions` must be -1 to {chain.symbols * bits - 1}, the bits of the chain, got "
            f"{positions.min()} to {positions.max()}"
        )
    read = [_by_symbol(block, bits) for block in positions]
    order = [symbol for block in read for symbol in block]
    if order != sorted(order):
        raise InsufficientData("the joint value needs blocks that read the symbols in their order")
    used = sorted(set(order))
    seen: dict[int, set[int]] = {s: set() for s in used}
    for block in read:
        for symbol, places in block.items():
            seen[symbol].update(j for _, j in places)
    patterns = {bits: _patterns(labels, bits) for bits in {tuple(sorted(seen[s])) for s in used}}
    shown = {s: patterns[tuple(sorted(seen[s]))] for s in used}
    for symbol in used[1:-1]:
        if len(shown[symbol].first) < len(labels):
            raise InsufficientData(
                f"the joint value needs whole symbols, and the bits read of symbol {symbol} do not tell it"
            )
    ways = dict(zip(used, _ways(chain, used, [shown[s] for s in used]), strict=True))
    weight = 1 << np.arange(len(parity), dtype=np.int64)
    columns = weight @ parity.astype(np.int64)  # (n,) the syndrome of each bit alone
    made, at = [], -1
    for block in read:
        enters: list[Array | None] = []
        adds: list[Array] = []
        for symbol, places in block.items():
            own = np.zeros(len(labels), np.int64)
            for column, j in places:
                own ^= np.where(labels[:, j] == 1, columns[column], 0)
            enters.append(None if symbol == at else ways[symbol])
            # bits read here are among those that tell states apart, so any symbol of a state serves
            adds.append(own[shown[symbol].first])
            at = symbol
        if adds:
            made.append(Section(tuple(enters), tuple(adds), len(parity)))
    return made


def _by_symbol(block: Array, bits: int) -> dict[int, list[tuple[int, int]]]:
    """Symbol -> (column of the block, bit of the symbol), in the order of the block."""
    found: dict[int, list[tuple[int, int]]] = {}
    for column, position in enumerate(block.tolist()):
        if position >= 0:
            symbol, j = divmod(position, bits)
            found.setdefault(symbol, []).append((column, j))
    return found


@dataclass(frozen=True, slots=True)
class _Patterns:
    """Symbols by what the bits that are read of them show."""

    first: Array  # (states,) a symbol of each state
    member: Array  # (alphabet, states) 1 where the symbol is in the state


def _patterns(labels: Array, bits: tuple[int, ...]) -> _Patterns:
    _, first, state = np.unique(labels[:, bits], axis=0, return_index=True, return_inverse=True)
    return _Patterns(first, np.eye(len(first))[state.ravel()])


def _ways(chain: SymbolChain, used: Sequence[int], shown: Sequence[_Patterns]) -> list[Array]:
    """(states before, states) into each symbol read; symbols read in part or never are summed out."""
    ways: list[Array] = []
    for i, (symbol, own) in enumerate(zip(used, shown, strict=True)):
        if i == 0:
            share = chain.start
            for step in chain.steps[:symbol]:
                share = share @ step
            ways.append(share[None, :] @ own.member)
            continue
        way = chain.steps[used[i - 1]]
        for step in chain.steps[used[i - 1] + 1 : symbol]:
            way = way @ step
        if i == 1:  # the first symbol may be known only in part: its symbols weigh by their shares
            joint = shown[0].member.T @ (share[:, None] * way)
            total = joint.sum(axis=1, keepdims=True)
            way = np.divide(joint, total, out=np.zeros_like(joint), where=total > 0)
        else:
            way = way[shown[i - 1].first]
        ways.append(way @ own.member)
    return ways


def best_words(section: Section) -> tuple[Array, float]:
    """The likeliest word of every syndrome, between any two ends.

    Returns
    -------
    table : (states before, states after, 2**r) float
        Greatest probability of a word with that syndrome, given where it begins, relative to the greatest
        of all.
    log2_scale : float
        log2 of the factor left out.

    Raises
    ------
    InsufficientData
        If the table would be larger than `LARGEST_TABLE`.
    """
    widest = max(len(a) for a in section.adds)
    before = section.ends[0]
    if section.parities > 30 or (before * widest) << section.parities > LARGEST_TABLE:
        raise InsufficientData(
            f"a block needs a table of 2^{section.parities} syndromes by {before} by {widest} symbols, and "
            f"more than {LARGEST_TABLE} entries are too many, also for Monte Carlo"
        )
    syndromes = np.arange(1 << section.parities)
    table = np.zeros((before, before, len(syndromes)))
    table[:, :, 0] = np.eye(before)
    log2_scale = 0.0
    for enter, add in zip(section.enters, section.adds, strict=True):
        if enter is not None:
            # one state at a time: the product of all would be as many times the table
            best = np.zeros((before, enter.shape[1], len(syndromes)))
            for x, row in enumerate(enter):
                np.maximum(best, table[:, x, None, :] * row[:, None], out=best)
            table = best
        for state, shift in enumerate(add.tolist()):
            if shift:
                table[:, state] = table[:, state][:, syndromes ^ shift]
        peak = float(table.max())
        table /= peak  # long blocks would underflow
        log2_scale += float(np.log2(peak))
    return table, log2_scale


def best_tables(cut: Sequence[Section]) -> tuple[list[Array], float]:
    """`best_words` of every block, equal blocks sharing one table; and log2 of all factors left out."""
    known: dict[tuple[bytes, ...], tuple[Array, float]] = {}
    tables, log2_scale = [], 0.0
    for section in cut:
        ways = [b"" if way is None else bytes([1]) + way.tobytes() for way in section.enters]
        key = (*ways, *(add.tobytes() for add in section.adds))
        if key not in known:
            known[key] = best_words(section)
        tables.append(known[key][0])
        log2_scale += known[key][1]
    return tables, log2_scale


def through(directions: Array, table: Array) -> Array:
    """Best words so far by end (states before, rows), over every syndrome of the next block.

    Returns
    -------
    (states after, rows, syndromes) float
    """
    found = np.zeros((table.shape[1], directions.shape[1], table.shape[2]))
    for own, onward in zip(directions, table, strict=True):
        np.maximum(found, own[:, None] * onward[:, None, :], out=found)
    return found
