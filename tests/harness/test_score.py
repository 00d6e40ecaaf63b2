"""Guesses meet keys: places in lists, disclosures checked, best-first search, gains over the prior."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from hamming_grips import Grips
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from harness.best_first import BEST_FIRST, likeliest
from harness.contracts import Array, Belief, Guesses, Helper, Linear, Witness
from harness.errors import ContractError
from harness.estimators.leakage import permutation_p_value
from harness.exchange import Honest
from harness.prior import symbol_prior
from harness.score import Scores, disclosure_of, judge, merge

M = 6  # symbols


class LyingLinear(Grips):
    def linear(self, helper: Helper) -> Linear:
        told = self.inner.linear(helper)
        return replace(told, syndrome=told.syndrome ^ np.uint8(1))


class LyingFinish(Grips):
    def finish(self, secret: Array, helper: Helper) -> Array:
        return self.inner.finish(secret, helper) ^ np.uint8(1)


class ShortFinish(Grips):
    def finish(self, secret: Array, helper: Helper) -> Array:
        return self.inner.finish(secret, helper)[:-1]


@dataclass(frozen=True, slots=True)
class Silent:
    """Says nothing of its helper data: the key is the first two symbols, low bits."""

    name: str = "silent"
    signal: str = "force"
    key_bits: int = 2

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return (witness.symbols[:, :2] & 1).astype(np.uint8), witness.acquired.copy()


def ran(scheme: Any, rows: int = 12, seed: int = 0, *, keys: Array | None = None) -> Honest:
    rng = np.random.default_rng(seed)
    symbols = rng.integers(0, 4, (rows, M)).astype(np.uint8)
    a = Witness(symbols=symbols, alphabet=4, acquired=np.ones(rows, bool))
    helper: Helper = {}
    if keys is None:
        keys, helper = scheme.generate(a, rng=rng)
    return Honest(
        sitting=np.zeros(rows, int), local=np.arange(rows), subject=np.arange(rows) // 4,
        session=np.zeros(rows, int), a=a, b=a, keys_a=keys, keys_b=keys, accepted=np.ones(rows, bool),
        helper=helper, seconds=np.ones(rows),
    )  # fmt: skip


def uniform(rows: int) -> Array:
    return np.log(np.full((rows, M, 4), 0.25))


def judged(outcome: Belief | Guesses, scheme: Any, honest: Honest) -> Scores:
    rows = np.arange(honest.attempts)
    return judge(
        outcome, scheme, honest, disclosure_of(scheme, honest), attempt=rows, attacker=rows * 0 - 1,
        prior=uniform(1)[0],
    )  # fmt: skip


def test_place_in_a_list_of_guesses() -> None:
    """The first of equal guesses counts; a key that is not listed is never reached."""
    honest = ran(Grips(), 3)
    keys = honest.keys_a
    listed = np.stack([keys ^ 1, keys, keys], axis=1)
    listed[2] = 1 - keys[2]
    scores = judged(Guesses(keys=listed, work=4.0), Grips(), honest)
    assert scores.ranks.fewer_low.tolist() == [1, 1, np.inf]
    assert scores.ranks.success(1, offline=False)[0].tolist() == [0, 0, 0]
    assert scores.ranks.success(2, offline=False)[0].tolist() == [1, 1, 0]
    assert scores.ranks.success(16, offline=True)[0].tolist() == [0, 0, 0]
    assert scores.ranks.success(17, offline=True)[0].tolist() == [1, 1, 0]
    assert scores.gain is None
    assert scores.method == "guess-list"


def test_a_belief_about_key_bits_is_ranked_as_it_stands() -> None:
    honest = ran(Grips(), 5)
    sure = np.log(np.where(np.arange(2) == honest.keys_a[..., None], 0.9, 0.1))
    ranks = judged(Belief(log_prob=sure, about="key", work=1.0), Grips(), honest).ranks
    assert (ranks.upto_high == 1).all()
    assert ranks.surprise == pytest.approx(-8 * np.log2(0.9))
    assert ranks.work == 1.0
    wrong = judged(Belief(log_prob=sure[:, :, ::-1], about="key"), Grips(), honest).ranks
    assert (wrong.fewer_low == 255).all()


def test_helper_data_sharpen_a_belief_about_the_witness() -> None:
    """Blind: 2**6 witnesses and 3 parities a block leave 2**3 words each, all secrets alike."""
    honest = ran(Grips())
    scores = judged(Belief(log_prob=uniform(12)), Grips(), honest)
    assert scores.method == "enumerated-blocks"
    assert scores.ranks.surprise == pytest.approx(6)
    assert scores.gain == pytest.approx(np.zeros(12))


def test_certainty_gains_all_bits_and_reaches_the_key_at_once() -> None:
    honest = ran(Grips())
    with np.errstate(divide="ignore"):
        sure = np.log(np.eye(4)[honest.a.symbols])
    scores = judged(Belief(log_prob=sure), Grips(), honest)
    assert (scores.ranks.upto_high == 1).all()
    assert scores.gain == pytest.approx(np.full(12, 2.0))
    wrong = judged(Belief(log_prob=sure[:, :, [1, 0, 3, 2]]), Grips(), honest)
    assert np.isinf(wrong.ranks.surprise).all()
    assert wrong.gain is not None
    assert (wrong.gain < -1000).all()


def test_disclosure_is_checked_on_honest_runs() -> None:
    honest = ran(Grips())
    found = disclosure_of(Grips(), honest)
    assert found.problem is None
    assert found.enumerable
    assert (found.secret_bits, found.block_bits, found.code_length, found.blocks) == (8, (6, 3), 7, 2)
    extra = replace(honest, helper={**honest.helper, "note": np.zeros((12, 1), np.uint8)})
    assert disclosure_of(Grips(), extra).uncovered == ("note",)


@pytest.mark.parametrize(
    ("scheme", "says"),
    [
        (LyingLinear(), "`linear()` must give the syndromes of A's witness, got others"),
        (LyingFinish(), "`finish()` must give A's keys, got others"),
        (ShortFinish(), "`finish()` must be an array of shape (12, 8), got"),
    ],
)
def test_a_false_disclosure_is_not_used(scheme: Grips, says: str) -> None:
    honest = ran(Grips())
    found = disclosure_of(scheme, honest)
    assert found.labels is None
    assert says in str(found.problem)
    # the witnesses are tried instead
    assert judged(Belief(log_prob=uniform(12)), scheme, honest).method == f"best-first-{BEST_FIRST}"


class Masked(Grips):
    """Its key is the secret under a mask that is published beside it."""

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        keys, helper = self.inner.generate(witness, rng=rng)
        mask = rng.integers(0, 2, keys.shape).astype(np.uint8)
        return keys ^ mask, helper | {"mask": mask}

    def linear(self, helper: Helper) -> Linear:
        told = self.inner.linear(helper)
        return replace(told, secret_offset=told.secret_offset ^ helper["mask"].reshape(-1, 2, 4))


def test_an_array_that_only_moves_the_secret_is_covered() -> None:
    found = disclosure_of(Masked(), ran(Masked()))
    assert (found.problem, found.uncovered) == (None, ())


def test_nothing_disclosed_is_no_problem() -> None:
    keys = np.zeros((4, 2), np.uint8)
    found = disclosure_of(Silent(), ran(Silent(), 4, keys=keys))
    assert (found.labels, found.problem) == (None, None)


@settings(max_examples=80, deadline=None)
@given(
    seed=st.integers(0, 2**32), m=st.integers(1, 5), alphabet=st.integers(2, 4),
    count=st.sampled_from([1, 7, 64, 2000]),
)  # fmt: skip
def test_likeliest_strings_equal_brute_force(seed: int, m: int, alphabet: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    log_prob = np.log(rng.dirichlet(np.full(alphabet, 0.5), (2, m)) + 1e-12)
    found = likeliest(log_prob, count)
    every = np.array(list(itertools.product(range(alphabet), repeat=m)))
    for row in range(2):
        score = log_prob[row, np.arange(m), every].sum(axis=1)
        best = np.sort(score)[::-1][:count]
        assert found.shape[1] == len(best)
        assert log_prob[row, np.arange(m), found[row]].sum(axis=1) == pytest.approx(best)
        assert len(np.unique(found[row], axis=0)) == len(best)


def test_without_a_disclosure_witnesses_are_tried_best_first() -> None:
    """Against a loop over all 4**6 witnesses in order; the same key twice is one guess."""
    rng = np.random.default_rng(3)
    log_prob = np.log(rng.dirichlet(np.full(4, 0.5), (6, M)))
    keys = rng.integers(0, 2, (6, 2), dtype=np.uint8)
    honest = ran(Silent(), 6, keys=keys)
    scores = judged(Belief(log_prob=log_prob), Silent(), honest)
    every = np.array(list(itertools.product(range(4), repeat=M)))
    for row in range(6):
        order = np.argsort(-log_prob[row, np.arange(M), every].sum(axis=1), kind="stable")[:BEST_FIRST]
        guesses = list(dict.fromkeys(tuple((every[i, :2] & 1).tolist()) for i in order))
        own = tuple(keys[row].tolist())
        reached = own in guesses
        assert scores.ranks.fewer_low[row] == (guesses.index(own) if reached else len(guesses))
        assert scores.ranks.fewer_high[row] == (guesses.index(own) if reached else np.inf)
    assert np.isnan(scores.ranks.surprise).all()


class Choosy(Silent):
    """Its own check turns down every witness that ends in an odd symbol."""

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return (witness.symbols[:, :2] & 1).astype(np.uint8), witness.symbols[:, -1] % 2 == 0


def test_what_the_attackers_own_copy_rejects_is_no_guess() -> None:
    rng = np.random.default_rng(4)
    log_prob = np.log(rng.dirichlet(np.full(4, 0.5), (20, M)))
    keys = rng.integers(0, 2, (20, 2), dtype=np.uint8)
    ranks = judged(Belief(log_prob=log_prob), Choosy(), ran(Choosy(), 20, keys=keys)).ranks
    every = np.array(list(itertools.product(range(4), repeat=M)))
    differs = 0
    for row in range(20):
        order = np.argsort(-log_prob[row, np.arange(M), every].sum(axis=1), kind="stable")[:BEST_FIRST]
        tried = [tuple((every[i, :2] & 1).tolist()) for i in order]
        kept = [t for i, t in zip(order, tried, strict=True) if every[i, -1] % 2 == 0]
        guesses, all_guesses = list(dict.fromkeys(kept)), list(dict.fromkeys(tried))
        own = tuple(keys[row].tolist())
        place = guesses.index(own) if own in guesses else np.inf
        assert ranks.fewer_low[row] == (place if own in guesses else len(guesses))
        assert ranks.fewer_high[row] == place
        differs += own in all_guesses and place != all_guesses.index(own)
    assert differs > 0  # else the check would hold without the rejections


@dataclass(frozen=True, slots=True)
class Talkative(Silent):
    """Publishes A's second symbol, and says what that makes of a belief."""

    def sharpen(self, log_prob: Array, helper: Helper) -> Array:
        sharper = np.array(log_prob)
        sharper[:, 1] = np.where(np.arange(4) == helper["second"][:, None], 0.0, -np.inf)
        return sharper


