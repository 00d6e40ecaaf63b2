"""Estimators where their arguments end: answers at the ends of a range, and what lies beyond it."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pytest
from entropy_loops import lz78y_right
from scipy.special import gammaincc
from scipy.stats import chi2

from harness.contracts import Array
from harness.estimators.accumulation import mixture_min_entropy
from harness.estimators.entropy.compression import compression
from harness.estimators.entropy.contexts import empty_context
from harness.estimators.entropy.given_helper import pattern_slots
from harness.estimators.entropy.lz78y import lz78y_hits
from harness.estimators.entropy.predictions import _log_chance_of_none, local_limit
from harness.estimators.entropy.sequences import codes
from harness.estimators.entropy.stretch_ceilings import (
    longest_repeated_substring_ceiling,
    t_tuple_ceiling,
)
from harness.estimators.keyrate_beliefs import believed_key_rate
from harness.estimators.leakage import logistic, planted
from harness.estimators.leakage.learned import checked
from harness.estimators.leakage.learners import boosted
from harness.estimators.leakage.logistic import fit_logistic
from harness.estimators.randomness.patterns import non_overlapping_templates, serial
from harness.estimators.randomness.suite import assess
from harness.estimators.retries import agreement_within, tries_quantile
from harness.ranking import _tilted_convolution

BITS = np.random.default_rng(5).integers(0, 2, (2, 4096)).astype(np.uint8)
VIEW, LABEL, WHO = np.zeros((4, 2)), np.zeros((4, 3), int), np.array([0, 0, 1, 1])


def beliefs(alphabet: int) -> Any:
    nothing = np.zeros((4, 2), np.uint8)
    return believed_key_rate(
        nothing, nothing, WHO, surprise_a=np.zeros(4), surprise_b=None, alphabet=alphabet
    )


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (
            partial(mixture_min_entropy, np.ones(2), np.ones(1), attempts=1, person_known=True),
            r"`probability` must be of shape \(people, outcomes\), got \(2,\)",
        ),
        (
            partial(mixture_min_entropy, np.ones((0, 2)), np.ones(0), attempts=1, person_known=True),
            r"must be of shape \(people, outcomes\), got \(0, 2\)",
        ),
        (partial(empty_context, np.zeros(2**23, np.uint16), 0), "fewer than 8388608 symbols, got 8388608"),
        (
            partial(pattern_slots, np.array([0, 2, 1]), np.eye(2, dtype=np.uint8), np.full((2, 2), 0.5)),
            "must stand side by side",
        ),
        (partial(codes, np.arange(2**16 + 1) * 3, least=1, needs="it"), "at most 65536 kinds, got 65537"),
        (partial(beliefs, 1), "`alphabet` must be at least 2, got 1"),
        (partial(checked, VIEW[0], LABEL, WHO), r"of one length, got \(2,\), \(4, 3\) and 4"),
        (partial(checked, VIEW, LABEL[:, 0], WHO), "of one length"),
        (partial(checked, VIEW, LABEL[:3], WHO), r"got \(4, 2\), \(3, 3\) and 4"),
        (partial(checked, VIEW, LABEL, WHO[:3]), r"got \(4, 2\), \(4, 3\) and 3"),
        (
            partial(checked, VIEW + np.array([np.nan, 0]), LABEL, WHO),
            "must be finite, got 4 values that are not",
        ),
        (partial(checked, VIEW, LABEL + 2, WHO), "`bits` must be 0 or 1"),
        (partial(checked, VIEW, LABEL - 1, WHO), "`bits` must be 0 or 1"),
        (partial(non_overlapping_templates, BITS, m=1), "`m` must be a whole number, 2 to 16, got 1"),
        (partial(non_overlapping_templates, BITS, m=17), "2 to 16, got 17"),
        (partial(non_overlapping_templates, BITS, m=2.0), "2 to 16, got 2.0"),
        (partial(non_overlapping_templates, BITS, m=True), "2 to 16, got True"),
        (
            partial(non_overlapping_templates, BITS, templates=np.array([0, 1]), m=2),
            "numbers of 2 bits that cannot",
        ),
        (partial(assess, np.array([0.5, 1.1])), "p-values from 0 to 1"),
        (partial(assess, np.array([-0.1])), "p-values from 0 to 1"),
        (partial(assess, np.zeros((2, 2))), "p-values from 0 to 1"),
        (partial(assess, np.ones(2), alpha=0.0), "`alpha` must lie strictly between 0 and 1, got 0"),
        (partial(assess, np.ones(2), alpha=1.0), "`alpha` must lie strictly between 0 and 1, got 1"),
        (
            partial(agreement_within, np.ones(4, bool), WHO, tries=1, level=1.0),
            "`level` must lie strictly between 0 and 1, got 1",
        ),
        (partial(agreement_within, np.ones(4, bool), WHO, tries=1, level=0.0), "got 0"),
        (partial(_tilted_convolution, np.zeros((0, 2, 8))), "`histograms` must hold at least one block"),
    ],
)
def test_what_lies_outside_the_range_is_refused_in_a_sentence(call: Callable[[], Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        call()


def test_one_kind_repeats_all_the_way_and_one_symbol_repeats_nothing() -> None:
    assert t_tuple_ceiling(40, 1, cutoff=1) == 0.0
    assert t_tuple_ceiling(40, 1, cutoff=41) is None
    assert longest_repeated_substring_ceiling(1, 2) is None


def test_fewer_steps_come_less_near_but_on_the_same_side(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(6)
    view = rng.standard_normal((100, 1))
    bits = (view + rng.standard_normal((100, 1)) > 0).astype(int)

    def loss() -> float:
        told = fit_logistic(view, bits).log_odds(view)
        return float(np.logaddexp(0, np.where(bits == 1, -told, told)).sum())

    best = loss()
    monkeypatch.setattr(logistic, "_STEPS", 1)
    assert best < loss() < 100 * np.log(2)


def test_a_planted_limit_that_is_halved_less_often_is_no_smaller(monkeypatch: pytest.MonkeyPatch) -> None:
    view, who = np.random.default_rng(3).standard_normal((60, 1)), np.repeat(np.arange(10), 6)

    def limit() -> float:
        rng = np.random.default_rng(0)
        return planted.planted_detection_limit(view, who, rng=rng, references=100).value

    fine = limit()
    monkeypatch.setattr(planted, "_HALVINGS", 0)
    assert fine <= limit() <= 4 * fine


def test_codes_take_as_many_kinds_as_fit_two_bytes() -> None:
    numbers, kinds = codes(np.arange(2**16)[::-1] * 3, least=1, needs="it")
    assert kinds == 2**16
    assert numbers.dtype == np.uint16
    assert np.array_equal(numbers, np.arange(2**16)[::-1])


@pytest.mark.parametrize(("kinds", "dtype"), [(256, np.uint8), (257, np.uint16)])
@pytest.mark.parametrize("step", [1, 1000])
def test_codes_are_bytes_while_they_can(kinds: int, dtype: type, step: int) -> None:
    numbers, found = codes(np.arange(kinds) * step - 7, least=1, needs="it")
    assert found == kinds
    assert numbers.dtype == dtype
    assert np.array_equal(numbers, np.arange(kinds))


def test_blocks_as_far_apart_as_can_be_count_as_full_bits_and_equal_ones_as_none() -> None:
    """All 64 blocks in turn: each is 64 blocks back, while fair ones are nearer on average."""
    turn = np.concatenate([np.array([int(c) for c in f"{i:06b}"]) for i in range(64)])
    found = compression(np.tile(turn, 30))
    assert found.value == found.low == 1.0
    assert compression(np.zeros(6 * 1100, int)).value == 0.0


def test_a_dictionary_that_is_full_is_searched_no_further() -> None:
    for text in ("0123456789", "0101010101", "0010111001"):
        s = np.array([int(c) for c in text], np.uint8)
        assert lz78y_hits(s, longest=3, entries=1).tolist() == lz78y_right(s.tolist(), 3, 1)


def test_a_run_of_nearly_everything_leaves_a_share_below_one() -> None:
    """A run of r + 1 in about as many places has chance p**(r + 1): .01 at p = .01**(1 / (r + 1))."""
    for longest in (10**3, 10**6, 10**9):
        assert 1 - local_limit(longest, longest + 1) == pytest.approx(-math.log(0.01) / longest, rel=0.05)
    assert local_limit(5, 5) == 1.0
    assert local_limit(5, 6) < 1.0
    assert _log_chance_of_none(1 - 2.0**-53, 2, 10) == -math.inf  # rounding leaves no chance


def test_a_bit_that_never_changed_is_told_with_the_chance_of_one_exception() -> None:
    rng = np.random.default_rng(2)
    view = rng.standard_normal((200, 1))
    bits = np.column_stack([np.ones(200, int), np.zeros(200, int), view[:, 0] > 0]).astype(int)
    told = boosted(view, bits, np.array([[-2.0], [2.0]]))
    assert told[:, 0] == pytest.approx([200.5 / 201] * 2)
    assert told[:, 1] == pytest.approx([0.5 / 201] * 2)
    assert told[0, 2] < 0.05 < 0.95 < told[1, 2]


def test_a_fit_whose_full_steps_overshoot_still_ends_where_the_slope_is_nothing() -> None:
    rng = np.random.default_rng(158)
    view = rng.standard_normal((20, 2))
    view[0] *= 50  # one row far out: steps have to be halved on the way
    bits = (rng.random((20, 1)) < 0.2).astype(int)
    found = fit_logistic(view, bits, penalty=0.1)
    scaled = (view - view.mean(axis=0)) / view.std(axis=0)
    left = bits - 1 / (1 + np.exp(-found.log_odds(view)))
    assert found.weights[1:] * 0.1 == pytest.approx(scaled.T @ left, abs=1e-4)
    assert left.sum() == pytest.approx(0, abs=1e-4)


def test_the_serial_test_of_pairs_compares_pairs_and_single_bits() -> None:
    m2, m1 = np.zeros((2, 4)), np.zeros((2, 2))
    for row, bits in enumerate(BITS):
        for one, two in zip(bits, np.roll(bits, -1), strict=True):
            m2[row, 2 * one + two] += 1
            m1[row, one] += 1
    n = BITS.shape[1]
    pairs, single = 4 / n * (m2**2).sum(axis=1) - n, 2 / n * (m1**2).sum(axis=1) - n
    found = serial(BITS, m=2)
    assert found[:, 0] == pytest.approx(chi2.sf(pairs - single, 2))
    assert found[:, 1] == pytest.approx(gammaincc(0.5, np.maximum(pairs - 2 * single, 0) / 2))


def test_a_template_of_two_bits_is_counted_in_eight_blocks() -> None:
    block = BITS.shape[1] // 8
    seen = np.array([[found(part, (0, 1)) for part in row.reshape(8, block)] for row in BITS])
    mean, variance = (block - 1) / 4, block * (1 / 4 - 3 / 16)
    p = gammaincc(4, ((seen - mean) ** 2 / variance).sum(axis=1) / 2)
    assert non_overlapping_templates(BITS, templates=np.array([1]), m=2)[:, 0] == pytest.approx(p)


def found(bits: Array, template: tuple[int, int]) -> int:
    """Times that a template occurs, searched on behind each hit."""
    at, hits = 0, 0
    while at < len(bits) - 1:
        hit = (bits[at], bits[at + 1]) == template
        hits += hit
        at += 2 if hit else 1
    return hits


def test_what_almost_never_agrees_takes_tries_without_end() -> None:
    assert tries_quantile(np.array([1e-30]), np.array([1.0]), share=0.5) == math.inf
    assert tries_quantile(np.array([1e-12]), np.array([1.0]), share=0.5) == pytest.approx(
        math.log(2) * 1e12, rel=1e-6
    )
    assert tries_quantile(np.array([1.0, 0.0]), np.array([0.5, 0.5]), share=0.5) == 1
    assert tries_quantile(np.array([1.0, 0.0]), np.array([0.5, 0.5]), share=0.51) == math.inf
