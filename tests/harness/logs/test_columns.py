"""Columns of a log, one by one: what they must hold, and the row that does not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from harness.errors import CorpusError
from harness.logs.table import _flags, _helper, _matrix, _seconds, _with_both


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: _matrix("log, key_a", np.zeros((3, 0)), 1), "must hold something in at least one row"),
        (lambda: _matrix("log, key_a", np.zeros(3), 1), "a row for each exchange, got float64 of shape"),
        (lambda: _matrix("log, key_a", np.array([["x"]]), 1), "must be numbers"),
        (lambda: _helper("log, helper", np.array([1.0, np.nan])), "finite numbers in every row"),
        (lambda: _helper("log, helper", np.array(["x"])), "finite numbers in every row"),
        (lambda: _flags("log, accepted", np.array([1, 0, 2]), 2), "row 4: must be 0 or 1"),
        (lambda: _flags("log, accepted", np.array(["yes"]), 2), "row 2: must be 0 or 1"),
        (lambda: _flags("log, accepted", np.zeros((2, 2)), 2), "row 2: must be 0 or 1"),
        (lambda: _seconds("log, seconds", np.array([1.0, 0.0]), 2, 2), "row 3: must be above 0"),
        (lambda: _seconds("log, seconds", np.array(["x"]), 1, 2), "row 2: must be above 0"),
        (lambda: _seconds("log, seconds", np.ones((2, 2)), 2, 2), "row 2: must be above 0"),
        (
            lambda: _with_both("log", {"key_a": np.zeros(2)}, []),
            "key_a and key_b or neither, got key_a alone",
        ),
        (lambda: _with_both("log", {}, []), "found neither"),
    ],
)
def test_what_does_not_fit_is_named(call: Callable[[], Any], says: str) -> None:
    with pytest.raises(CorpusError) as caught:
        call()
    assert says in str(caught.value)


def test_helper_data_are_as_narrow_as_their_numbers_allow() -> None:
    assert _helper("log, helper", np.array([0.0, 255.0])).dtype == np.uint8
    assert _helper("log, helper", np.array([-1, 3])).dtype == np.int64
    assert _helper("log, helper", np.array([0.5])).dtype == np.float64
    assert _helper("log, helper", np.array([2.0**60])).dtype == np.float64


def test_flags_and_seconds_are_taken_as_they_are() -> None:
    assert _flags("log, accepted", np.array([1, 0]), 2).tolist() == [True, False]
    assert _seconds("log, seconds", None, 3, 2).tolist() == [0, 0, 0]
    assert _seconds("log, seconds", np.array([2, 3]), 2, 2).tolist() == [2, 3]
