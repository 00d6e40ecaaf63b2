"""What must be alike, and how a difference is told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from harness.checks.alike import same, same_helper, same_witness
from harness.checks.outcomes import Breach
from harness.contracts import Witness

WITNESS = Witness(
    symbols=np.zeros((2, 3), np.uint8),
    alphabet=4,
    acquired=np.array([True, False]),
    features=np.ones((2, 3, 1)),
)


def test_shapes_and_rows_that_differ_are_told_and_empty_arrays_are_alike() -> None:
    same("generate()", "keys", np.zeros((0, 4)), np.zeros((0, 4)), when="again")
    with pytest.raises(Breach, match=r"shape \(2, 4\)"):
        same("generate()", "keys", np.zeros((2, 4)), np.zeros((2, 5)), when="again")
    with pytest.raises(Breach):
        same("generate()", "keys", np.zeros((2, 4)), np.ones((2, 4)), when="again")


def test_features_must_be_there_in_both_and_count_where_something_was_acquired() -> None:
    same_witness("witness()", WITNESS, WITNESS, when="again")
    with pytest.raises(Breach, match="there or not as before"):
        same_witness("witness()", WITNESS, replace(WITNESS, features=None), when="again")
    features = np.ones((2, 3, 1))
    features[1] = 7  # nothing was acquired there
    same_witness("witness()", WITNESS, replace(WITNESS, features=features), when="again")
    with pytest.raises(Breach):
        same_witness("witness()", WITNESS, replace(WITNESS, features=features[::-1]), when="again")


def test_helper_data_must_have_the_same_names() -> None:
    offset = {"offset": np.zeros((2, 7), np.uint8)}
    same_helper("generate()", offset, offset, when="again")
    with pytest.raises(Breach, match="no arrays, again"):
        same_helper("generate()", {}, offset, when="again")
