"""Chances under the null against exact ones: never below, and limits that hold."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom, chi2

from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import first_of_each, named, row_numbers
from harness.detectors.people import by_person, hit_tail, worth
from harness.detectors.repeats import shared_p_value, shared_values
from harness.detectors.tails import LEVEL, advantage, bits_of, chi_square_tail, least_rows, sign_tail


def test_the_tail_of_signs_covers_the_exact_one() -> None:
    for n in (10, 100, 600):
        ones = np.arange(n + 1)
        z = np.abs(2 * ones - n) / np.sqrt(n)
        exact = np.minimum(1.0, 2 * binom.sf(np.maximum(ones, n - ones) - 1, n, 0.5))
        assert (sign_tail(z) >= exact - 1e-12).all()
    assert sign_tail(4.0) < 1e-3  # and says something


def test_the_tail_of_squares_covers_the_exact_one() -> None:
    for terms in (1, 8, 128):
        for total in (terms / 2, terms, terms + 10, 3 * terms + 40):
            bound = chi_square_tail(float(total), terms)
            assert chi2.sf(total, terms) <= bound <= 1
    assert chi_square_tail(300.0, 128) < 1e-10


def test_least_rows_is_where_a_constant_bit_is_heard() -> None:
    for looks in (1, 128, 10**6):
        n = least_rows(looks)
        assert sign_tail(np.sqrt(n)) * looks <= LEVEL < sign_tail(np.sqrt(n - 1)) * looks


def test_lower_limits_of_effects_hold(rng: np.random.Generator) -> None:
    """Of a sign with mean .3, at most one limit in twenty lies above it, and half as many by two sides."""
    hits = rng.binomial(400, 0.65, 4000)
    above = (advantage(2 * hits / 400 - 1, 400, 1) > 0.3).sum()
    assert above <= binom.isf(1e-4, 4000, 0.025)
    assert (advantage(2 * hits / 400 - 1, 400, 1) > 0.1).mean() > 0.9


def test_missing_bits_add_up_to_no_more_than_the_key_lacks(rng: np.random.Generator) -> None:
    """Of random sources of 6 bits, however dependent: the sum over bits against the whole."""
    words = (np.arange(64)[:, None] >> np.arange(6)) & 1
    for _ in range(200):
        p = rng.dirichlet(np.full(64, 0.3))
        whole = 6 + float((p * np.log2(np.maximum(p, 1e-300))).sum())
        assert bits_of(p @ (1 - 2 * words)).sum() <= whole + 1e-9
        assert whole <= 6 + np.log2(p.max()) + 1e-9


@pytest.mark.parametrize(("bits", "people", "each"), [(3, 6, 4), (6, 6, 10), (8, 10, 30), (12, 12, 170)])
def test_shared_values_have_the_moments_stated(
    rng: np.random.Generator, bits: int, people: int, each: int
) -> None:
    subject = np.repeat(np.arange(people), each)
    repetitions = 1500
    pairs, mean, variance = np.empty((3, repetitions))
    p = np.empty(repetitions)
    for i in range(repetitions):
        seen = shared_values(rng.integers(0, 2, (len(subject), bits), dtype=np.uint8), subject)
        pairs[i], mean[i], variance[i], p[i] = seen.pairs, seen.mean, seen.variance, shared_p_value(seen)
    error = np.sqrt(variance.mean() / repetitions)
    assert abs(pairs - mean).mean() > 0
    assert abs((pairs - mean).mean()) < 4 * error
    assert ((pairs - mean) ** 2).mean() == pytest.approx(variance.mean(), rel=0.2)  # five standard errors
    for level in (0.05, 0.01):
        assert (p <= level).sum() <= binom.isf(1e-4, repetitions, level)


def test_equal_rows_have_equal_numbers(rng: np.random.Generator) -> None:
    bits = rng.integers(0, 2, (300, 100), dtype=np.uint8)
    bits[200:] = bits[:100]
    bits[:, 40:] = bits[:1, 40:]
    number = row_numbers(bits)
    same = (bits[:, None] == bits).all(axis=2)
    assert np.array_equal(number[:, None] == number, same)
    assert first_of_each(bits, np.zeros(300, int)).tolist() == list(range(200))
    assert len(first_of_each(bits, np.arange(300))) == 300


def test_key_bits_in_words() -> None:
    assert named([0]) == "key bit 0"
    assert named([0, 1]) == "key bits 0 and 1"
    assert named([5, 6, 7, 20]) == "key bits 5-7 and 20"
    assert named(range(0, 60, 2)) == "key bits 0, 2, 4, 6, 8, 10 and 24 more"


def test_a_detection_has_a_p_value_or_a_reason() -> None:
    assert found("x", 0.0, "t", bits=-1, attempts=1, subjects=1).p == 1e-300
    assert found("x", 7.0, "t", bits=0, attempts=1, subjects=1).p == 1.0
    assert untested("x", "why").p is None
    with pytest.raises(ValueError, match="either"):
        Detection(slug="x")
    with pytest.raises(ValueError, match="either"):
        Detection(slug="x", p=0.5, untested="why")
    with pytest.raises(ValueError, match="must lie"):
        Detection(slug="x", p=1.5)


def test_keys_are_worth_what_people_leave_of_them(rng: np.random.Generator) -> None:
    """Independent signs are worth nearly all, a sign a person one each, and never more than there are."""
    subject = np.repeat(np.arange(40), 10)
    free = np.where(rng.random((400, 500)) < 0.7, 1.0, -1.0)
    lasting = np.repeat(np.where(rng.random((40, 500)) < 0.7, 1.0, -1.0), 10, axis=0)
    mixed = rng.permutation(400)
    for order in (np.arange(400), mixed):
        values = worth(*by_person(free[order], subject[order]))
        assert values.max() <= 400
        assert 320 < values.mean() < 400
        assert np.allclose(worth(*by_person(lasting[order], subject[order])), 40)


def test_the_tail_of_hits_is_the_binomial_one() -> None:
    for n in (5, 100):
        hits = np.arange(n + 1)
        assert np.allclose(hit_tail(hits / n, np.full(n + 1, float(n))), binom.sf(hits - 1, n, 0.5))
    assert hit_tail(0.7, 50.0) > hit_tail(0.7, 100.0)
