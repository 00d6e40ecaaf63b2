"""Extractable lengths: both forms, intervals, bad input."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.contracts import Estimate
from harness.estimators.extraction_length import FORMS, extractable, extractable_bits, left_by_sketch

STRENGTH = Estimate(
    value=131.0,
    low=100.0,
    high=float("nan"),
    level=0.95,
    unit="bit",
    side="defender-at-most",
    evidence="modelled",
    subjects=12,
    attempts=60,
    method="average-given-helper",
)


@given(
    bits=st.floats(0, 4096),
    more=st.floats(0, 100),
    exponent=st.floats(-200, -0.01),
    form=st.sampled_from(sorted(FORMS)),
)
def test_length_is_whole_and_grows_with_what_there_is(
    bits: float, more: float, exponent: float, form: str
) -> None:
    epsilon = 2.0**exponent
    length = extractable_bits(bits, epsilon=epsilon, form=form)
    assert length >= 0
    assert length == int(length)
    assert extractable_bits(bits + more, epsilon=epsilon, form=form) >= length
    assert extractable_bits(bits, epsilon=epsilon / 2, form=form) <= length


def test_an_estimate_keeps_what_it_bounds_and_its_open_end() -> None:
    found = extractable(STRENGTH, epsilon=2.0**-32, form="leftover-hash-dodis-2008")
    assert (found.value, found.low) == (69, 38)
    assert found.high != found.high
    assert (found.side, found.evidence, found.method) == (
        "defender-at-most",
        "modelled",
        "leftover-hash-dodis-2008",
    )


@pytest.mark.parametrize(
    ("bits", "epsilon", "form", "words"),
    [
        (10, 0.0, "leftover-hash-textbook", "`epsilon` must lie strictly between 0 and 1, got 0.0"),
        (10, 1.0, "leftover-hash-textbook", "`epsilon` must lie strictly between 0 and 1, got 1.0"),
        (-1, 0.5, "leftover-hash-textbook", "`min_entropy` must be at least 0 bits, got -1"),
        (float("nan"), 0.5, "leftover-hash-textbook", "`min_entropy` must be at least 0 bits, got nan"),
        (10, 0.5, "other", "`form` must be one of leftover-hash-dodis-2008, leftover-hash-textbook, got"),
    ],
)
def test_bad_arguments_are_named(bits: float, epsilon: float, form: str, words: str) -> None:
    with pytest.raises(ValueError, match=words.replace("(", r"\(")):
        extractable_bits(bits, epsilon=epsilon, form=form)


def test_other_bad_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="must be in bit, got 'bit/s'"):
        extractable(replace(STRENGTH, unit="bit/s"), epsilon=0.5, form="leftover-hash-textbook")
    with pytest.raises(ValueError, match="must be at least 0, got 3 and -1"):
        left_by_sketch(3, parities=-1)
