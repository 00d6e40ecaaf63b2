"""Min-entropy against Markov models of several orders that count what follows what."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from harness.contracts import Array, Estimate
from harness.estimators.entropy.contexts import (
    Contexts,
    births,
    deeper,
    empty_context,
    follow_counts,
    foretold,
    foretold_bits,
    recurring,
)
from harness.estimators.entropy.predictions import from_predictions
from harness.estimators.entropy.scoreboard import packed, right_by_the_best
from harness.estimators.entropy.sequences import codes

__all__ = ["counting_hits", "multi_markov"]

_ENTRIES = 100_000


def multi_markov(
    symbols: Array, *, depth: int = 16, entries: int = _ENTRIES, attempts: int = 1, subjects: int = 1
) -> Estimate:
    """Min-entropy per symbol against the best of models that predict from the last d symbols.

    Parameters
    ----------
    symbols : (n,) int
    depth : int
        Models: d from 1 to `depth`. The standard's: 16.
    entries : int
        Pairs of d symbols and a follower that each model can count at most. The standard's: 100 000.
    attempts, subjects : int
        Where the symbols come from; recorded with the estimate.

    Returns
    -------
    Estimate
        Unit "bit/symbol", side "defender-at-most"; see `from_predictions`.

    Raises
    ------
    ValueError
        If symbols are not whole numbers in one dimension, or a parameter is out of range.
    InsufficientData
        If there are fewer than four.

    References
    ----------
    NIST SP 800-90B (2018) §6.3.9.

    Examples
    --------
    >>> round(multi_markov(np.array([2, 1, 3, 2, 1, 3, 1, 3, 1]), depth=3).value, 10)
    0.0755169375
    """
    numbers, kinds = codes(symbols, least=4, needs="the multi-Markov estimate")
    right = counting_hits(numbers, depth=depth, entries=entries)
    return from_predictions("multi-markov", right, kinds, attempts=attempts, subjects=subjects)


def counting_hits(numbers: Array, *, depth: int = 16, entries: int = _ENTRIES) -> Array:
    """Which symbols from the third on are predicted: (n - 2,) bool."""
    if depth < 1:
        raise ValueError(f"`depth` must be at least 1, got {depth}")
    if entries < 1:
        raise ValueError(f"`entries` must be at least 1, got {entries}")
    n, kinds = len(numbers), int(numbers.max(initial=0)) + 1

    def hits() -> Iterator[Array]:
        hit = np.zeros(n, bool)
        contexts = empty_context(numbers, 0)
        for d in range(1, depth + 1):
            contexts = deeper(contexts, numbers, d)
            symbol, times = _foretold(contexts, kinds, entries, d, n)
            hit[:] = False
            hit[contexts.place.astype(np.intp)] = (symbol == contexts.symbol) & (times > 0)
            yield hit[2:]
            contexts = recurring(contexts)

    return right_by_the_best(packed(hits(), n - 2), n - 2)


def _foretold(contexts: Contexts, kinds: int, entries: int, depth: int, n: int) -> tuple[Array, Array]:
    """What each context foretells, by pairs that came while the model took new ones."""
    # places that are not in `contexts` any more had a context of their own: a new pair each
    alone = n - depth - len(contexts.place)
    if kinds == 2 and alone + 2 * (int(contexts.group.max(initial=-1)) + 1) <= entries:
        return foretold_bits(contexts)
    count = follow_counts(contexts)
    again = contexts.place[count > 1]
    if n - depth - len(again) > entries:
        new = np.ones(n, bool)
        new[:depth] = False
        new[again] = False
        last = np.flatnonzero(new)[entries - 1]
        count[births(contexts) > last] = 0
    return foretold(contexts, count)
