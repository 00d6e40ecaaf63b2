"""Three statistics in one permutation test: each kind of leak is found, and identity is none."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import InsufficientData
from harness.estimators.leakage.shuffles import agreement, several_attempts, shuffles
from harness.estimators.leakage.within_subject import min_p_value, score_p_value
from harness.streams import stream

SUBJECT = np.repeat(np.arange(15), 10)
RNG = np.random.default_rng(2)
TRUE = RNG.integers(0, 2, (150, 32))
NOISE = RNG.integers(0, 2, (150, 32))


@pytest.fixture(autouse=True)
def own_numbers() -> None:
    """Each test draws the same numbers, whatever ran before it."""
    RNG.bit_generator.state = np.random.default_rng(2).bit_generator.state


def p_of(told: np.ndarray, true: np.ndarray = TRUE) -> float:
    return min_p_value(told, true, SUBJECT, rng=stream(0, "min-p"), repetitions=499).value


def test_each_kind_of_leak_is_found_and_nothing_is_none() -> None:
    assert p_of(NOISE) > 0.05
    everywhere = np.where(RNG.random(TRUE.shape) < 0.12, TRUE, NOISE)
    one_bad = NOISE.copy()
    one_bad[:, 5] = np.where(RNG.random(150) < 0.6, TRUE[:, 5], NOISE[:, 5])
    mixed = np.where(np.arange(32) % 2 == 0, TRUE, 1 - TRUE)
    mixed = np.where(RNG.random(TRUE.shape) < 0.25, mixed, NOISE)
    for told in (everywhere, one_bad, mixed):
        assert p_of(told) <= 0.01


def test_bits_that_a_person_always_has_are_identity_not_leakage() -> None:
    habit = RNG.random((15, 32))[SUBJECT]
    true = (RNG.random(TRUE.shape) < habit).astype(int)
    assert p_of((habit > 0.5).astype(int), true) > 0.05


def test_constant_views_say_nothing_and_single_attempts_are_refused() -> None:
    assert p_of(np.zeros_like(TRUE)) == 1.0
    with pytest.raises(InsufficientData, match="two attempts of one subject"):
        min_p_value(TRUE[:15], TRUE[:15], np.arange(15), rng=stream(0, "x"))
    with pytest.raises(ValueError, match="one shape"):
        min_p_value(TRUE, TRUE[:, :5], SUBJECT, rng=stream(0, "x"))


def test_packed_agreement_is_plain_counting_whatever_the_sizes() -> None:
    rng = np.random.default_rng(4)
    subject = np.repeat(np.arange(6), [1, 2, 3, 5, 8, 13])[rng.permutation(32)]
    told, true = rng.integers(0, 3, (2, 32, 70))
    rows = several_attempts(subject)
    assert len(rows) == 31
    orders = shuffles(subject[rows], 40, rng)
    assert (subject[rows][orders] == subject[rows]).all()
    assert len({tuple(o) for o in orders}) == 41
    plain = [(told[rows] == true[rows][o]).sum(axis=0) for o in orders]
    assert (agreement(told[rows], true[rows], subject[rows], orders) == plain).all()


def test_scores_are_tested_as_agreement_is() -> None:
    rng = np.random.default_rng(5)
    for leak, found in ((0.0, False), (0.5, True)):
        scores = RNG.standard_normal(TRUE.shape) + leak * TRUE
        assert (score_p_value(scores, TRUE, SUBJECT, rng=rng, repetitions=499).value <= 0.01) is found
    with pytest.raises(ValueError, match="finite"):
        score_p_value(np.full(TRUE.shape, np.nan), TRUE, SUBJECT, rng=rng)
    with pytest.raises(ValueError, match="one shape"):
        score_p_value(np.zeros((3, 2)), TRUE, SUBJECT, rng=rng)
