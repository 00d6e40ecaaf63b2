"""Tests of independent, identically distributed symbols, on sources that are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from calibration.case import Case
from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.chi_square import ChiSquare, goodness_of_fit, independence
from harness.estimators.entropy.iid import repeat_chance
from harness.estimators.entropy.most_common import most_common_value
from harness.estimators.entropy.permutation_statistics import STATISTICS
from harness.estimators.entropy.permutations import permutation_counts, permutation_test
from harness.estimators.entropy.restart import restart_test

__all__ = ["CASES"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Independent symbols, each of the same distribution."""

    name: str
    shares: tuple[float, ...]

    def draw(self, rng: np.random.Generator, *size: int) -> Array:
        edges = np.cumsum(self.shares)[:-1]
        return np.searchsorted(edges, rng.random(size), side="right")

    @property
    def entropy(self) -> float:
        return -float(np.log2(max(self.shares)))


COIN = Source(name="fair bits", shares=(0.5, 0.5))
BIASED = Source(name="bits, .9 of them 0", shares=(0.9, 0.1))
TERNARY = Source(name="three symbols .5 .3 .2", shares=(0.5, 0.3, 0.2))
SIXTEEN = Source(name="16 symbols, uniform", shares=(1 / 16,) * 16)
BYTES = Source(name="256 symbols, uniform", shares=(1 / 256,) * 256)
SKEWED = Source(
    name="20 symbols, each half as likely again less", shares=tuple(1.5**-k / 2.9991 for k in range(20))
)


def any_order(rng: np.random.Generator, *, source: Source, length: int) -> bool:
    """The standard's rule, over all nineteen settings."""
    return any(o.rejected for o in permutation_test(source.draw(rng, length), rng=rng))


def one_order(rng: np.random.Generator, *, source: Source, length: int, name: str) -> bool:
    """One statistic at a chance of .05, of which a thousand repetitions can tell."""
    counts = permutation_counts(source.draw(rng, length), rng=rng, permutations=199, tail=4, names=(name,))
    return counts[0].rejected


def chi_square(
    rng: np.random.Generator,
    *,
    source: Source,
    length: int,
    level: float,
    test: Callable[[Array], ChiSquare],
) -> bool:
    """Too few data count as not rejected."""
    try:
        return test(source.draw(rng, length)).p_value < level
    except InsufficientData:
        return False


def repeats(rng: np.random.Generator, *, source: Source, length: int, level: float) -> bool:
    return repeat_chance(source.draw(rng, length))[1] < level


def insane(rng: np.random.Generator, *, source: Source, restarts: int, symbols: int, known: bool) -> bool:
    """Refused by the sanity check, the entropy being known, or assessed on as many symbols before."""
    matrix = source.draw(rng, restarts, symbols)
    initial = source.entropy
    if not known:
        initial = most_common_value(source.draw(rng, restarts * symbols)).value
    found = restart_test(matrix, initial=initial, estimate=lambda s: initial, alphabet=len(source.shares))
    return not found.sane


CASES = [
    *(
        Case(
            name="permutation_test",
            channel=f"{source.name}, {length} of them",
            kind="size",
            # nineteen settings at 12/10 001
            nominal=0.0228,
            run=partial(any_order, source=source, length=length),
            remark="nineteen settings go together, and ties count against rejecting",
        )
        for source, length in ((COIN, 200), (BIASED, 200), (TERNARY, 100), (BYTES, 100))
    ),
    *(
        Case(
            name=f"permutation_counts {name}",
            channel=f"{source.name}, {length} of them",
            kind="size",
            nominal=0.05,
            run=partial(one_order, source=source, length=length, name=name),
            remark="ties count against rejecting",
        )
        for name in STATISTICS
        for source, length in ((COIN, 400), (TERNARY, 100))
        # wider symbols differ from bits by what is counted, not by the lag
        if source is COIN or not name.endswith(("-2", "-8", "-16", "-32"))
    ),
    *(
        Case(
            name=f"{test.__name__} at {level:g}",
            channel=f"{source.name}, {length} of them",
            kind="size",
            nominal=level,
            run=partial(chi_square, source=source, length=length, level=level, test=test),
        )
        for test in (independence, goodness_of_fit)
        for level in (0.001, 0.05)
        for source, length in (
            (COIN, 1000),
            (BIASED, 2000),
            (TERNARY, 300),
            (SIXTEEN, 600),
            (SIXTEEN, 5000),
            (SKEWED, 2000),
            (BYTES, 3000),
        )
    ),
    *(
        Case(
            name=f"repeat_chance at {level:g}",
            channel=f"{source.name}, {length} of them",
            kind="size",
            nominal=level,
            run=partial(repeats, source=source, length=length, level=level),
            remark="a length is a whole number",
        )
        for level in (0.001, 0.05)
        for source, length in ((COIN, 500), (BIASED, 500), (TERNARY, 500), (BYTES, 500))
    ),
    *(
        Case(
            name="restart_test",
            channel=f"{source.name}, {restarts} restarts of {symbols}, "
            f"{'entropy known' if known else 'entropy assessed'}",
            kind="size",
            nominal=0.01,
            run=partial(insane, source=source, restarts=restarts, symbols=symbols, known=known),
            remark="Bonferroni over rows, columns and symbols",
        )
        for known in (True, False)
        for source, restarts, symbols in (
            (COIN, 100, 100),
            (BIASED, 20, 150),
            (TERNARY, 100, 30),
            (BYTES, 50, 100),
        )
    ),
]
