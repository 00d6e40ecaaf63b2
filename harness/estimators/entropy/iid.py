"""Does anything speak against symbols being independent and identically distributed?"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.chi_square import ALPHA, goodness_of_fit, independence
from harness.estimators.entropy.permutations import OrderCount, permutation_test
from harness.estimators.entropy.suffixes import common_lengths
from harness.estimators.entropy.whole_symbols import whole_symbols

__all__ = ["IidAssessment", "Verdict", "iid_assessment", "longest_repeat", "repeat_chance"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One of the tests beside the permutations."""

    name: str
    statistic: float | None
    p_value: float | None
    degrees: float | None
    rejected: bool | None  # None: too few data for this test
    reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class IidAssessment:
    """Every test of independent, identically distributed symbols, and what they come to.

    Tests can speak against it only: "not rejected" is no proof, and the more data, the more it says.
    """

    orders: tuple[OrderCount, ...]
    tests: tuple[Verdict, ...]

    @property
    def rejecting(self) -> tuple[str, ...]:
        """Names of what rejects."""
        return tuple(o.name for o in self.orders if o.rejected) + tuple(
            t.name for t in self.tests if t.rejected
        )

    @property
    def untested(self) -> tuple[str, ...]:
        """Names of tests that need more data."""
        return tuple(t.name for t in self.tests if t.rejected is None)

    @property
    def outcome(self) -> Literal["rejected", "undecided", "not rejected"]:
        """ "rejected", "undecided" (nothing rejects, but a test could not run) or "not rejected"."""
        if self.rejecting:
            return "rejected"
        return "undecided" if self.untested else "not rejected"


def iid_assessment(
    symbols: Array,
    *,
    rng: np.random.Generator,
    permutations: int = 10_000,
    progress: Callable[[int, int], None] | None = None,
) -> IidAssessment:
    """Permutation, chi-square and longest-repeat tests of one sequence.

    Parameters
    ----------
    symbols : (n,) int
        From 0 to 255.
    rng, permutations, progress
        As `permutation_test`.

    Raises
    ------
    ValueError, InsufficientData
        As `permutation_test`. Any other test that lacks data is left undecided, not raised.

    References
    ----------
    NIST SP 800-90B (2018) §5.
    """
    orders = permutation_test(symbols, rng=rng, permutations=permutations, progress=progress)
    tests = []
    for name, test in (("independence", independence), ("goodness-of-fit", goodness_of_fit)):
        try:
            found = test(symbols)
        except InsufficientData as error:
            tests.append(_undecided(name, error))
        else:
            tests.append(
                Verdict(
                    name=name,
                    statistic=found.statistic,
                    p_value=found.p_value,
                    degrees=found.degrees,
                    rejected=found.rejected,
                    reason=None,
                )
            )
    tests.append(_repeat(symbols))
    return IidAssessment(orders=orders, tests=tuple(tests))


def _repeat(symbols: Array) -> Verdict:
    name = "longest-repeat"
    try:
        length, chance = repeat_chance(symbols)
    except InsufficientData as error:
        return _undecided(name, error)
    return Verdict(
        name=name,
        statistic=float(length),
        p_value=chance,
        degrees=None,
        rejected=chance < ALPHA,
        reason=None,
    )


def _undecided(name: str, error: InsufficientData) -> Verdict:
    return Verdict(name=name, statistic=None, p_value=None, degrees=None, rejected=None, reason=str(error))


def repeat_chance(symbols: Array) -> tuple[int, float]:
    """The longest repeated stretch, and the chance that independent symbols repeat one as long.

    Parameters
    ----------
    symbols : (n,) int

    Returns
    -------
    length : int
        Of the longest stretch that occurs twice; occurrences may overlap.
    chance : float
        Of any such pair, as if all pairs of stretches were independent.

    Raises
    ------
    ValueError
        If symbols are not whole numbers in one dimension.
    InsufficientData
        If one symbol only occurs, so that a repeat says nothing, or none occurs twice.

    References
    ----------
    NIST SP 800-90B (2018) §5.2.5 (from memory).
    """
    values = whole_symbols(symbols)
    _, counts = np.unique(values, return_counts=True)
    if len(counts) < 2:
        raise InsufficientData(
            f"the longest repeat needs at least two symbols that occur, got {len(counts)}"
        )
    length = longest_repeat(values)
    if length == 0:
        raise InsufficientData("the longest repeat needs a symbol that occurs twice, got none")
    collision = float(((counts / values.size) ** 2).sum())
    pairs = math.comb(values.size - length + 1, 2)
    one = collision**length
    return length, -math.expm1(pairs * math.log1p(-one))


def longest_repeat(symbols: Array) -> int:
    """Length of the longest stretch that occurs at two places; they may overlap.

    Examples
    --------
    >>> longest_repeat(np.array([1, 2, 3, 1, 2, 4]))
    2
    """
    kinds, numbers = np.unique(symbols, return_inverse=True)
    return int(common_lengths(numbers, len(kinds)).max(initial=0))
