"""Min-entropy from stretches that occur often, and from stretches that occur at all twice."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.entropy.sequences import as_estimate, codes, upper_share
from harness.estimators.entropy.suffixes import common_lengths

__all__ = ["longest_repeated_substring", "repeated_pairs", "t_tuple", "tuple_counts"]


def t_tuple(symbols: Array, *, cutoff: int = 35, attempts: int = 1, subjects: int = 1) -> Estimate:
    """Min-entropy per symbol from the most frequent stretches of each length.

    Parameters
    ----------
    symbols : (n,) int
    cutoff : int
        A length counts if its most frequent stretch occurs so often, at least 2. The standard's: 35.
    attempts, subjects : int
        Where the symbols come from; recorded with the estimate.

    Returns
    -------
    Estimate
        Unit "bit/symbol", side "defender-at-most". Value and low: from the upper 99.5 % limit of the
        largest share per symbol.

    Raises
    ------
    ValueError
        If symbols are not whole numbers in one dimension, or `cutoff` is less than 2.
    InsufficientData
        If no symbol occurs `cutoff` times.

    Notes
    -----
    Of symbols that depend on one another it may lie above the truth: the first symbol of a stretch counts
    in full, and stretches that occur often are short. Only the least of all estimators is an assessment.

    References
    ----------
    NIST SP 800-90B (2018) §6.3.5.

    Examples
    --------
    >>> s = np.array([2, 2, 0, 1, 0, 2, 0, 1, 2, 1, 2, 0, 1, 2, 1, 0, 0, 1, 0, 0, 0])
    >>> round(t_tuple(s, cutoff=3).value, 10)
    0.2730789797
    """
    needs = "the t-tuple estimate"
    numbers, kinds = _numbers(symbols, cutoff, needs)
    counts = tuple_counts(numbers, kinds, cutoff=cutoff)
    if len(counts) == 0:
        raise InsufficientData(
            f"{needs} needs a symbol that occurs at least {cutoff} times, got at most "
            f"{int(np.bincount(numbers).max())} times"
        )
    n = len(numbers)
    lengths = np.arange(1, len(counts) + 1)
    share = float(((counts / (n - lengths + 1)) ** (1 / lengths)).max())
    return as_estimate("t-tuple", upper_share(share, n), attempts=attempts, subjects=subjects)


def longest_repeated_substring(
    symbols: Array, *, cutoff: int = 35, attempts: int = 1, subjects: int = 1
) -> Estimate:
    """Min-entropy per symbol from how often two stretches of one length agree.

    Parameters
    ----------
    symbols : (n,) int
    cutoff : int
        Only lengths count whose most frequent stretch occurs less often, at least 2. The standard's: 35.
    attempts, subjects : int
        Where the symbols come from; recorded with the estimate.

    Returns
    -------
    Estimate
        Unit "bit/symbol", side "defender-at-most". Value and low: from the upper 99.5 % limit of the
        largest share per symbol.

    Raises
    ------
    ValueError
        If symbols are not whole numbers in one dimension, or `cutoff` is less than 2.
    InsufficientData
        If no stretch occurs more than once and less than `cutoff` times, which leaves no length to use.

    Notes
    -----
    It sees how often stretches agree, which is less than how often the likeliest occurs: of unequal symbols
    it lies above the truth. Only the least of all estimators is an assessment.

    References
    ----------
    NIST SP 800-90B (2018) §6.3.6.

    Examples
    --------
    >>> s = np.array([2, 2, 0, 1, 0, 2, 0, 1, 2, 1, 2, 0, 1, 2, 1, 0, 0, 1, 0, 0, 0])
    >>> round(longest_repeated_substring(s, cutoff=3).value, 10)
    0.6145634623
    """
    needs = "the longest repeated substring estimate"
    numbers, kinds = _numbers(symbols, cutoff, needs)
    shortest, pairs = repeated_pairs(numbers, kinds, cutoff=cutoff)
    if len(pairs) == 0:
        raise InsufficientData(
            f"{needs} needs a stretch that occurs twice at a length where none occurs {cutoff} times, got "
            f"none in {len(numbers)} symbols"
        )
    n = len(numbers)
    lengths = np.arange(shortest, shortest + len(pairs))
    places = (n - lengths + 1).astype(float)
    share = float(((pairs / (places * (places - 1) / 2)) ** (1 / lengths)).max())
    return as_estimate(
        "longest-repeated-substring",
        upper_share(share, n),
        attempts=attempts,
        subjects=subjects,
    )


def _numbers(symbols: Array, cutoff: int, needs: str) -> tuple[Array, int]:
    if cutoff < 2:
        raise ValueError(f"`cutoff` must be at least 2, got {cutoff}")
    return codes(symbols, least=2, needs=needs)


def tuple_counts(numbers: Array, kinds: int, *, cutoff: int) -> Array:
    """How often the most frequent stretch of 1, 2, ... symbols occurs, as long as that is `cutoff` times.

    Parameters
    ----------
    numbers : (n,) uint
        All below `kinds`.

    Returns
    -------
    (lengths,) int
    """
    common = common_lengths(numbers, kinds)
    longest = _longest_of(common, cutoff)
    counts = np.zeros(longest, np.int64)
    for length in range(1, min(longest, _SHORT) + 1):
        breaks = np.flatnonzero(common < length)
        counts[length - 1] = np.diff(np.r_[-1, breaks, len(common)]).max()
    if longest > _SHORT:
        counts[_SHORT:] = _longest_runs(common, longest)[_SHORT:]
    return counts


_SHORT = 64  # lengths that are counted one by one


def _longest_of(common: Array, cutoff: int) -> int:
    """The greatest length of which a stretch occurs `cutoff` times."""
    if len(common) < cutoff - 1:
        return 0
    least, span = common, 1  # least of `span` entries
    while span < cutoff - 1:
        step = min(span, cutoff - 1 - span)
        least = np.minimum(least[:-step], least[step:])
        span += step
    return int(least.max())


def _longest_runs(common: Array, longest: int) -> Array:
    """For each length up to `longest`, one more than the longest run of entries at least as great.

    Long stretches that occur often are rare: this walk takes a microsecond an entry above `_SHORT`.
    """
    best = np.zeros(longest + 1, np.int64)
    start_of: list[tuple[int, int]] = []  # of open runs: where, and at least how great

    def close(until: int, above: int) -> int:
        start = until
        while start_of and start_of[-1][1] > above:
            start, value = start_of.pop()
            best[min(value, longest)] = max(best[min(value, longest)], until - start + 1)
        return start

    high = np.flatnonzero(common > _SHORT)
    previous = -2
    for at, value in zip(high.tolist(), common[high].tolist(), strict=True):
        if at != previous + 1:
            close(previous + 1, -1)
        start = close(at, value)
        if not start_of or start_of[-1][1] < value:
            start_of.append((start, value))
        previous = at
    close(previous + 1, -1)
    # a stretch of a length holds one of every smaller length
    return np.asarray(np.maximum.accumulate(best[::-1])[::-1][1:])


def repeated_pairs(numbers: Array, kinds: int, *, cutoff: int) -> tuple[int, Array]:
    """How many pairs of places hold the same stretch, at each length that the estimate uses.

    Parameters
    ----------
    numbers, kinds
        As `tuple_counts`.
    cutoff : int
        The first length is the shortest of which no stretch occurs so often.

    Returns
    -------
    int, (lengths,) int
        The first length, and the pairs at it and at each length up to the longest repeated one.
    """
    common = common_lengths(numbers, kinds)
    shortest = _longest_of(common, cutoff) + 1
    pairs = np.zeros(max(int(common.max()) + 1 - shortest, 0), np.int64)
    least = common
    for apart in range(1, cutoff - 1):  # no stretch has `cutoff` places, so none two that lie further apart
        kept = least[least >= shortest]
        if len(kept) == 0:
            break
        pairs += np.bincount(kept - shortest, minlength=len(pairs))
        least = np.minimum(least[:-1], common[apart:])
    return shortest, np.cumsum(pairs[::-1])[::-1]
