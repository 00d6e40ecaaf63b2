"""Average min-entropy of a whole key given its helper data, exactly, for a known source of symbols.

The best guess of someone who sees the syndromes s of all blocks is the likeliest word that has them, and
-log2 of its probability, summed over s, is what is left. For one s, the likeliest word is found along the
trellis: what the blocks so far leave is one number for each symbol at which they may end. Blocks of a
dependent source are tied together by nothing else, so two sets of syndromes that leave these numbers in
the same proportions are one from there on. Where proportions recur, as they do for independent symbols and
for few distinct probabilities, the sum over all syndromes is exact in a few thousand terms.
"""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.joint_trellis import best_tables, sections, through
from harness.estimators.entropy.symbol_chains import SymbolChain

__all__ = ["block_min_entropies", "connected_blocks", "joint_min_entropy", "known_source_min_entropy"]

_STEP = 1 << 20  # pairs (proportions, syndrome) kept from one block to the next at most
_LAST = 1 << 26  # and looked at in the last block
_AT_ONCE = 1 << 20
_GRID = 2.0**40  # proportions whose log2 are this near are the same but for rounding


def joint_min_entropy(parity: Array, positions: Array, labels: Array, chain: SymbolChain) -> float:
    """Average min-entropy of all blocks together given all their syndromes, exactly.

    Parameters
    ----------
    parity : (r, n) uint8
        Syndrome of a block: ``parity @ bits``. A code-offset publishes as much as its syndrome.
    positions : (blocks, n) int
        Bit j of symbol i is i * bits + j; -1 reads as 0. Symbols may straddle blocks.
    labels : (alphabet, bits) uint8
    chain : SymbolChain
        The source; independent symbols are a chain too (`independent_symbols`).

    Returns
    -------
    float
        Bits. The secret is taken to be the word itself, which it is where a block's k secret bits and its
        syndrome determine the block.

    Raises
    ------
    ValueError
        As `sections`.
    InsufficientData
        If proportions do not recur, so that the sum has too many terms: `sampled_min_entropy` then; or as
        `sections` and `best_words`.

    References
    ----------
    Dodis, Ostrovsky, Reyzin and Smith, SIAM J. Comput. 38 (2008): average min-entropy.

    Examples
    --------
    Bits of which nine in ten are as the one before, in three blocks of two whose parity is published:

    >>> from harness.estimators.entropy.symbol_chains import stationary_chain
    >>> bits, check = np.array([[0], [1]], np.uint8), np.ones((1, 2), np.uint8)
    >>> steady = stationary_chain(np.array([[0.9, 0.1], [0.1, 0.9]]), 6)
    >>> alone = joint_min_entropy(check, np.array([[0, 1]]), bits, steady)
    >>> together = joint_min_entropy(check, np.arange(6).reshape(3, 2), bits, steady)
    >>> round(alone, 3), round(together, 3)
    (1.0, 1.304)
    """
    cut = sections(parity, positions, labels, chain)
    tables, log2_scale = best_tables(cut)
    if not tables:
        return 0.0
    directions, weight = np.ones((1, 1)), np.ones(1)  # (states, rows), (rows,)
    bits = -log2_scale
    merged: dict[int, tuple[Array, Array]] = {}
    for number, table in enumerate(tables, 1):
        if id(table) not in merged:
            flat, count = _alike(table.reshape(-1, table.shape[2]), np.ones(table.shape[2]))
            merged[id(table)] = flat.reshape(*table.shape[:2], -1), count
        kinds, count = merged[id(table)]
        pairs = weight.size * count.size
        if pairs > (_STEP if number < len(tables) else _LAST):
            raise InsufficientData(
                f"the exact value needs proportions that recur, but block {number} of {len(tables)} has "
                f"{pairs} cases"
            )
        if number < len(tables):
            onward = through(directions, kinds).reshape(kinds.shape[1], -1)
            directions, weight = _alike(onward, np.multiply.outer(weight, count).ravel())
            bits -= float(np.log2(weight.sum()))  # else many blocks would underflow
            weight = weight / weight.sum()
    return bits - float(np.log2(_total(directions, weight, kinds, count))) + 0.0


