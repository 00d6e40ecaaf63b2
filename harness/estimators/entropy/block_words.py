"""Every word of one block with probability and syndrome: what guesses given the helper data are worth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.joint_trellis import sections
from harness.estimators.entropy.symbol_chains import SymbolChain

__all__ = ["BlockWords", "crude_bounds", "guess_odds", "possible_words"]

_MOST = 1 << 24  # words of a block that are enumerated at most


@dataclass(frozen=True, slots=True)
class BlockWords:
    """The words of a block that can occur."""

    probability: Array  # (words,) float, sums to 1
    syndrome: Array  # (words,) int


def possible_words(parity: Array, positions: Array, labels: Array, chain: SymbolChain) -> BlockWords:
    """Enumerate one block.

    Parameters
    ----------
    parity : (r, n) uint8
    positions : (n,) int
        Bit j of symbol i is i * bits + j; -1 reads as 0.
    labels : (alphabet, bits) uint8
    chain : SymbolChain

    Raises
    ------
    ValueError
        As `sections`.
    InsufficientData
        If there are more than 2^24 words, or as `sections`.
    """
    # short numbers sort by radix
    kind = np.uint16 if len(parity) <= 16 else np.int64
    probability, syndrome = np.ones((1, 1)), np.zeros(1, kind)
    for section in sections(parity, positions[None], labels, chain):
        size = math.prod(len(add) for add in section.adds)
        if size > _MOST:
            raise InsufficientData(f"enumerating a block needs at most {_MOST} words, got {size}")
        enters = [enter for enter in section.enters if enter is not None]  # all: no block came before
        for enter, add in zip(enters, section.adds, strict=True):
            probability = (probability[:, :, None] * enter).reshape(-1, len(add))
            syndrome = np.bitwise_xor.outer(syndrome, add.astype(kind)).ravel()
    flat = probability.ravel()
    occurs = flat > 0
    return BlockWords(flat[occurs], syndrome[occurs])


def guess_odds(words: BlockWords, budgets: Sequence[int]) -> Array:
    """Odds that a block is found within some guesses by someone who sees its syndrome, exactly.

    Parameters
    ----------
    words : BlockWords
    budgets : sequence of int
        Numbers of guesses, each at least 0; the likeliest words are guessed first.

    Returns
    -------
    (budgets,) float
        The odds at one guess are ``2 ** -h`` with h the average min-entropy.

    Raises
    ------
    ValueError
        If a budget is negative.

    Examples
    --------
    Two fair bits whose parity is public leave two words:

    >>> chain = SymbolChain(np.array([0.5, 0.5]), np.full((1, 2, 2), 0.5))
    >>> labels, check = np.array([[0], [1]], np.uint8), np.ones((1, 2), np.uint8)
    >>> guess_odds(possible_words(check, np.arange(2), labels, chain), [0, 1, 2]).tolist()
    [0.0, 0.5, 1.0]
    """
    wanted = np.asarray(budgets, np.float64)
    if wanted.size and wanted.min() < 0:
        raise ValueError(f"`budgets` must be at least 0, got {min(budgets)}")
    falling = np.argsort(-words.probability)
    order = falling[np.argsort(words.syndrome[falling], kind="stable")]
    syndrome, probability = words.syndrome[order], words.probability[order]
    first = np.flatnonzero(np.r_[True, syndrome[1:] != syndrome[:-1]])
    sizes = np.diff(np.r_[first, syndrome.size])
    place = np.arange(syndrome.size) - np.repeat(first, sizes)  # guesses before the word's own
    at_guess = np.r_[0.0, np.cumsum(np.bincount(place, probability))]
    return np.asarray(at_guess[np.minimum(wanted, at_guess.size - 1).astype(np.intp)])


def crude_bounds(words: BlockWords, parities: int) -> tuple[float, float]:
    """Entropy of a block minus what is published, by Shannon and by the likeliest word.

    Returns
    -------
    shannon, least : float
        Bits. The first is no bound on the odds of a guess and is often several bits too high; the second
        bounds the average min-entropy from below, often from far below (it may be negative).

    References
    ----------
    Dodis et al. (2008), lemma 2.2 (number from memory): a public string of λ bits costs at most λ bits.
    """
    p = words.probability
    return -float((p * np.log2(p)).sum()) - parities, -float(np.log2(p.max())) - parities
