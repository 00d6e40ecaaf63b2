"""Min-entropy against a predictor with a dictionary of stretches that fills up as it goes."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Estimate
from harness.estimators.entropy.contexts import (
    Contexts,
    deeper,
    empty_context,
    follow_counts,
    foretold,
    recurring,
)
from harness.estimators.entropy.predictions import from_predictions
from harness.estimators.entropy.sequences import codes

__all__ = ["lz78y", "lz78y_hits"]

_ENTRIES = 65_536


def lz78y(
    symbols: Array, *, longest: int = 16, entries: int = _ENTRIES, attempts: int = 1, subjects: int = 1
) -> Estimate:
    """Min-entropy per symbol against a dictionary of up to `longest` symbols and what followed them.

    Parameters
    ----------
    symbols : (n,) int
    longest : int
        Symbols of a dictionary entry at most. The standard's: 16.
    entries : int
        Of the dictionary at most, of all lengths together. The standard's: 65 536.
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
        If there are fewer than `longest` and three.

    References
    ----------
    NIST SP 800-90B (2018) §6.3.10.

    Examples
    --------
    >>> s = np.array([2, 1, 3, 2, 1, 3, 1, 3, 1, 2, 1, 3, 2])
    >>> round(lz78y(s, longest=4).value, 10)
    0.0191437109
    """
    numbers, kinds = codes(symbols, least=longest + 3, needs="the LZ78Y estimate")
    right = lz78y_hits(numbers, longest=longest, entries=entries)
    return from_predictions("lz78y", right, kinds, attempts=attempts, subjects=subjects)


def lz78y_hits(numbers: Array, *, longest: int = 16, entries: int = _ENTRIES) -> Array:
    """Which symbols behind the first `longest` and one are predicted: (n - longest - 1,) bool.

    Notes
    -----
    A longer entry outdoes a shorter one only if some symbol has followed both equally often, that is, as
    long as the longer one stood there every time. From the first time that it did not, the pair is out for
    good, and so is every longer one; nor can a longer entry foretell that symbol any more, so the place is
    decided. That leaves little to look at beyond length 1.
    """
    if longest < 1:
        raise ValueError(f"`longest` must be at least 1, got {longest}")
    if entries < 1:
        raise ValueError(f"`entries` must be at least 1, got {entries}")
    n = len(numbers)
    before = _entries_before(numbers, longest, entries)
    best, times = np.zeros_like(numbers), np.zeros(n, np.int32)
    shorter = np.zeros(n, np.int32)  # how often the symbol had followed the entry one shorter; 0: no such
    contexts = empty_context(numbers, longest)
    for length in range(1, longest + 1):
        contexts = deeper(contexts, numbers, length)
        place, count = contexts.place, follow_counts(contexts)
        known = before[_first_places(contexts)]
        held = known + (longest - length) < entries  # of one place the longest come first
        symbol, seen = foretold(contexts, np.where(held, count, 0))
        wins = (seen > 0) & (seen >= times[place])
        best[place[wins]], times[place[wins]] = symbol[wins], seen[wins]
        together = (shorter[place] == 0) | (count == shorter[place])
        shorter[place] = np.where(held, count, 0)
        contexts = contexts.kept((known < entries) & together)
    return np.asarray((best == numbers) & (times > 0))[longest + 1 :]


def _first_places(contexts: Contexts) -> Array:
    """Where the context of each place stood first, among the places left."""
    starts = np.flatnonzero(np.r_[True, contexts.group[1:] != contexts.group[:-1]])
    return np.asarray(contexts.place[starts][contexts.group])


def _entries_before(numbers: Array, longest: int, entries: int) -> Array:
    """(n,) stretches of up to `longest` symbols before all earlier places, or at least `entries`."""
    n = len(numbers)
    stop = min(n, longest + 1 + entries // 2)
    while True:
        new = _new_stretches(numbers[:stop], longest)
        if stop == n or int(new.sum()) >= entries:
            break
        stop = min(n, 4 * stop)
    before = np.full(n, new.sum(), np.int32)
    before[0] = 0
    np.cumsum(new[:-1], out=before[1:stop])
    return before


def _new_stretches(numbers: Array, longest: int) -> Array:
    """(n,) of the stretches of 1 to `longest` symbols before each place, how many are seen first there."""
    n = len(numbers)
    new = np.zeros(n, np.int32)
    new[longest:] = longest
    contexts = empty_context(numbers, longest)
    for length in range(1, longest + 1):
        contexts = deeper(contexts, numbers, length)
        new[contexts.place[1:][contexts.group[1:] == contexts.group[:-1]]] -= 1
        contexts = recurring(contexts)
    return new
