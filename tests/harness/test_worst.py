"""The worst of many is bad by chance already."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta

from harness.errors import InsufficientData
from harness.estimators.worst import worst_share
from harness.streams import stream


def test_the_worst_is_named_and_its_limits_are_those_of_many() -> None:
    group = np.repeat(np.arange(10), 20)
    hits = np.zeros(200, bool)
    hits[60:75] = True  # fifteen of twenty against person 3
    found = worst_share(hits, group, subjects=10, method="x")
    assert (found.group, found.share.value) == (3, 0.75)
    assert found.share.low == pytest.approx(beta.ppf(0.05 / 10, 15, 6))
    assert found.by_chance < 0.4 < found.share.low


def test_alike_people_look_as_bad_as_said_in_one_case_of_twenty() -> None:
    group = np.repeat(np.arange(30), 10)
    rng = stream(0, "worst")
    reached, runs = 0, 2000
    hits = rng.random((runs, 300)) < 0.2
    for some in hits:
        worst = some.reshape(30, 10).mean(axis=1).max()
        reached += (
            worst >= worst_share(np.arange(300) % 5 == 0, group, subjects=30, method="x").by_chance - 1e-9
        )
    assert reached / runs >= 0.05 - 3 * np.sqrt(0.05 * 0.95 / runs)


@given(st.integers(0, 2**32 - 1))
def test_names_and_order_do_not_matter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    group, hits = rng.integers(0, 6, 40), rng.random(40) < 0.3
    order = rng.permutation(40)
    one = worst_share(hits, group, subjects=6, method="x")
    other = worst_share(hits[order], group[order], subjects=6, method="x")
    assert one == other
    assert one.share.low <= one.share.value <= one.share.high


def test_nobody_and_everybody() -> None:
    with pytest.raises(InsufficientData, match="at least one attempt"):
        worst_share(np.zeros(0, bool), np.zeros(0, int), subjects=0, method="x")
    none = worst_share(np.zeros(6, bool), np.arange(6), subjects=6, method="x")
    assert (none.share.value, none.by_chance) == (0.0, 0.0)
    every = worst_share(np.ones(6, bool), np.arange(6), subjects=6, method="x")
    assert (every.share.value, every.by_chance) == (1.0, 1.0)
