"""Min-entropy: published values, exact values of sketches, and safe bounds."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.given_helper import (
    average_min_entropy,
    chain_bound,
    estimated_min_entropy,
    min_entropy_by_person,
    pattern_slots,
)
from harness.estimators.entropy.most_common import most_common_value, worst_subject
from schemes.codes import golay23, hamming

TERNARY = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)


def test_most_common_value_of_the_standards_example() -> None:
    """NIST SP 800-90B (2018) section 6.3.1: mode 8 of 20, p_u .6895174061, .5363411235 bits."""
    s = np.array([0, 1, 1, 2, 0, 1, 2, 2, 0, 1, 0, 1, 1, 0, 2, 2, 1, 0, 2, 1])
    found = most_common_value(s)
    assert found.value == pytest.approx(0.5363411235, abs=5e-11)
    assert 2**-found.value == pytest.approx(0.6895174061, abs=5e-11)
    assert found.high == pytest.approx(-np.log2(8 / 20))
    assert most_common_value(np.zeros(50, int)).value == 0


@pytest.mark.parametrize("shares", [[0.5, 0.5], [0.9, 0.1], [0.25] * 4])
def test_most_common_value_lies_below_the_truth(shares: list[float]) -> None:
    """One-sided at 99.5 %, for independent symbols; the observed share itself fails the same check."""
    rng = np.random.default_rng(11)
    truth = -np.log2(max(shares))
    found = [most_common_value(rng.choice(len(shares), 500, p=shares)) for _ in range(2000)]
    least = binom.ppf(0.01 / 6, 2000, 0.995)
    assert sum(e.low <= truth for e in found) >= least
    if len(shares) == 2 and shares[0] == 0.9:  # at equal shares the most common one is always above
        assert sum(e.high <= truth for e in found) < least


def test_a_pooled_figure_hides_people_and_the_worst_does_not() -> None:
    """Half of the people at .9 and half at .1 pool to one bit; each has .152."""
    symbols = np.zeros((20, 1000), np.uint8)
    symbols[:10, :900] = 1
    symbols[10:, :100] = 1
    assert most_common_value(symbols).high == pytest.approx(1.0)
    worst, who = worst_subject(symbols, np.arange(20) // 2)
    assert worst.high == pytest.approx(-np.log2(0.9))
    assert who in range(10)


# Uniform bits leave k; the other two follow from enumerating the 2**23 words of a Golay block.
@pytest.mark.parametrize(
    ("slots", "expected", "tolerance"),
    [
        ([np.array([0.5, 0.5])] * 23, 12.0, 1e-9),
        ([np.array([0.7, 0.3])] * 23, 4.22, 5e-3),
        (
            # 11 whole symbols and the first bit of a twelfth
            [np.array([1, 1, 0, 1]) / 3] * 11 + [np.array([2, 1]) / 3],
            7.02,
            5e-3,
        ),
    ],
)
def test_what_a_golay_block_leaves(slots: list[Array], expected: float, tolerance: float) -> None:
    assert average_min_entropy(golay23().parity, slots) == pytest.approx(expected, abs=tolerance)


def test_a_perfect_code_leaves_the_best_t_flips_of_an_iid_source() -> None:
    """Coset leaders of the Golay code are the words of weight 0..3, one each; so are their best words."""
    from math import comb

    p = 0.3
    best = sum(comb(23, w) * p**w * (1 - p) ** (23 - w) for w in range(4))
    found = average_min_entropy(golay23().parity, [np.array([1 - p, p])] * 23)
    assert found == pytest.approx(-np.log2(best), abs=1e-9)


@pytest.mark.parametrize(("p", "expected"), [(0.5, 4.0), (0.6, 2.656259), (0.9, 0.233947)])
def test_what_a_hamming_sketch_leaves(p: float, expected: float) -> None:
    """One word of weight at least 6 for each syndrome: p**7 + 7 p**6 (1 - p) is guessed at once."""
    found = average_min_entropy(hamming(3).parity, [np.array([1 - p, p])] * 7)
    assert found == pytest.approx(expected, abs=5e-7)
    assert found == pytest.approx(-np.log2(p**7 + 7 * p**6 * (1 - p)), abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32), widths=st.lists(st.integers(1, 3), min_size=1, max_size=4))
def test_against_a_loop_over_words(seed: int, widths: list[int]) -> None:
    rng = np.random.default_rng(seed)
    n = sum(widths)
    parity = rng.integers(0, 2, (rng.integers(1, 4), n)).astype(np.uint8)
    slots = [rng.dirichlet(np.full(1 << w, 0.4)) for w in widths]
    slots[0] = np.eye(1 << widths[0])[0]  # an empty position, or a symbol known for certain
    best: dict[bytes, float] = {}
    for word in itertools.product((0, 1), repeat=n):
        p, at = 1.0, 0
        for width, slot in zip(widths, slots, strict=True):
            p *= slot[int("".join(map(str, word[at : at + width])), 2)]
            at += width
        syndrome = (parity @ np.array(word) % 2).tobytes()
        best[syndrome] = max(best.get(syndrome, 0.0), p)
    found = average_min_entropy(parity, slots)
    assert found == pytest.approx(-np.log2(sum(best.values())), abs=1e-9)
    least = -sum(np.log2(s.max()) for s in slots) - len(parity)
    assert found >= least - 1e-9  # Dodis et al. (2008): a public string costs at most its length


def test_a_long_block_does_not_underflow() -> None:
    """One parity over 3000 fair bits leaves all but one of them."""
    assert average_min_entropy(np.ones((1, 3000), np.uint8), [np.array([0.5, 0.5])] * 3000) == 2999


def test_slots_of_whole_straddling_and_empty_positions() -> None:
    share = np.tile([0.2, 0.3, 0.5], (3, 1))
    slots = pattern_slots(np.array([1, 2, 3, 4, -1]), TERNARY, share)
    expected = [[0.2, 0.8], [0.2, 0.3, 0.0, 0.5], [0.5, 0.5], [1.0, 0.0]]
    assert [s.tolist() for s in slots] == [pytest.approx(e) for e in expected]


def test_a_source_fitted_to_people() -> None:
    rng = np.random.default_rng(4)
    shares = np.array([0.25, 0.5, 0.25])
    symbols = rng.choice(3, (400, 6), p=shares).astype(np.uint8)
    positions = np.array([[0, 1, 2, 3, 4, 5, -1], [6, 7, 8, 9, 10, 11, -1]])
    parity = hamming(3).parity
    found = estimated_min_entropy(
        symbols, np.arange(400) // 10, labels=TERNARY, parity=parity, positions=positions, limit=8
    )
    truth = 2 * average_min_entropy(
        parity, pattern_slots(positions[0], TERNARY, np.broadcast_to(shares, (6, 3)))
    )
    assert found.low <= truth <= found.high
    assert (found.subjects, found.attempts, found.side) == (40, 400, "estimate")
    one = estimated_min_entropy(
        symbols, np.zeros(400, int), labels=TERNARY, parity=parity, positions=positions, limit=0.5
    )
    assert one.value == 0.5
    assert np.isnan([one.low, one.high]).all()  # one person says nothing about others


SHARES = {"smooth": [0.25, 0.5, 0.25], "uniform": [1 / 3, 1 / 3, 1 / 3]}


def fitted(kind: str, repetitions: int) -> tuple[Array, float]:
    """(repetitions, 3) low, value and high for 20 people of 10 witnesses, and the truth."""
    rng, shares = np.random.default_rng(12), np.array(SHARES[kind])
    parity, positions = hamming(3).parity, np.array([[0, 1, 2, 3, 4, 5, -1]])
    found = []
    for _ in range(repetitions):
        e = estimated_min_entropy(
            rng.choice(3, (200, 3), p=shares).astype(np.uint8), np.arange(200) // 10, labels=TERNARY,
            parity=parity, positions=positions, limit=4,
        )  # fmt: skip
        found.append((e.low, e.value, e.high))
    slots = pattern_slots(positions[0], TERNARY, np.broadcast_to(shares, (3, 3)))
    return np.array(found), average_min_entropy(parity, slots)


@pytest.mark.slow
def test_interval_of_a_fitted_source_covers_where_one_word_is_best() -> None:
    """Jackknife: 95 %, in the exact 99 % region of 1000 runs."""
    found, truth = fitted("smooth", 1000)
    covered = ((found[:, 0] <= truth) & (truth <= found[:, 2])).sum()
    assert binom.ppf(0.005, 1000, 0.95) <= covered <= binom.ppf(0.995, 1000, 0.95)


def test_a_fitted_source_never_promises_more_than_a_uniform_one_holds() -> None:
    """All words alike: any deviation of the sample lowers the estimate, so the upper end misses, never the
    lower one."""
    found, truth = fitted("uniform", 300)
    assert (found[:, 1] <= truth + 1e-9).all()
    assert (found[:, 0] <= truth).all()
    # the shortfall that the docstring states: the upper end does not make up for it
    assert (found[:, 2] < truth).sum() > binom.ppf(0.995, 300, 0.025)


def test_the_chain_bound_is_safe_and_can_be_far_too_low() -> None:
    """Golay, bits at .7: 23 * .5146 - 11 leave .84 bit, where 4.22 are left."""
    bits = np.r_[np.zeros(7_000_000, np.uint8), np.ones(3_000_000, np.uint8)]
    per = most_common_value(bits)
    found = chain_bound(per, symbols=23, parities=11, limit=12)
    assert found.high == pytest.approx(0.84, abs=5e-3)
    assert found.low <= found.value <= found.high < 4.22
    assert chain_bound(per, symbols=1, parities=11, limit=12).value == 0
    assert chain_bound(per, symbols=230, parities=11, limit=12).value == 12


def test_bad_input_is_named() -> None:
    parity = hamming(3).parity
    fair = np.array([0.5, 0.5])
    with pytest.raises(InsufficientData, match="needs at least two symbols, got 1"):
        most_common_value(np.zeros(1, int))
    with pytest.raises(InsufficientData, match="the worst subject needs at least one subject, got none"):
        worst_subject(np.zeros((0, 4), int), np.zeros(0, int))
    with pytest.raises(ValueError, match="`slots` must fill 7 positions, got distributions over 6 bits"):
        average_min_entropy(parity, [fair] * 6)
    with pytest.raises(ValueError, match=r"each slot must be a distribution, got one summing to 0\.9"):
        average_min_entropy(parity, [fair] * 6 + [np.array([0.5, 0.4])])
    with pytest.raises(InsufficientData, match="at most 20 parities, got 21"):
        average_min_entropy(np.ones((21, 25), np.uint8), [fair] * 25)
    with pytest.raises(InsufficientData, match="fitted to at least one attempt, got none"):
        estimated_min_entropy(
            np.zeros((0, 4), np.uint8),
            np.zeros(0, int),
            labels=TERNARY,
            parity=parity,
            positions=np.zeros((1, 7), int),
            limit=4,
        )


def test_a_persons_part_is_a_tangent_of_the_pooled_figure() -> None:
    """Leaving people out moves the pooled figure as their parts say, to first order."""
    rng = np.random.default_rng(3)
    subject = np.repeat(np.arange(30), 20)
    tilt = rng.normal(0, 0.02, 30)[subject]
    symbols = (rng.random((600, 7)) < (0.3 + tilt)[:, None]).astype(np.uint8)
    labels = np.array([[0], [1]], np.uint8)
    parity = np.array([[1, 0, 1, 0, 1, 0, 1], [0, 1, 1, 0, 0, 1, 1], [0, 0, 0, 1, 1, 1, 1]], np.uint8)
    source = {"labels": labels, "parity": parity, "positions": np.arange(7)[None], "limit": 4.0}
    people, parts = min_entropy_by_person(symbols, subject, **source)
    pooled = estimated_min_entropy(symbols, subject, **source).value
    assert parts.mean() == pytest.approx(pooled, abs=1e-9)
    kept = people[:15]
    rows = np.isin(subject, kept)
    half = estimated_min_entropy(symbols[rows], subject[rows], **source).value
    moved = abs(half - pooled)
    assert moved > 1e-3
    assert parts[:15].mean() == pytest.approx(half, abs=0.05 * moved)
