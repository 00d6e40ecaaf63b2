"""Does a belief expect as much surprise as it meets?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import entropy

from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import DEVICE_B, Belief, View
from harness.surprise import expected_surprise


@given(st.integers(0, 2**32 - 1))
def test_expected_surprise_is_entropy(seed: int) -> None:
    share = np.random.default_rng(seed).dirichlet(np.ones(3), (4, 5))
    assert expected_surprise(np.log(share)) == pytest.approx(entropy(share, base=2, axis=2).mean(axis=1))


def test_certainty_expects_no_surprise() -> None:
    with np.errstate(divide="ignore"):
        assert expected_surprise(np.log(np.array([[[1.0, 0.0]]]))).tolist() == [0.0]


class Bold:
    """Reads the remote bits, and believes them as if they erred in a hundredth."""

    name = "bold"
    sees = frozenset({"remote"})

    def __init__(self, error: float) -> None:
        self.error = error

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        seen = view.scheme.witness(view.captures["remote"]).symbols
        share = np.where(np.arange(2) == seen[:, :, None], 1 - self.error, self.error)
        return Belief(log_prob=np.log(share))


@pytest.mark.parametrize(("believed", "calibrated"), [(0.1, True), (0.01, False), (0.3, False)])
def test_a_belief_that_claims_too_much_or_too_little_is_found(believed: float, calibrated: bool) -> None:
    channel = Channel(subjects=30, errors=((DEVICE_B, 0.05), ("remote", 0.1)))
    found = audit(SignCommitment(), corpus=channel, attacks=[Bold(believed)])
    (row,) = found.select(attack="bold", measure="over-confidence")
    assert row.low is not None
    assert row.high is not None
    assert (row.low <= 0 <= row.high) == calibrated
    assert (row.low > 0) == (believed == 0.01)
