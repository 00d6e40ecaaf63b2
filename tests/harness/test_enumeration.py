"""Keys listed best first: exact against all sums, and what ranks must agree with."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness import audit
from harness.enumeration import MOST, Listed, agrees, best_first, few_blocks, listed
from harness.ranking import on_grid, product_ranks


def drawn(seed: int, *, whole: bool) -> tuple[list[np.ndarray], np.ndarray]:
    """Costs of one attempt; whole numbers tie often."""
    rng = np.random.default_rng(seed)
    costs = [
        -on_grid(np.log(np.maximum(rng.dirichlet(np.full(rng.integers(2, 12), 0.5)), 1e-300)))
        for _ in range(rng.integers(1, 5))
    ]
    if whole:
        costs = [np.minimum(np.round(c), 20.0) for c in costs]
    if rng.random() < 0.3:
        costs[0] = np.where(np.arange(len(costs[0])) == 1, np.inf, costs[0])
    true = np.array([rng.choice(np.flatnonzero(np.isfinite(c))) for c in costs])
    return costs, true


def all_sums(costs: list[np.ndarray]) -> np.ndarray:
    total = costs[0]
    for more in costs[1:]:
        total = (total[:, None] + more).ravel()
    return np.sort(total[np.isfinite(total)])


@given(st.integers(0, 2**32 - 1), st.booleans(), st.integers(1, 60))
def test_the_list_is_the_head_of_all_sums(seed: int, whole: bool, count: int) -> None:
    costs, _ = drawn(seed, whole=whole)
    total, choice = best_first(costs, count)
    assert total.tolist() == all_sums(costs)[:count].tolist()
    assert total.tolist() == [sum(c[i] for c, i in zip(costs, row, strict=True)) for row in choice]
    assert len({tuple(row) for row in choice.tolist()}) == len(choice)


@given(st.integers(0, 2**32 - 1), st.booleans())
def test_the_place_in_the_list_is_the_rank(seed: int, whole: bool) -> None:
    costs, true = drawn(seed, whole=whole)
    mine = sum(c[i] for c, i in zip(costs, true, strict=True))
    found = listed(costs, true)
    everything = all_sums(costs)
    assert (found.fewer, found.upto) == ((everything < mine).sum(), (everything <= mine).sum())
    merged, index = few_blocks(costs, true)
    assert replace(listed(merged, index), length=found.length) == found
    ranks = product_ranks([c[None] for c in costs], true[None])
    assert agrees(found, ranks, 0)


def test_a_rank_that_is_wrong_is_noticed() -> None:
    costs, true = drawn(5, whole=False)
    ranks = product_ranks([c[None] for c in costs], true[None])
    found = listed(costs, true)
    for wrong in (
        replace(found, fewer=found.fewer + 1, upto=found.upto + 1),
        replace(found, fewer=np.inf, upto=np.inf, length=10**6),
    ):
        assert not agrees(wrong, ranks, 0)


def test_a_key_beyond_the_list_is_said_to_be_beyond_it() -> None:
    bits = [np.array([0.0, 0.1 + 0.001 * i]) for i in range(30)]
    found = listed(*few_blocks(bits, np.ones(30, int)))
    assert found == Listed(length=MOST, fewer=np.inf, upto=np.inf)
    ranks = product_ranks([b[None] for b in bits], np.ones((1, 30), int))
    assert agrees(found, ranks, 0)


def test_an_audit_lists_the_keys_of_its_strongest_adversary() -> None:
    result = audit(
        "envelope-trend",
        attacks=["body-site", "helper-leak", "enumeration"],
        subjects=4,
        sessions=1,
        attempts=3,
    )
    rows = {r.budget: r for r in result.select(attack="enumeration", measure="success-odds")}
    strongest = {r.budget: r for r in result.select(attack="body-site", measure="success-odds")}
    assert set(rows) == set(strongest)
    for budget, row in rows.items():
        assert row.value == pytest.approx(strongest[budget].value, abs=0.02)
        assert row.reason is not None
        assert "belief of body-site" in row.reason
    assert not [f for f in result.findings if f.id == "enumeration-disagrees"]


def test_without_a_disclosed_code_it_is_untested() -> None:
    result = audit("interval-gray", attacks=["population", "enumeration"], subjects=3, attempts=2)
    rows = result.select(attack="enumeration")
    assert [r.status for r in rows] == ["untested"]
