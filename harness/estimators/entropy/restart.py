"""Is a source as unpredictable across restarts as it is within one?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.stats import binom

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.whole_symbols import whole_symbols

__all__ = ["ALPHA", "FULL", "RestartTest", "common_counts", "restart_test", "sanity_cutoff"]

ALPHA = 0.01
"""The standard's chance that any row or column of a sound source is refused."""

FULL = 1000
"""The standard's number of restarts, and of symbols of each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RestartTest:
    """What restarts say of a source that was assessed at `initial` bits a symbol.

    Entropies are bits a symbol. `row` is of the restarts one after another, `column` of the first symbol
    of every restart, then the second, and so on.
    """

    restarts: int
    symbols: int  # of each restart
    initial: float
    row: float
    column: float
    row_count: int  # of the most common symbol of any one restart
    row_cutoff: int  # more than that is refused
    column_count: int
    column_cutoff: int

    @property
    def full_size(self) -> bool:
        """As many restarts and symbols as the standard asks for; else this is an analogue of its test."""
        return self.restarts >= FULL and self.symbols >= FULL

    @property
    def sane(self) -> bool:
        """No symbol is too common in any row or column."""
        return self.row_count <= self.row_cutoff and self.column_count <= self.column_cutoff

    @property
    def halved(self) -> bool:
        """Rows or columns hold less than half of what was assessed at first."""
        return min(self.row, self.column) < self.initial / 2

    @property
    def passed(self) -> bool:
        return self.sane and not self.halved

    @property
    def value(self) -> float:
        """The least of the three; an entropy to rely on only if the test is passed."""
        return min(self.row, self.column, self.initial)

    @property
    def remark(self) -> str:
        """What this is: the standard's test, or an analogue of it."""
        size = f"{self.restarts} restarts of {self.symbols} symbols"
        if self.full_size:
            return size
        return f"{size}: an analogue, below the standard's {FULL} restarts of {FULL} symbols"


def restart_test(
    matrix: Array, *, initial: float, estimate: Callable[[Array], float], alphabet: int | None = None
) -> RestartTest:
    """Hold rows and columns of restarts against the entropy that was assessed at first.

    Parameters
    ----------
    matrix : (restarts, symbols) int
        One restart a row, from its first symbol on.
    initial : float
        Bits a symbol; the standard takes them from a sequence of its own.
    estimate : callable
        Symbols (n,) -> bits a symbol; of the same kind that made `initial`.
    alphabet : int, optional
        How many symbols there can be; those that occur, if not told.

    Raises
    ------
    ValueError
        If `matrix` is not two-dimensional whole numbers, or `initial` negative or NaN.
    InsufficientData
        If there are fewer than two restarts or symbols.

    References
    ----------
    NIST SP 800-90B (2018) §3.1.4 (from memory).
    """
    values = whole_symbols(matrix, dimensions=2)
    if min(values.shape) < 2:
        raise InsufficientData(
            f"the restart test needs at least two restarts of two symbols, got {values.shape[0]} of "
            f"{values.shape[1]}"
        )
    restarts, symbols = values.shape
    row_count, column_count = common_counts(values)
    kinds = len(np.unique(values)) if alphabet is None else alphabet
    tests = restarts + symbols
    return RestartTest(
        restarts=restarts,
        symbols=symbols,
        initial=initial,
        row=estimate(values.ravel()),
        column=estimate(values.T.ravel()),
        row_count=row_count,
        row_cutoff=sanity_cutoff(symbols, initial, tests=tests, alphabet=kinds),
        column_count=column_count,
        column_cutoff=sanity_cutoff(restarts, initial, tests=tests, alphabet=kinds),
    )


def common_counts(matrix: Array) -> tuple[int, int]:
    """How often the most common symbol of any row, and of any column, is in it.

    Parameters
    ----------
    matrix : (restarts, symbols) int
    """
    kinds, codes = np.unique(matrix, return_inverse=True)
    codes = codes.reshape(np.shape(matrix))
    return _most_in_a_row(codes, len(kinds)), _most_in_a_row(codes.T, len(kinds))


def _most_in_a_row(codes: Array, kinds: int) -> int:
    own = codes + np.arange(len(codes))[:, None] * kinds
    return int(np.bincount(own.ravel()).max())


def sanity_cutoff(symbols: int, entropy: float, *, tests: int, alphabet: int) -> int:
    """How often any one symbol may be in a row (or column) at most.

    Parameters
    ----------
    symbols : int
        Of the row.
    entropy : float
        Bits a symbol that the source was assessed at.
    tests : int
        Rows and columns that are looked at: 2000 in the standard.
    alphabet : int
        Symbols there can be, each of which may be the most common.

    Returns
    -------
    int
        The least count that a symbol of probability ``2**-entropy`` exceeds with a chance of at most
        .01 / (alphabet · tests), by the exact binomial distribution. Hence a source that has this entropy,
        with symbols independent and alike, is refused in at most one of a hundred cases, whatever its
        alphabet.

    Raises
    ------
    ValueError
        If `entropy` is negative or NaN, or a number less than 1.

    References
    ----------
    NIST SP 800-90B (2018) §3.1.4.3 (from memory).

    Examples
    --------
    >>> sanity_cutoff(1000, 1.0, tests=2000, alphabet=2)
    572
    """
    if not entropy >= 0:
        raise ValueError(f"`entropy` must be at least 0, got {entropy:g}")
    if min(symbols, tests, alphabet) < 1:
        raise ValueError(
            f"`symbols`, `tests` and `alphabet` must be at least 1, got {symbols}, {tests} and {alphabet}"
        )
    return int(binom.isf(ALPHA / (alphabet * tests), symbols, 2.0**-entropy))
