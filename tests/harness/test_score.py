"""Where guesses meet keys."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import log_softmax
from tests_support import exchanged

from fixtures.controls import SignCommitment
from harness.contracts import Array, Belief, Capture, Guesses, Helper, Linear, Witness
from harness.exchange import Honest
from harness.score import disclosure_of, judge, likeliest, symbol_prior


@pytest.fixture
def honest() -> Honest:
    return exchanged(SignCommitment(), rows=12)


def judged(outcome: Belief | Guesses, honest: Honest, scheme: Any = None) -> Any:
    scheme = scheme or SignCommitment()
    rows = np.arange(honest.attempts)
    return judge(
        outcome,
        scheme,
        honest,
        disclosure_of(scheme, honest),
        attempt=rows,
        attacker=np.full(len(rows), -1),
        prior=symbol_prior(honest.a.symbols[:0], honest.a.alphabet),
    )


def certain(symbols: Array) -> Array:
    with np.errstate(divide="ignore"):
        return np.log(np.eye(2)[symbols])


def test_who_knows_the_witness_has_the_key_at_one_guess(honest: Honest) -> None:
    found = judged(Belief(log_prob=certain(honest.a.symbols)), honest)
    assert found.ranks.success(1, offline=False)[0].tolist() == [1.0] * 12
    assert found.gain.tolist() == [1.0] * 12
    assert found.ranks.surprise.tolist() == [0.0] * 12
    assert found.method == "enumerated-blocks"


def test_who_is_certain_of_something_else_never_gets_there(honest: Honest) -> None:
    found = judged(Belief(log_prob=certain(1 - honest.a.symbols)), honest)
    low, high = found.ranks.success(2**64, offline=True)
    assert not low.any()
    assert not high.any()
    assert np.isinf(found.ranks.surprise).all()
    assert found.ranks.log2_rank(12)[1].tolist() == [12.0] * 12


def test_beliefs_about_key_bits_are_taken_as_they_are(honest: Honest) -> None:
    sure = np.where(honest.keys_a[:, :, None] == np.arange(2), np.log(0.9), np.log(0.1))
    found = judged(Belief(log_prob=sure, about="key"), honest)
    assert found.method == "key-bits"
    assert found.gain is None
    assert found.ranks.success(1, offline=False)[0].tolist() == [1.0] * 12
    assert found.ranks.surprise == pytest.approx(-12 * np.log2(0.9))


def test_listed_keys_succeed_at_their_place(honest: Honest) -> None:
    keys = np.repeat(1 - honest.keys_a[:, None, :], 5, axis=1)
    keys[:, 3] = honest.keys_a
    found = judged(Guesses(keys=keys), honest)
    assert found.ranks.success(3, offline=False)[0].tolist() == [0.0] * 12
    assert found.ranks.success(4, offline=False)[0].tolist() == [1.0] * 12
    nothing = judged(Guesses(keys=keys[:, :3]), honest)
    assert nothing.ranks.success(2**64, offline=True)[1].tolist() == [0.0] * 12


class Silent:
    """The same scheme, which tells nothing of its helper data."""

    name, key_bits, signal = "silent", 12, "value"

    def witness(self, capture: Capture) -> Witness:
        return SignCommitment().witness(capture)

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return SignCommitment().generate(witness, rng=rng)

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return SignCommitment().reproduce(witness, helper)


def test_without_disclosure_the_likeliest_witnesses_are_tried(honest: Honest) -> None:
    sure = np.where(honest.a.symbols[:, :, None] == np.arange(2), np.log(0.8), np.log(0.2))
    sure[:, :2] = np.log([0.2, 0.8])  # two places where the attacker may be wrong; the code mends them
    found = judged(Belief(log_prob=sure), honest, Silent())
    assert found.method == "best-first-64"
    assert found.ranks.success(1, offline=False)[0].tolist() == [1.0] * 12


def test_keys_not_tried_leave_the_rank_open_upwards(honest: Honest) -> None:
    wrong = np.where(honest.a.symbols[:, :, None] == np.arange(2), np.log(0.01), np.log(0.99))
    found = judged(Belief(log_prob=wrong), honest, Silent())
    low, high = found.ranks.success(2**40, offline=True)
    assert not low.any()
    assert (high == 1).all()


@settings(max_examples=50, deadline=None)
@given(
    seed=st.integers(0, 10**6), alphabet=st.integers(2, 4), m=st.integers(1, 5), count=st.integers(1, 70)
)
def test_best_first_is_in_order_of_probability(seed: int, alphabet: int, m: int, count: int) -> None:
    log_prob = log_softmax(np.random.default_rng(seed).standard_normal((2, m, alphabet)), axis=2)
    found = likeliest(log_prob, count)
    every = np.array(list(itertools.product(range(alphabet), repeat=m)))
    for row in range(2):
        score = log_prob[row][np.arange(m), every].sum(axis=1)
        expected = every[np.argsort(-score, kind="stable")][:count]
        assert np.array_equal(found[row], expected)


class Lies(SignCommitment):
    """Discloses a syndrome that is not the witness's."""

    __slots__ = ()

    def linear(self, helper: Helper) -> Linear:
        true = SignCommitment().linear(helper)
        return Linear(
            positions=true.positions,
            parity=true.parity,
            syndrome=1 - true.syndrome,
            secret_map=true.secret_map,
            secret_offset=true.secret_offset,
        )


class OtherKeys(SignCommitment):
    """Says that its keys are the secret's complement."""

    __slots__ = ()

    def finish(self, secret: Array, helper: Helper) -> Array:
        return 1 - secret


@pytest.mark.parametrize(
    ("liar", "sentence"), [(Lies, "syndromes of A's witness"), (OtherKeys, "A's keys")]
)
def test_a_wrong_disclosure_is_not_used(honest: Honest, liar: Any, sentence: str) -> None:
    found = disclosure_of(liar(), honest)
    assert found.labels is None
    assert sentence in str(found.problem)


def test_helper_arrays_that_nobody_reads_are_named(honest: Honest) -> None:
    extra = exchanged(SignCommitment(), rows=12, extra={"note": np.zeros((12, 3))})
    assert disclosure_of(SignCommitment(), extra).uncovered == ("note",)
    assert disclosure_of(SignCommitment(), honest).uncovered == ()


def test_prior_counts_positions_apart_and_rules_nothing_out() -> None:
    symbols = np.array([[0, 1]] * 9, np.uint8)
    assert np.exp(symbol_prior(symbols, 2)) == pytest.approx(np.array([[0.95, 0.05], [0.05, 0.95]]))
    assert np.exp(symbol_prior(symbols[:0], 4)) == pytest.approx(np.full((2, 4), 0.25))
