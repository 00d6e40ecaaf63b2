"""An array matters if what is told changes with it, not if it was looked at."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from harness.contracts import Array, Helper
from harness.effects import arrays_that_matter

HELPER = {
    "used": np.arange(6),
    "idle": np.arange(6) * 2.0,
    "same": np.ones(6),
    "holes": np.array([np.nan, 1.0, 2.0, 3.0, 4.0, 5.0]),
}


def test_what_is_copied_and_not_used_does_not_matter() -> None:
    def told(helper: Helper) -> Sequence[Array]:
        return (dict(helper)["used"] % 4,)

    # an array that never changes cannot be dealt out anew: read is read
    assert arrays_that_matter(told, HELPER) == {"used", "same"}


def test_what_is_not_read_does_not_matter() -> None:
    assert arrays_that_matter(lambda h: (h["used"],), HELPER) == {"used"}
    assert arrays_that_matter(lambda h: (np.ones(6),), HELPER) == frozenset()


def test_holes_are_alike() -> None:
    def told(helper: Helper) -> Sequence[Array]:
        return (helper["holes"] * 0 + np.nan, helper["used"] * 0)

    assert arrays_that_matter(told, HELPER) == frozenset()


def test_whoever_fails_on_another_array_has_looked_at_it() -> None:
    def told(helper: Helper) -> Sequence[Array]:
        if helper["idle"][0] != 0:
            raise KeyError("not mine")
        return (np.ones(6),)

    assert arrays_that_matter(told, HELPER) == {"idle"}


@pytest.mark.parametrize("rows", [0, 1])
def test_of_one_attempt_reading_must_do(rows: int) -> None:
    few = {name: array[:rows] for name, array in HELPER.items()}
    assert arrays_that_matter(lambda h: (np.zeros(0), h["idle"][:0]), few) == {"idle"}
