"""Real-valued views: what learners gain on other people, whole keys, and what would have been seen."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np
import pytest
from scipy.special import expit
from sklearn.linear_model import LogisticRegression
from threadpoolctl import threadpool_limits

from harness.errors import InsufficientData
from harness.estimators.leakage.chain import chain_information, chain_surprise
from harness.estimators.leakage.channel import gaussian_shift_information, symmetric_information
from harness.estimators.leakage.learned import held_out_gain, learned_information
from harness.estimators.leakage.learners import boosted, chosen, folds_of, linear
from harness.estimators.leakage.logistic import fit_logistic
from harness.estimators.leakage.planted import planted_detection_limit
from harness.streams import stream


@pytest.fixture(autouse=True)
def one_thread() -> Iterator[None]:
    with threadpool_limits(1):  # as in an audit; trees of small tables only wait for one another
        yield


RNG = np.random.default_rng(3)
SUBJECT = np.repeat(np.arange(30), 20)
CHEAP = (linear, partial(linear, penalty=100.0))


@pytest.fixture(autouse=True)
def own_numbers() -> None:
    """Each test draws the same numbers, whatever ran before it."""
    RNG.bit_generator.state = np.random.default_rng(3).bit_generator.state


def shifted_bits(bits: int, shift: float) -> tuple[np.ndarray, np.ndarray]:
    secret = RNG.integers(0, 2, (len(SUBJECT), bits))
    return shift * (secret - 0.5) + RNG.standard_normal(secret.shape), secret


@pytest.mark.parametrize(("features", "labels"), [(3, 2), (16, 40)])
def test_logistic_regression_is_that_of_scikit_learn(features: int, labels: int) -> None:
    view = RNG.standard_normal((400, features)) * 3 + 5
    bits = (RNG.random((400, labels)) < expit((view - 5) @ RNG.normal(0, 0.3, (features, labels)))).astype(
        int
    )
    ours = fit_logistic(view, bits).log_odds(view)
    scaled = (view - view.mean(axis=0)) / view.std(axis=0)
    for k in range(labels):
        theirs = LogisticRegression(C=1.0, tol=1e-10, max_iter=1000).fit(scaled, bits[:, k])
        sign = 1 - 2 * bits[:, k]
        losses = [np.logaddexp(0, sign * z).mean() for z in (ours[:, k], theirs.decision_function(scaled))]
        assert losses[0] == pytest.approx(losses[1], abs=1e-7)


def test_designs_without_a_unique_solution_are_answered() -> None:
    x = np.where(np.arange(60) % 3 > 0, 1, -1)[:, None] * (0.5 + RNG.random((60, 1)))  # well apart
    view = np.column_stack([x, x, np.full(60, 7.0)])  # repeated, and constant
    bits = np.column_stack([x[:, 0] > 0, np.ones(60, bool), np.zeros(60, bool)]).astype(int)
    told = expit(fit_logistic(view, bits).log_odds(view))
    assert np.isfinite(told).all()
    assert ((told > 0.5) == (bits == 1)).all()


@pytest.mark.parametrize(
    ("view", "bits", "penalty", "said"),
    [
        (np.full((4, 1), np.nan), np.zeros((4, 1)), 1.0, "finite"),
        (np.zeros((4, 1)), np.full((4, 1), 2), 1.0, "0 or 1"),
        (np.zeros((4, 1)), np.zeros((3, 1)), 1.0, "one length"),
        (np.zeros((4, 1)), np.zeros((4, 1)), 0.0, "positive"),
    ],
)
def test_bad_designs_are_refused_in_a_sentence(view, bits, penalty, said) -> None:
    with pytest.raises(ValueError, match=said):
        fit_logistic(view, bits, penalty=penalty)


def test_a_gaussian_view_tells_what_arithmetic_says() -> None:
    view, secret = shifted_bits(40, 1.5)
    # each bit from its own reading: 40 x 600 pairs give a standard error of about .004
    gains = [
        held_out_gain(view[:, k : k + 1], secret[:, k : k + 1], SUBJECT, learners=CHEAP) for k in range(40)
    ]
    assert np.mean(gains) == pytest.approx(gaussian_shift_information(1.5), abs=0.015)


def test_an_unrelated_view_tells_nothing_and_a_known_person_is_no_leak() -> None:
    view = RNG.standard_normal((len(SUBJECT), 8))
    secret = RNG.integers(0, 2, (len(SUBJECT), 8))
    found = learned_information(view, secret, SUBJECT, learners=CHEAP)
    assert (found.low, found.side) == (0.0, "attacker-at-least")
    # every person keeps one bit for life, and the view knows the person: ungrouped learners would show it
    habit = RNG.integers(0, 2, (30, 1))[SUBJECT]
    who = np.eye(30)[SUBJECT]
    assert held_out_gain(who, habit, SUBJECT, learners=(linear,)).mean() < 0.05


def test_the_better_learner_is_chosen_without_the_people_it_is_tested_on() -> None:
    both = RNG.integers(0, 2, (len(SUBJECT), 2))
    parity = (both[:, :1] ^ both[:, 1:]).astype(int)
    straight, _ = shifted_bits(1, 0.0)
    secret = np.column_stack([parity, (straight > 0).astype(int)])
    view = np.column_stack([both, straight])
    assert chosen(view, secret, SUBJECT, (linear, boosted))[0] == 1
    assert held_out_gain(view, parity, SUBJECT, learners=(linear,)).mean() < 0.02
    assert held_out_gain(view, parity, SUBJECT, learners=(linear, boosted)).mean() > 0.8


def test_one_bit_repeated_counts_once_in_the_whole_key() -> None:
    one = RNG.integers(0, 2, (len(SUBJECT), 1))
    view = np.where(RNG.random(one.shape) < 0.1, 1 - one, one).astype(float)
    key = np.repeat(one, 8, axis=1)
    truth = symmetric_information(0.9)
    assert held_out_gain(view, key, SUBJECT, learners=CHEAP).sum(axis=1).mean() > 6 * truth
    whole = chain_information(view, key, SUBJECT, entropy=1.0, learners=CHEAP)
    assert whole.low <= truth
    # one attempt tells log2(1.8) bits nine times in ten, else log2(.2): a standard deviation of .95
    assert whole.value == pytest.approx(truth, abs=4 * 0.95 / np.sqrt(len(SUBJECT)))


def test_a_parity_counts_in_the_whole_key_though_no_bit_shows_it() -> None:
    key = RNG.integers(0, 2, (len(SUBJECT), 3))
    parity = key[:, :1] ^ key[:, 1:2]
    view = np.where(RNG.random(parity.shape) < 0.1, 1 - parity, parity).astype(float)
    assert held_out_gain(view, key, SUBJECT, learners=CHEAP).sum(axis=1).mean() < 0.05
    whole = chain_information(view, key, SUBJECT, entropy=3.0, learners=(boosted,))
    assert 0.3 < whole.value < symmetric_information(0.9) + 0.05


def test_the_chain_is_the_sum_for_independent_bits() -> None:
    view, secret = shifted_bits(4, 2.0)
    apart = 4 - held_out_gain(view, secret, SUBJECT, learners=(linear,)).sum(axis=1)
    assert chain_surprise(view, secret, SUBJECT, learners=(linear,)).mean() == pytest.approx(
        apart.mean(), abs=0.05
    )


def test_folds_keep_people_whole() -> None:
    fold = folds_of(SUBJECT, 5)
    assert all(len(set(fold[person == SUBJECT])) == 1 for person in range(30))
    assert len(set(fold)) == 5


def test_too_few_people_are_refused() -> None:
    one = np.zeros(10, int)
    with pytest.raises(InsufficientData, match="two subjects, got 1"):
        held_out_gain(np.zeros((10, 1)), np.zeros((10, 1), int), one)
    with pytest.raises(ValueError, match="at least two subjects"):
        folds_of(one, 5)


def test_the_planted_limit_is_the_size_that_is_seen_four_times_in_five() -> None:
    view = RNG.standard_normal((200, 2))
    subject = np.repeat(np.arange(20), 10)
    found = planted_detection_limit(view, subject, rng=stream(0, "planted"), references=400)
    assert found.low <= found.value <= found.high
    assert (found.unit, found.evidence, found.side) == ("bit", "modelled", "attacker-at-most")
    # an experiment of its own kind: a bit that shifts the mean of one feature by as much
    rng, seen, null = np.random.default_rng(8), [], []
    shift = next(d for d in np.linspace(0, 3, 3001) if gaussian_shift_information(d) >= found.value)
    for _ in range(150):
        secret = rng.integers(0, 2, (200, 1))
        fresh = rng.standard_normal((200, 2))
        null.append(held_out_gain(fresh, secret, subject, learners=(linear,)).mean())
        fresh[:, :1] += shift * (secret - 0.5)
        seen.append(held_out_gain(fresh, secret, subject, learners=(linear,)).mean())
    power = np.mean(np.array(seen) > np.quantile(null, 0.95))
    assert 0.65 < power < 0.92  # 150 against 150 runs: four standard errors


def test_more_people_see_smaller_leaks() -> None:
    def limit(people: int) -> float:
        view = np.random.default_rng(people).standard_normal((people * 10, 1))
        subject = np.repeat(np.arange(people), 10)
        return planted_detection_limit(view, subject, rng=stream(0, "planted"), references=200).value

    assert limit(60) < limit(10) / 2


def test_a_view_that_cannot_show_a_leak_says_so() -> None:
    rng = stream(0, "planted")
    with pytest.raises(InsufficientData, match="never changes"):
        planted_detection_limit(np.ones((20, 2)), np.repeat(np.arange(4), 5), rng=rng)
    with pytest.raises(InsufficientData, match="do not show even a bit"):
        planted_detection_limit(np.arange(4.0)[:, None], np.array([0, 0, 1, 1]), rng=rng, references=100)
    with pytest.raises(ValueError, match="at least 100"):
        planted_detection_limit(np.ones((20, 2)), np.repeat(np.arange(4), 5), rng=rng, references=5)
    with pytest.raises(ValueError, match="level < power"):
        planted_detection_limit(np.ones((20, 2)), np.repeat(np.arange(4), 5), rng=rng, power=0.01)