class Garbled(Talkative):
    def sharpen(self, log_prob: Array, helper: Helper) -> Array:
        return log_prob[:, 1:]


def test_a_belief_is_sharpened_as_the_scheme_says_before_witnesses_are_tried() -> None:
    rng = np.random.default_rng(5)
    honest = ran(Silent(), 40, keys=np.zeros((40, 2), np.uint8))
    honest = replace(honest, keys_a=honest.a.symbols[:, :2] & 1, helper={"second": honest.a.symbols[:, 1]})
    log_prob = np.log(rng.dirichlet(np.full(4, 0.5), (40, M)))
    plain, sharper = (judged(Belief(log_prob=log_prob), s, honest) for s in (Silent(), Talkative()))
    assert (plain.method, sharper.method) == (
        f"best-first-{BEST_FIRST}",
        f"sharpened-best-first-{BEST_FIRST}",
    )
    first = (log_prob[:, 0].argmax(axis=1) & 1) == honest.keys_a[:, 0]
    assert np.array_equal(sharper.ranks.fewer_low == 0, first)
    assert np.isin(
        sharper.ranks.fewer_high, [0, 1, np.inf]
    ).all()  # one bit is open, if its other is listed
    assert np.isfinite(sharper.ranks.fewer_high).mean() > 0.9
    assert plain.gain is not None
    assert np.array_equal(plain.gain, sharper.gain)  # what a view tells is told before helper data
    # what the scheme does not get right by itself is found among the witnesses as they were believed
    misled = replace(honest, helper={"second": honest.a.symbols[:, 1] ^ 1})
    assert np.isfinite(judged(Belief(log_prob=log_prob), Talkative(), misled).ranks.fewer_high).mean() > 0.9
    with pytest.raises(ContractError, match=r"sharpen\(\)|log_prob"):
        judged(Belief(log_prob=log_prob), Garbled(), honest)


