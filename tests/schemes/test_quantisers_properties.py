"""What holds of quantisers for any series of numbers."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.contracts import Array
from schemes.quantisers import DifferenceSigns, EvenSteps, LevelCrossings, LevelSymbols, Quantiser
from tests.schemes.bodies import intervals

# different by at least .001 s, so that rounding decides nothing
series = st.lists(st.integers(400, 1900), min_size=13, max_size=40, unique=True).map(
    lambda beats: np.array(beats) / 1000
)
fast = settings(max_examples=30, deadline=None)


def symbols(quantiser: Quantiser, values: Array, count: int) -> Array:
    return quantiser.quantise(intervals(values[None, None]), count).symbols[0]


@fast
@given(values=series, levels=st.integers(2, 9))
def test_ranks_depend_on_order_alone_and_ascend_with_the_values(values: Array, levels: int) -> None:
    quantiser = LevelSymbols(cells="ranks", levels=levels)
    found = symbols(quantiser, values, len(values))
    assert np.array_equal(found, symbols(quantiser, 0.3 + values**2 / 3, len(values)))
    assert (np.diff(found[np.argsort(values)].astype(int)) >= 0).all()
    counts = np.bincount(found, minlength=levels)
    assert counts.max() - counts.min() <= 1


@fast
@given(values=series, levels=st.integers(2, 9), seed=st.integers(0, 999))
def test_levels_go_with_their_windows_wherever_these_stand(values: Array, levels: int, seed: int) -> None:
    order = np.random.default_rng(seed).permutation(len(values))
    for quantiser in (LevelSymbols(levels=levels), LevelSymbols(cells="ranks", levels=levels), EvenSteps()):
        found = symbols(quantiser, values, len(values))
        assert np.array_equal(symbols(quantiser, values[order], len(values)), found[order])


@fast
@given(values=series)
def test_steps_ascend_with_the_values(values: Array) -> None:
    for quantiser in (EvenSteps(bits=3, step=0.5), LevelSymbols(levels=5)):
        found = symbols(quantiser, values, len(values))
        assert (np.diff(found[np.argsort(values)].astype(int)) >= 0).all()


@fast
@given(values=series, seed=st.integers(0, 99))
def test_a_mirrored_series_turns_every_difference_round(values: Array, seed: int) -> None:
    for pairs in ("neighbours", "disjoint", "random"):
        count = (len(values) - 1) // 2
        quantiser = DifferenceSigns(pairs=pairs, seed=seed)
        assert (symbols(quantiser, values, count) ^ symbols(quantiser, 2.3 - values, count)).all()


@fast
@given(values=series)
def test_crossings_of_a_series_backwards_are_the_same_ones(values: Array) -> None:
    slots = LevelCrossings(steps=1)
    # of an even number of values none is the median, so that nothing merely touches it
    values = values[: len(values) // 2 * 2]
    found = symbols(slots, values, len(values) - 1)
    assert np.array_equal(symbols(slots, values[::-1], len(values) - 1)[::-1], found)
    assert np.array_equal(symbols(slots, 2.3 - values, len(values) - 1), found)
    above = values > np.median(values)
    assert found.sum() == (above[1:] != above[:-1]).sum()
