"""What no estimate may break: order of entropies, processing only loses, names and order do not matter."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.estimators.entropy.given_helper import average_min_entropy
from harness.estimators.entropy.most_common import most_common_value
from harness.estimators.leakage.channel import channel_information, min_entropy_leakage
from harness.estimators.leakage.discrete import information_limit, joint_counts, plug_in_information
from harness.estimators.leakage.gains import symbol_information

SEEDS = st.integers(0, 2**32 - 1)


def given_syndrome(parity: np.ndarray, ones: np.ndarray) -> tuple[float, float, float]:
    """Conditional min-, collision and Shannon entropy of a word given its syndrome, over all words."""
    r, n = parity.shape
    words = np.array(list(itertools.product((0, 1), repeat=n)))
    p = np.where(words == 1, ones, 1 - ones).prod(axis=1)
    syndrome = (words @ parity.T % 2) @ (1 << np.arange(r))
    parts = [p[syndrome == s] for s in range(1 << r)]
    parts = [q for q in parts if q.sum() > 0]
    least = -np.log2(sum(q.max() for q in parts))
    collision = -np.log2(sum((q**2).sum() / q.sum() for q in parts))
    shannon = sum(-(q * np.log2(np.where(q > 0, q / q.sum(), 1))).sum() for q in parts)
    return float(least), float(collision), float(shannon)


@given(SEEDS, st.integers(1, 4), st.integers(4, 8))
def test_min_entropy_is_at_most_collision_at_most_shannon_entropy(seed: int, r: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    parity = rng.integers(0, 2, (r, n)).astype(np.uint8)
    ones = rng.random(n)
    least, collision, shannon = given_syndrome(parity, ones)
    ours = average_min_entropy(parity, [np.array([1 - q, q]) for q in ones])
    assert ours == pytest.approx(least, abs=1e-9)
    assert ours <= collision + 1e-9 <= shannon + 2e-9 <= n + 3e-9
    # helper data cost at most their length
    assert ours >= -np.log2(np.maximum(ones, 1 - ones)).sum() - r - 1e-9


@given(SEEDS, st.integers(2, 4), st.integers(2, 5))
def test_processing_a_view_never_adds_information(seed: int, secrets: int, views: int) -> None:
    rng = np.random.default_rng(seed)
    channel = rng.dirichlet(np.full(views, 0.5), secrets)
    prior = rng.dirichlet(np.ones(secrets))
    processed = channel @ rng.dirichlet(np.full(3, 0.5), views)
    assert channel_information(processed, prior) <= channel_information(channel, prior) + 1e-9
    assert min_entropy_leakage(processed, prior) <= min_entropy_leakage(channel, prior) + 1e-9


@given(SEEDS)
def test_merging_values_of_a_view_never_adds_to_what_was_counted(seed: int) -> None:
    rng = np.random.default_rng(seed)
    secret = np.concatenate([[0, 1], rng.integers(0, 2, 60)])
    view = np.concatenate([[0, 0], rng.integers(0, 4, 60)])
    fine = joint_counts(secret, view, secrets=2, views=4)
    merged = joint_counts(secret, view // 2, secrets=2, views=2)
    raw = [channel_information(t / t.sum(axis=1, keepdims=True), np.full(2, 0.5)) for t in (fine, merged)]
    assert raw[1] <= raw[0] + 1e-12


@given(SEEDS)
def test_names_and_order_do_not_matter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    counts = rng.integers(1, 20, (3, 4))
    moved = counts[rng.permutation(3)][:, rng.permutation(4)]
    assert plug_in_information(moved) == pytest.approx(plug_in_information(counts), abs=1e-12)
    assert information_limit(moved).high == pytest.approx(information_limit(counts).high, abs=1e-9)
    gain, subject = rng.standard_normal(40), rng.integers(0, 6, 40)
    order, names = rng.permutation(40), rng.permutation(100)[:6]
    here, there = symbol_information(gain, subject), symbol_information(gain[order], names[subject][order])
    assert (there.value, there.low) == pytest.approx((here.value, here.low), abs=1e-12)
    symbols = rng.integers(0, 4, 200).astype(np.uint8)
    renamed = rng.permutation(4).astype(np.uint8)[symbols[rng.permutation(200)]]
    assert most_common_value(renamed).value == most_common_value(symbols).value
