"""Named streams."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.streams import stream

NAMES = st.lists(
    st.one_of(st.text(max_size=8), st.integers(-5, 5), st.binary(max_size=8)), min_size=1, max_size=4
)


@given(first=NAMES, second=NAMES, seed=st.integers(0, 3))
def test_equal_names_give_equal_numbers_and_others_do_not(
    first: list[str | int | bytes], second: list[str | int | bytes], seed: int
) -> None:
    a, b = stream(seed, *first).integers(0, 2**63, 4), stream(seed, *second).integers(0, 2**63, 4)
    same = [(type(x), x) for x in first] == [(type(x), x) for x in second]
    assert bool((a == b).all()) is same


def test_names_do_not_run_into_one_another() -> None:
    drawn = {
        float(stream(0, *names).random())
        for names in (("a", "bc"), ("ab", "c"), ("abc",), ("a", "b", "c"), (1,), ("1",))
    }
    assert len(drawn) == 6


def test_numbers_are_what_they_were() -> None:
    # a change of these numbers changes every published result
    assert stream(0, "simulate", 3, 1).integers(0, 1000, 4).tolist() == FIXED


FIXED = [693, 516, 783, 500]


def test_bad_names_are_refused() -> None:
    with pytest.raises(ValueError, match="`seed` must be at least 0, got -1"):
        stream(-1, "a")
    with pytest.raises(ValueError, match="at least one name"):
        stream(0)


def test_streams_are_independent_of_one_another() -> None:
    draws = np.stack([stream(7, "x", i).standard_normal(2000) for i in range(20)])
    worst = np.abs(np.corrcoef(draws) - np.eye(20)).max()
    assert worst < 5 / np.sqrt(2000)  # five sigma for each of 190 pairs