def test_a_scheme_that_offers_no_way_is_named() -> None:
    @dataclass(frozen=True)
    class Bare:
        name: str = "bare"
        key_bits: int = 2

    honest = ran(Silent(), 4, keys=np.zeros((4, 2), np.uint8))
    with pytest.raises(ContractError, match=r"bare: `linear\(\)` must be disclosed"):
        judged(Belief(log_prob=uniform(4)), Bare(), honest)


def test_positions_that_differ_keep_their_shares_and_nothing_is_impossible() -> None:
    symbols = np.repeat(np.array([[0, 1], [0, 1], [0, 3]]), 20, axis=0)
    prior = np.exp(symbol_prior(symbols, 4))
    assert prior[0, 0] > 0.95
    assert prior[1] == pytest.approx([0.01, 2 / 3, 0, 1 / 3], abs=0.03)
    assert (prior > 0).all()
    assert prior.sum(axis=1) == pytest.approx(np.ones(2))
    assert np.exp(symbol_prior(np.zeros((0, 2), int), 4)) == pytest.approx(np.full((2, 4), 0.25))


def test_who_says_only_what_all_have_in_common_gains_nothing_on_few_people() -> None:
    """Positions of few people differ by chance: by themselves they would mislead by some .05 bit."""
    rng = np.random.default_rng(1)
    shares = np.array([0.5, 0.3, 0.1, 0.1])
    known, others = (rng.choice(4, (24, 200), p=shares) for _ in range(2))
    place = np.arange(200)
    ours = symbol_prior(known, 4)[place, others].mean() / np.log(2)
    truth = float(np.log2(shares)[others].mean())
    alone = np.stack([(known == v).sum(axis=0) + 0.25 for v in range(4)], axis=1) / 25
    assert truth - ours < 0.004
    assert truth - np.log2(alone[place, others]).mean() > 0.04


