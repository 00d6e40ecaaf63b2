"""Strength of several attempts together, against enumeration of every record; rows and bad input."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.accumulation_rows import ATTEMPTS, TRIES, accumulation_rows
from harness.collecting import Rows
from harness.contracts import Array, Witness
from harness.errors import InsufficientData
from harness.estimators.accumulation import (
    chain_min_entropy,
    estimated_joint_strength,
    joint_strength,
    mixture_min_entropy,
    next_min_entropy,
    strength_of_segments,
)
from harness.exchange import Honest
from harness.vocabulary import MEASURES

SEEDS = st.integers(0, 2**32)


def people(seed: int, count: int, outcomes: int) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    return rng.dirichlet(np.full(outcomes, 0.7), count), rng.dirichlet(np.ones(count))


@settings(max_examples=60, deadline=None)
@given(seed=SEEDS, count=st.integers(1, 4), outcomes=st.integers(1, 4), attempts=st.integers(1, 5))
def test_mixtures_against_every_record(seed: int, count: int, outcomes: int, attempts: int) -> None:
    table, weight = people(seed, count, outcomes)
    records = np.array(list(itertools.product(range(outcomes), repeat=attempts)))
    each = table[:, records].prod(axis=2)  # (people, records)
    known = -np.log2((weight * each.max(axis=1)).sum())
    unknown = -np.log2((weight @ each).max())
    found = [mixture_min_entropy(table, weight, attempts=attempts, person_known=k) for k in (True, False)]
    assert found == pytest.approx([known, unknown], abs=1e-9)
    # knowing the person helps, by no more than their number
    assert found[0] <= found[1] + 1e-9 <= found[0] + np.log2(count) + 2e-9


@settings(max_examples=60, deadline=None)
@given(seed=SEEDS, size=st.integers(1, 4), attempts=st.integers(1, 5))
def test_chains_against_every_record(seed: int, size: int, attempts: int) -> None:
    joint = np.random.default_rng(seed).dirichlet(np.full(size**2, 0.4)).reshape(size, size)
    first = joint.sum(axis=1)
    step = joint / first[:, None]
    best = max(
        first[r[0]] * np.prod([step[a, b] for a, b in itertools.pairwise(r)])
        for r in itertools.product(range(size), repeat=attempts)
    )
    assert chain_min_entropy(joint, attempts=attempts) == pytest.approx(max(0, -np.log2(best)), abs=1e-9)
    if attempts == 2:
        assert chain_min_entropy(joint, attempts=2) == pytest.approx(-np.log2(joint.max()), abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(seed=SEEDS, size=st.integers(2, 4))
def test_the_next_attempt_against_the_joint_table(seed: int, size: int) -> None:
    joint = np.random.default_rng(seed).dirichlet(np.full(size**2, 0.4)).reshape(size, size)
    guess = sum(max(joint[x]) for x in range(size))
    assert next_min_entropy(joint) == pytest.approx(-np.log2(guess), abs=1e-9)
    assert next_min_entropy(joint) <= -np.log2(joint.sum(axis=0).max()) + 1e-9


def test_a_symbol_that_never_comes_first_leads_nowhere() -> None:
    assert chain_min_entropy(np.array([[0.0, 1.0], [0.0, 0.0]]), attempts=2) == 0
    independent = np.full((4, 4), 1 / 16)
    assert chain_min_entropy(independent, attempts=3) == pytest.approx(6)


@settings(max_examples=60, deadline=None)
@given(seed=SEEDS, count=st.integers(1, 6), attempts=st.integers(1, 20))
def test_strengths_of_people_are_ruled_by_the_weakest(seed: int, count: int, attempts: int) -> None:
    rng = np.random.default_rng(seed)
    bits, weight = rng.uniform(0, 40, count), rng.dirichlet(np.ones(count))
    found = joint_strength(bits, weight, attempts=attempts)
    assert found == pytest.approx(
        -np.log2(sum(w * 2.0 ** (-attempts * h) for w, h in zip(weight, bits, strict=True))),
        rel=1e-9,
        abs=1e-9,
    )
    assert found <= attempts * joint_strength(bits, weight, attempts=1) * (1 + 1e-9) + 1e-9
    weakest = int(bits.argmin())
    assert (
        attempts * bits[weakest] - 1e-9
        <= found
        <= attempts * bits[weakest] - np.log2(weight[weakest]) + 1e-9
    )


def test_strengths_and_tables_of_the_same_people_agree() -> None:
    table, weight = people(1, 3, 4)
    bits = -np.log2(table.max(axis=1))
    assert joint_strength(bits, weight, attempts=5) == pytest.approx(
        mixture_min_entropy(table, weight, attempts=5, person_known=True)
    )


@given(segments=st.lists(st.floats(0, 60), min_size=1, max_size=8))
def test_segments_add_guesses(segments: list[float]) -> None:
    bits = np.array(segments)
    assert strength_of_segments(bits) == pytest.approx(np.log2((2.0**bits).sum()), abs=1e-9)
    assert strength_of_segments(bits) <= bits.max() + np.log2(len(bits)) + 1e-9


def test_strength_does_not_overflow() -> None:
    assert strength_of_segments(np.full(2, 5000.0)) == pytest.approx(5001)
    assert joint_strength(np.full(2, 5000.0), np.array([0.5, 0.5]), attempts=10) == pytest.approx(50_000)
    assert estimated_joint_strength(np.full(30, 5000.0), attempts=10).value == pytest.approx(50_000)


def test_few_people_never_show_much() -> None:
    """Thirty people with 128 bits each: one in eight others may have none, at 97.5 % for each end."""
    found = estimated_joint_strength(np.full(30, 128.0), attempts=4)
    assert found.value == 512
    assert found.low == pytest.approx(-np.log2(1 - 0.025 ** (1 / 30)))
    assert found.high > found.value
    assert (found.side, found.evidence, found.method) == ("defender-at-most", "modelled", "attempts-4")


@settings(max_examples=30, deadline=None)
@given(seed=SEEDS, count=st.integers(2, 40), attempts=st.integers(1, 8))
def test_ends_enclose_the_value_whatever_the_order(seed: int, count: int, attempts: int) -> None:
    rng = np.random.default_rng(seed)
    bits = rng.gamma(2, 5, count)
    found = estimated_joint_strength(bits, attempts=attempts)
    assert found.low <= found.value <= found.high
    assert estimated_joint_strength(rng.permutation(bits), attempts=attempts) == found


def test_bad_arguments_are_named() -> None:
    half = np.array([0.5, 0.5])
    with pytest.raises(
        ValueError, match=r"`bits` must hold at least one strength, finite .* a least of -1"
    ):
        joint_strength(np.array([-1.0, 2.0]), half, attempts=1)
    with pytest.raises(ValueError, match=r"`bits` must hold at least one strength, .* got shape \(0,\)"):
        strength_of_segments(np.zeros(0))
    with pytest.raises(
        ValueError, match=r"`weight` must hold 2 probabilities that sum to 1, .* a sum of 2"
    ):
        joint_strength(np.ones(2), np.ones(2), attempts=1)
    with pytest.raises(ValueError, match="`attempts` must be at least 1, got 0"):
        joint_strength(np.ones(2), half, attempts=0)
    with pytest.raises(ValueError, match=r"`probability\[1\]` must hold 2 probabilities that sum to 1"):
        mixture_min_entropy(np.array([[0.5, 0.5], [0.5, 0.6]]), half, attempts=1, person_known=True)
    with pytest.raises(ValueError, match=r"`joint` must be square, got shape \(1, 2\)"):
        chain_min_entropy(np.array([[0.5, 0.5]]), attempts=1)
    with pytest.raises(ValueError, match="`level` must lie strictly between 0 and 1, got 1"):
        estimated_joint_strength(np.ones(3), attempts=1, level=1)


def test_too_much_or_too_little_says_what_could_be_computed() -> None:
    with pytest.raises(InsufficientData, match="40 attempts of 16 outcomes"):
        mixture_min_entropy(np.full((2, 16), 1 / 16), np.array([0.5, 0.5]), attempts=40, person_known=False)
    with pytest.raises(InsufficientData, match="needs at least two of them, got 1") as no:
        estimated_joint_strength(np.array([7.0]), attempts=2)
    assert no.value.partial is not None
    assert no.value.partial.value == 14


def honest_run(attempts: int = 4, count: int = 6) -> Honest:
    subject = np.repeat(np.arange(count), attempts)
    rows = len(subject)
    keys = np.zeros((rows, 4), np.uint8)
    other = keys.copy()
    other[::3] ^= 1
    there = np.ones(rows, bool)
    witness = Witness(symbols=np.zeros((rows, 3), np.uint8), alphabet=2, acquired=there)
    return Honest(
        sitting=subject, local=np.arange(rows), subject=subject, session=subject * 0, a=witness, b=witness,
        keys_a=keys, keys_b=other, accepted=there, helper={}, seconds=np.full(rows, 2.5),
    )  # fmt: skip


def test_rows() -> None:
    table, honest = Rows("s", None, "simulated"), honest_run()
    table.people("min-entropy", np.array([3.0, 4.0, 5.0, 6.0, 70.0, -1.0]), np.arange(6))
    accumulation_rows(table, honest, limit=64.0)
    assert len(table.rows) == len(ATTEMPTS) + 3 * len(TRIES)
    for row in table.rows:
        assert row.status == "measured"
        assert row.unit in MEASURES[row.measure].units
        assert row.method in MEASURES[row.measure].methods
    strength = [r.value for r in table.rows if r.measure == "joint-strength"]
    assert strength == sorted(strength)
    assert max(strength) < np.log2(6) + 1e-9  # one person has nothing


def test_rows_without_numbers_say_why() -> None:
    table = Rows("s", None, "simulated")
    accumulation_rows(table, honest_run(attempts=1), limit=64.0)
    assert {r.status for r in table.rows if r.measure == "joint-strength"} == {"untested"}
    within = [r for r in table.rows if r.measure == "agreement-within"]
    assert all(
        "tries need as many attempts of everybody, got 1 of subject 0" in str(r.reason) for r in within
    )
