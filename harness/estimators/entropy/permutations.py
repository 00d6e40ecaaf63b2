"""Are symbols independent and alike? Then no statistic can tell their order from another order of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.permutation_statistics import STATISTICS, order_statistics
from harness.estimators.entropy.whole_symbols import whole_symbols

__all__ = ["FEWEST", "OrderCount", "permutation_counts", "permutation_test", "tail_count"]

_AT_ONCE = 1 << 20  # symbols worked on together
FEWEST = 1666
"""With fewer permutations nothing could be rejected at the standard's rate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderCount:
    """One statistic of a sequence among the same statistic of shuffled ones.

    Counting ends once nothing that may still come could reject, so that a statistic that passes may rest on
    few permutations; one that is rejected rests on all of them.
    """

    name: str  # one of STATISTICS
    value: float  # of the sequence as it came
    above: int  # the standard's C0: shuffled ones with more
    equal: int  # C1
    below: int  # C2
    rejected: bool

    @property
    def permutations(self) -> int:
        return self.above + self.equal + self.below


def tail_count(permutations: int) -> int:
    """How far out an order must lie at most, counted in shuffled ones, for it to be rejected.

    The standard's 5 of 10 000, at either end: a chance of 6/10 001 each if orders are alike. Other numbers
    of permutations keep to that chance or less.

    Raises
    ------
    ValueError
        If there are fewer than `FEWEST`.

    Examples
    --------
    >>> tail_count(10_000), tail_count(1666)
    (5, 0)
    """
    if permutations < FEWEST:
        raise ValueError(
            f"`permutations` must be at least {FEWEST}, so that something can be rejected at the "
            f"standard's rate, got {permutations}"
        )
    return 6 * (permutations + 1) // 10_001 - 1


def permutation_test(
    symbols: Array,
    *,
    rng: np.random.Generator,
    permutations: int = 10_000,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[OrderCount, ...]:
    """Hold the order of symbols against shuffled orders, by eleven statistics at nineteen settings.

    Let C0, C1 and C2 count the shuffled sequences whose statistic is larger, equal and smaller. The order
    is rejected where C0 + C1 ≤ 5 or C1 + C2 ≤ 5 (that is C0 ≥ 9995) of 10 000. Both sums only grow, so a
    statistic for which both have passed 5 is settled, and is not computed for further permutations.

    Parameters
    ----------
    symbols : (n,) int
        From 0 to 255.
    rng : numpy.random.Generator
    permutations : int
        At least `FEWEST`.
    progress : callable, optional
        Told how many permutations are done, and of how many.

    Returns
    -------
    tuple of OrderCount
        In the order of `STATISTICS`. Each rejects independent, identically distributed symbols with a
        chance of at most 12/10 001; all nineteen together with at most .023 (they go together, so that it
        is less).

    Raises
    ------
    ValueError
        If symbols are not whole numbers from 0 to 255 in one dimension, or permutations too few.
    InsufficientData
        If there are fewer than two symbols.

    References
    ----------
    NIST SP 800-90B (2018) §5.1 (from memory).
    """
    return permutation_counts(
        symbols, rng=rng, permutations=permutations, tail=tail_count(permutations), progress=progress
    )


def permutation_counts(
    symbols: Array,
    *,
    rng: np.random.Generator,
    permutations: int,
    tail: int,
    names: Sequence[str] = STATISTICS,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[OrderCount, ...]:
    """As `permutation_test`, with any number of permutations and any tail.

    Parameters
    ----------
    tail : int
        Rejected where at most so many shuffled ones are at least, or at most, as large: a chance of
        2 (tail + 1) / (permutations + 1) at most.
    names : sequence of str
        Which statistics.
    """
    rows, binary, middle = _prepared(symbols)
    own = order_statistics(rows, binary=binary, middle=middle, names=names)
    counts = {name: np.zeros(3, np.int64) for name in names}
    open_names = list(names)
    done, size = 0, 16
    most = max(1, _AT_ONCE // rows.shape[1])
    while done < permutations and open_names:
        size = min(size, most, permutations - done)
        shuffled = rng.permuted(np.repeat(rows, size, axis=0), axis=1)
        values = order_statistics(shuffled, binary=binary, middle=middle, names=open_names)
        for name in open_names:
            above = int(np.count_nonzero(values[name] > own[name]))
            equal = int(np.count_nonzero(values[name] == own[name]))
            counts[name] += (above, equal, size - above - equal)
        open_names = [name for name in open_names if _outside(counts[name], tail)]
        done += size
        size *= 2
        if progress is not None:
            progress(done if open_names else permutations, permutations)
    return tuple(
        OrderCount(
            name=name,
            value=float(own[name][0]) / (rows.shape[1] if name == "excursion" else 1),
            above=int(counts[name][0]),
            equal=int(counts[name][1]),
            below=int(counts[name][2]),
            rejected=_outside(counts[name], tail),
        )
        for name in names
    )


def _outside(count: Array, tail: int) -> bool:
    above, equal, below = (int(c) for c in count)
    return above + equal <= tail or equal + below <= tail


def _prepared(symbols: Array) -> tuple[Array, bool, float]:
    """(1, n) uint8, whether the symbols are two only, and their median."""
    values = whole_symbols(symbols)
    if values.size < 2:
        raise InsufficientData(f"an order needs at least two symbols, got {values.size}")
    if int(values.min()) < 0 or int(values.max()) > 255:
        raise ValueError(
            f"`symbols` must lie from 0 to 255, got {int(values.min())} to {int(values.max())}"
        )
    kinds = np.unique(values)
    if len(kinds) <= 2:
        return (values == kinds[-1]).astype(np.uint8)[None], True, 0.5
    return values.astype(np.uint8)[None], False, float(np.median(values))