def several(attackers: int, rng: np.random.Generator) -> Scores:
    """Attackers who share most of what they wrongly believe, on attempts of ten people."""
    rows = 50
    keys = np.zeros((rows, 2), np.uint8)
    honest = replace(
        ran(Silent(), rows, keys=keys, seed=int(rng.integers(2**32))), subject=np.arange(50) // 5
    )
    attempt = np.repeat(np.arange(rows), attackers)
    shared = np.repeat(rng.normal(0, 1, (rows, M, 4)), attackers, axis=0)
    belief = shared + 0.3 * rng.normal(0, 1, shared.shape)
    belief -= np.logaddexp.reduce(belief, axis=2, keepdims=True)
    return judge(
        Belief(log_prob=belief), Silent(), honest, disclosure_of(Silent(), honest), attempt=attempt,
        attacker=np.tile(np.arange(attackers), rows), prior=uniform(1)[0],
    )  # fmt: skip


def test_several_attackers_on_an_attempt_are_shuffled_together() -> None:
    """Shuffled apart, three who resemble each other rejected .155 of null cases at .05."""
    rng = np.random.default_rng(8)
    scores = [several(3, rng) for _ in range(300)]
    assert [t.shape for t in scores[0].cross] == [(5, 5)] * 10
    found = sum(permutation_p_value(s.cross, rng=rng, repetitions=99).value <= 0.05 for s in scores)
    assert binom.ppf(0.005, 300, 0.05) <= found <= binom.ppf(0.995, 300, 0.05)


def test_several_attackers_on_an_attempt_are_added_up() -> None:
    """Their table is the sum of the tables that each makes alone."""
    rng = np.random.default_rng(10)
    honest = ran(Silent(), 8, keys=np.zeros((8, 2), np.uint8))
    beliefs = np.log(rng.dirichlet(np.ones(4), (2, 8, M)))

    def tables(log_prob: Array, attempt: Array) -> tuple[Array, ...]:
        return judge(
            Belief(log_prob=log_prob), Silent(), honest, disclosure_of(Silent(), honest), attempt=attempt,
            attacker=attempt * 0, prior=uniform(1)[0],
        ).cross  # fmt: skip

    both = tables(beliefs.reshape(16, M, 4), np.tile(np.arange(8), 2))
    alone = [tables(b, np.arange(8)) for b in beliefs]
    assert len(both) == 2
    for together, one, other in zip(both, *alone, strict=True):
        assert together == pytest.approx(one + other)


def test_cross_gains_hold_the_own_gains_on_their_diagonal() -> None:
    scores = several(1, np.random.default_rng(9))
    assert scores.gain is not None
    assert np.concatenate([np.diag(t) for t in scores.cross]) == pytest.approx(scores.gain)


def test_folds_merge_in_the_order_of_attempts() -> None:
    honest = ran(Grips(), 8)
    whole = judged(Belief(log_prob=uniform(8)), Grips(), honest)
    disclosure = disclosure_of(Grips(), honest)
    parts = [
        judge(
            Belief(log_prob=uniform(4)), Grips(), honest, disclosure, attempt=rows,
            attacker=rows * 0 - 1, prior=uniform(1)[0],
        )
        for rows in (np.arange(4, 8), np.arange(4))
    ]  # fmt: skip
    joined = merge(parts)
    assert joined.attempt.tolist() == list(range(8))
    assert np.array_equal(joined.ranks.upto_high, whole.ranks.upto_high)
    assert len(joined.cross) == 2
