"""Symbols as they are and in bits; people one by one; input that will not do."""

from __future__ import annotations

import inspect
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.bitstring import bitstring
from harness.estimators.entropy.by_subject import worst_of
from harness.estimators.entropy.compression import compression
from harness.estimators.entropy.counting import multi_markov
from harness.estimators.entropy.lag import lag
from harness.estimators.entropy.lz78y import lz78y
from harness.estimators.entropy.non_iid import ESTIMATORS, NonIid, non_iid
from harness.estimators.entropy.sequences import codes
from harness.estimators.entropy.tuples import longest_repeated_substring, t_tuple
from harness.estimators.entropy.window import multi_most_common_in_window, window_hits


@given(st.lists(st.integers(0, 255), max_size=40), st.integers(8, 16))
def test_a_bitstring_holds_the_symbols(symbols: list[int], bits: int) -> None:
    written = bitstring(np.array(symbols, int), bits)
    text = "".join(map(str, written.tolist()))
    assert [int(text[i : i + bits], 2) for i in range(0, len(text), bits)] == symbols


def by_method(found: NonIid, of: str) -> dict[str, float]:
    return {o.method: o.per_symbol for o in found.outcomes if o.of == of and o.per_symbol is not None}


def test_a_stuck_bit_shows_in_the_bits() -> None:
    """Four-bit symbols whose lowest bit is 0 hold three bits; the bitstring sees a bias of 5 in 8."""
    s = np.random.default_rng(0).integers(0, 8, 20_000) * 2
    found = non_iid(s, alphabet=16)
    bits = by_method(found, "bits")
    assert by_method(found, "symbols")["most-common-value"] < 3
    (common,) = (o.estimate for o in found.outcomes if o.of == "bits" and o.method == "most-common-value")
    assert common is not None
    # four standard errors of a share of 80 000 bits
    assert common.high == pytest.approx(-math.log2(5 / 8), abs=4 * 0.0017 / (5 / 8 * math.log(2)))
    assert found.of_bits == min(bits.values())
    assert found.value == min(found.literal, found.of_bits)
    assert found.decides.per_symbol == found.value


def test_short_sequences_say_so() -> None:
    found = non_iid(np.random.default_rng(0).integers(0, 3, 100))
    assert (found.alphabet, found.bits) == (3, 2)
    short, missing, uneven = found.remarks
    assert short.startswith("Below the standard's sample size: 100 symbols of 1000000")
    assert "compression of bits" in missing
    assert uneven.startswith("3 symbols do not fill 2 bits evenly")
    assert all(o.reason for o in found.outcomes if o.estimate is None)
    two = non_iid(np.array([0, 1]))
    assert (two.value, two.decides.method) == (0, "most-common-value")
    assert len(two.outcomes) == 10


def test_a_million_bits_are_not_short() -> None:
    """One estimator's worth of data in full size: the remark goes, nothing else changes."""
    found = NonIid(symbols=1_000_000, alphabet=2, bits=1, outcomes=non_iid(np.arange(7000) % 2).outcomes)
    assert found.remarks == ()


def test_the_alphabet_is_told_or_seen() -> None:
    s = np.random.default_rng(0).integers(0, 5, 500)
    assert (non_iid(s).alphabet, non_iid(s).bits) == (5, 3)
    assert (non_iid(s, alphabet=200).alphabet, non_iid(s, alphabet=200).bits) == (200, 8)
    assert non_iid(np.zeros(10, int)).alphabet == 2


def test_pooling_hides_people() -> None:
    """Half of the people at .9 and half at .1: one bit pooled by the most common value, .152 each."""
    rng = np.random.default_rng(2)
    subject = np.tile(np.arange(10), 40)  # attempts of all people in turn
    chance = np.where(subject % 2, 0.9, 0.1)
    bits = (rng.random((400, 50)) < chance[:, None]).astype(np.uint8)
    found = worst_of(bits, subject, alphabet=2)
    pooled, worst = by_method(found.pooled, "symbols"), by_method(found.worst, "symbols")
    assert pooled["most-common-value"] > 0.95
    assert worst["most-common-value"] < -math.log2(0.9) < pooled["most-common-value"] / 2
    assert found.values[found.worst_subject] == found.worst.value == min(found.values.values())
    assert sorted(found.values) == list(range(10))
    estimate = found.pooled.outcomes[0].estimate
    assert estimate is not None
    assert (estimate.subjects, estimate.attempts) == (10, 400)
    assert found.worst.symbols == 40 * 50
    assert found.remark.startswith("The worst of 10 is low by chance too: at 2000 symbols")


def test_attempts_of_a_person_stay_in_order() -> None:
    rng = np.random.default_rng(2)
    symbols, subject = rng.integers(0, 3, (12, 30)), np.array([5, 2] * 6)
    found = worst_of(symbols, subject)
    for person in (2, 5):
        alone = non_iid(symbols[subject == person].ravel(), alphabet=3)
        assert found.values[person] == alone.value