def block_min_entropies(parity: Array, positions: Array, labels: Array, chain: SymbolChain) -> Array:
    """Average min-entropy of every block alone given its own syndrome, (blocks,) bits.

    They do not add up to the key's: see `joint_min_entropy`, whose parameters and errors these are. A
    symbol that straddles blocks counts in each with the bits that it has there.
    """
    return np.array([joint_min_entropy(parity, block[None], labels, chain) for block in positions])


def connected_blocks(positions: Array, bits: int) -> list[Array]:
    """Numbers of the blocks that symbols tie together by straddling, group by group.

    Parameters
    ----------
    positions : (blocks, n) int
    bits : int
        Of a symbol.

    Examples
    --------
    Blocks of five bits, symbols of two: the third symbol lies in the first two blocks.

    >>> [group.tolist() for group in connected_blocks(np.arange(20).reshape(4, 5), 2)]
    [[0, 1], [2, 3]]
    """
    group = np.arange(len(positions))
    owner: dict[int, int] = {}
    for number, block in enumerate(positions):
        for symbol in np.unique(block[block >= 0] // bits).tolist():
            if symbol in owner:
                group[group == group[number]] = group[owner[symbol]]
            owner[symbol] = number
    return [np.flatnonzero(group == g) for g in dict.fromkeys(group.tolist())]


def known_source_min_entropy(bits: Array, shares: Array) -> float:
    """Average min-entropy for someone who knows which of several sources a key is from: whose it is, say.

    Someone who does not know it has at least as much left to guess.

    Parameters
    ----------
    bits : (sources,) float
        What each leaves.
    shares : (sources,) float
        How often each is met; they sum to 1.

    Raises
    ------
    ValueError
        If the shares are no distribution over the sources.

    Examples
    --------
    One person in ten whose key is known costs all the others' strength:

    >>> round(known_source_min_entropy(np.array([0.0, 128.0]), np.array([0.1, 0.9])), 3)
    3.322
    """
    left, weight = np.asarray(bits, np.float64), np.asarray(shares, np.float64)
    if left.shape != weight.shape or not (np.min(weight) >= 0 and abs(weight.sum() - 1) < 1e-9):
        raise ValueError(f"`shares` must be a distribution over {left.size} sources, got {shares}")
    least = float(left.min())  # else the odds of strong sources alone would underflow
    return least - float(np.log2(weight @ 2.0 ** (least - left)))


def _total(directions: Array, weight: Array, kinds: Array, count: Array) -> float:
    """Sum of the best over all ends, without keeping what is left."""
    rows = max(1, _AT_ONCE // count.size)
    return sum(
        float(weight[at : at + rows] @ through(directions[:, at : at + rows], kinds).max(axis=0) @ count)
        for at in range(0, weight.size, rows)
    )


def _alike(values: Array, weight: Array) -> tuple[Array, Array]:
    """Merge columns (states, n) that are in the same proportions; their sizes join the weights.

    Returns
    -------
    directions : (states, distinct) float
        The greatest entry is 1.
    weight : (distinct,) float
    """
    peak = values.max(axis=0)
    kept = peak > 0
    values, weight, peak = values[:, kept], weight[kept], peak[kept]
    directions = values / peak
    number = np.zeros(peak.size, np.int64)
    for row in directions:
        with np.errstate(divide="ignore"):
            place = np.rint(np.log2(row) * _GRID)
        own = np.unique(place, return_inverse=True)[1].ravel()
        # numbers stay below the square of the columns, far inside an int64
        number = np.unique(number * (int(own.max()) + 1) + own, return_inverse=True)[1].ravel()
    first = np.unique(number, return_index=True)[1]
    return directions[:, first], np.bincount(number, weight * peak)