@pytest.mark.parametrize(
    ("symbols", "expected"),
    [
        (np.array([-100, 100, -100], np.int8), [0, 1, 0]),
        (np.array([2**64 - 1, 2**64 - 3], np.uint64), [1, 0]),
        (np.array([-(2**62), 2**62, 5]), [0, 2, 1]),
        (np.array([True, False]), [1, 0]),
        (np.arange(300), list(range(300))),
    ],
)
def test_symbols_of_every_kind_are_numbered_in_order(symbols: Array, expected: list[int]) -> None:
    numbers, kinds = codes(symbols, least=1, needs="this test")
    assert numbers.tolist() == expected
    assert kinds == max(expected) + 1


FLOATS, TABLE = np.array([0.0, 1.0, 0.5]), np.zeros((3, 4), int)


@pytest.mark.parametrize("method", list(ESTIMATORS))
def test_symbols_are_whole_numbers_in_a_row(method: str) -> None:
    with pytest.raises(ValueError, match="must be whole numbers"):
        ESTIMATORS[method](FLOATS)
    if method != "most-common-value":  # which takes attempts of any shape
        with pytest.raises(ValueError, match=r"must be whole numbers of shape \(n,\), got int64 of shape"):
            ESTIMATORS[method](TABLE)
    with pytest.raises(InsufficientData, match="needs"):
        ESTIMATORS[method](np.zeros(1, int))
    with pytest.raises(InsufficientData, match="needs"):
        ESTIMATORS[method](np.zeros(0, int))


@pytest.mark.parametrize("method", ["collision", "markov", "compression"])
def test_three_estimators_are_for_bits(method: str) -> None:
    with pytest.raises(ValueError, match="is defined for bits only, got the symbol 2: use its bitstring"):
        ESTIMATORS[method](np.arange(7000) % 3)


def test_too_few_data_are_named() -> None:
    cases = (
        (compression, np.zeros(6011, int), "the compression estimate needs at least 6012 bits, got 6011"),
        (t_tuple, np.arange(60) % 2, "a symbol that occurs at least 35 times, got at most 30 times"),
        (longest_repeated_substring, np.arange(60), "needs a stretch that occurs twice .* got none"),
        (
            multi_most_common_in_window,
            np.zeros(64, int),
            "the window estimate needs at least 65 symbols, got 64",
        ),
        (lag, np.zeros(2, int), "the lag estimate needs at least 3 symbols, got 2"),
        (multi_markov, np.zeros(3, int), "the multi-Markov estimate needs at least 4 symbols, got 3"),
        (lz78y, np.zeros(18, int), "the LZ78Y estimate needs at least 19 symbols, got 18"),
    )
    for estimator, symbols, message in cases:
        with pytest.raises(InsufficientData, match=message):
            estimator(symbols)


def test_bad_parameters_are_named() -> None:
    s = np.arange(100) % 2
    cases = (
        (lambda: compression(s, block=0), "`block` must be from 1 to 16 bits, got 0"),
        (lambda: compression(s, initial=0), "`initial` must be at least one block, got 0"),
        (lambda: t_tuple(s, cutoff=1), "`cutoff` must be at least 2, got 1"),
        (lambda: multi_most_common_in_window(s, windows=(5, 3)), r"`windows` must ascend .* got \[5, 3\]"),
        (lambda: lag(s, lags=0), "`lags` must be at least 1, got 0"),
        (lambda: multi_markov(s, depth=0), "`depth` must be at least 1, got 0"),
        (lambda: multi_markov(s, entries=0), "`entries` must be at least 1, got 0"),
        (lambda: lz78y(s, longest=0), "`longest` must be at least 1, got 0"),
        (lambda: lz78y(s, entries=-1), "`entries` must be at least 1, got -1"),
        (lambda: bitstring(s, 0), "`bits` must be from 1 to 16, got 0"),
        (lambda: bitstring(s + 3, 2), "symbols of 2 bits must be from 0 to 3, got 4"),
        (lambda: non_iid(s, alphabet=1), "`alphabet` must be from 2 to 65536 symbols, got 1"),
        (lambda: non_iid(s - 1), "symbols of 2 kinds must be from 0 to 1, got -1"),
        (lambda: non_iid(s + 1, alphabet=2), "symbols of 2 kinds must be from 0 to 1, got 2"),
        (lambda: worst_of(s, s), r"symbols must be \(attempts, m\) with a subject each, got shapes"),
    )
    for run, message in cases:
        with pytest.raises(ValueError, match=message):
            run()


def test_nobody_and_a_subject_with_one_symbol() -> None:
    with pytest.raises(InsufficientData, match="needs at least one subject, got none"):
        worst_of(np.zeros((0, 4), int), np.zeros(0, int))
    with pytest.raises(InsufficientData, match="needs at least two symbols, got 1"):
        worst_of(np.zeros((3, 1), int), np.arange(3))
    with pytest.raises(InsufficientData, match="min-entropy needs at least two symbols, got 0"):
        non_iid(np.zeros(0, int))
    alone = worst_of(np.arange(40).reshape(1, 40) % 2, np.array([7]))  # one person with one attempt
    assert (alone.worst_subject, alone.worst.symbols) == (7, 40)


def test_windows_are_those_of_the_standard() -> None:
    """NIST SP 800-90B (2018) §6.3.7 (from memory): 63, 255, 1023 and 4095 symbols."""
    for function in (window_hits, multi_most_common_in_window):
        assert inspect.signature(function).parameters["windows"].default == (63, 255, 1023, 4095)
