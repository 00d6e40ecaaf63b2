"""Each way in which a belief is turned into the place of a key, and what is kept of it beside the place."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hamming_grips import LABELS, Decoding, Open

from harness.contracts import Array, Belief, Guesses, Helper, Linear, Witness
from harness.errors import ContractError
from harness.exchange import Honest
from harness.logs import Logged
from harness.ordered_statistics import ordered_statistics
from harness.ranking import Ranks
from harness.score import Disclosure, Scores, disclosure_of, gives_keys, judge, merge

ROWS, M = 6, 6
PLACES = ("fewer_low", "fewer_high", "upto_low", "upto_high")


class Refusing(Open):
    """Its B never accepts."""

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return self.inner.reproduce(witness, helper)[0], np.zeros(len(witness.symbols), bool)


class Reading(Open):
    """Looks at everything that was published."""

    def linear(self, helper: Helper) -> Linear:
        return self.inner.linear(dict(helper))


class Failing(Open):
    def linear(self, helper: Helper) -> Linear:
        raise KeyError("parity")


def ran(keys: Array | None = None, helper: Helper | None = None) -> Honest:
    rng = np.random.default_rng(3)
    a = Witness(
        symbols=rng.integers(0, 4, (ROWS, M)).astype(np.uint8), alphabet=4, acquired=np.ones(ROWS, bool)
    )
    made, published = Open().inner.generate(a, rng=rng)
    keys = made if keys is None else keys
    return Honest(
        sitting=np.zeros(ROWS, int), local=np.arange(ROWS), subject=np.arange(ROWS) // 2,
        session=np.zeros(ROWS, int), a=a, b=a, keys_a=keys, keys_b=keys, accepted=np.ones(ROWS, bool),
        helper=published if helper is None else helper, seconds=np.ones(ROWS),
    )  # fmt: skip


def sure_of(symbols: Array, share: float = 0.85) -> Array:
    return np.log(np.where(np.arange(4) == symbols[:, :, None], share, (1 - share) / 3))


def judged(log_prob: Array, scheme: Any, honest: Honest, disclosure: Disclosure) -> Scores:
    rows = np.arange(ROWS)
    prior = np.log(np.full((M, 4), 0.25))
    return judge(
        Belief(log_prob=log_prob, work=3.0),
        scheme,
        honest,
        disclosure,
        attempt=rows,
        attacker=rows,
        prior=prior,
    )


def not_enumerated(scheme: Any, honest: Honest) -> Disclosure:
    return replace(disclosure_of(scheme, honest), enumerable=False)


def flipped(symbols: Array, bits: int) -> Array:
    """Symbols with so many wrong bits in each block of three."""
    wrong = symbols.copy()
    for block in range(2):
        for place in range(bits):
            old = LABELS[wrong[:, 3 * block + place]].astype(int)
            old[:, 0] ^= 1
            wrong[:, 3 * block + place] = (old[:, None, :] == LABELS).all(axis=2).argmax(axis=1)
    return wrong


def same(found: Ranks, expected: Ranks, *, later: float = 0.0) -> bool:
    high = [getattr(found, n) - getattr(expected, n) for n in ("fewer_high", "upto_high")]
    low = [getattr(found, n) - getattr(expected, n) for n in ("fewer_low", "upto_low")]
    return all((h == later).all() for h in high) and all((d == 0).all() for d in low)


class Speechless(Open):
    """Its B says its key, and not whether it accepts."""

    def reproduce(self, witness: Witness, helper: Helper) -> Array:
        return self.inner.reproduce(witness, helper)[0]


def test_a_decoder_that_breaks_its_promise_is_named() -> None:
    honest = ran()
    disclosure = not_enumerated(Open(), honest)
    with pytest.raises(ContractError, match=r"open: `reproduce\(\)` must be a tuple of 2"):
        judged(sure_of(honest.a.symbols), Speechless(), honest, disclosure)


def test_a_large_code_is_tried_by_ordered_statistics_alone_where_there_is_no_device_b() -> None:
    honest = ran()
    log_prob = sure_of(flipped(honest.a.symbols, 2))
    found = judged(log_prob, Open(), honest, not_enumerated(Open(), honest))
    linear = Open().linear(honest.helper)
    assert found.method == "ordered-statistics"
    assert same(found.ranks, ordered_statistics(log_prob, LABELS, linear, honest.a.symbols))
    assert found.ranks.work == 3.0


def test_the_schemes_own_decoder_is_the_first_guess() -> None:
    """One wrong bit a block it corrects; with two it gives a wrong key, which costs a guess."""
    honest = ran()
    disclosure = not_enumerated(Decoding(), honest)
    found = judged(sure_of(flipped(honest.a.symbols, 1)), Decoding(), honest, disclosure)
    for name, place in zip(PLACES, (0, 0, 1, 1), strict=True):
        assert (getattr(found.ranks, name) == place).all()
    log_prob = sure_of(flipped(honest.a.symbols, 2))
    plain = ordered_statistics(log_prob, LABELS, Open().linear(honest.helper), honest.a.symbols)
    assert same(judged(log_prob, Decoding(), honest, disclosure).ranks, plain, later=1.0)
    assert same(judged(log_prob, Refusing(), honest, disclosure).ranks, plain)


def logged(one_way: bool = True) -> Logged:
    return Logged(name="log", key_bits=M, symbols=M, alphabet=4, one_way=one_way)


def test_the_whole_witness_of_a_log_is_ranked_exactly_only_if_it_is_the_key() -> None:
    symbols = ran().a.symbols
    log_prob = sure_of(np.roll(symbols, 1, axis=1))
    nothing = Disclosure(None, None, ())
    exact = judged(log_prob, logged(), ran(symbols, {}), nothing)
    score = log_prob[np.arange(ROWS)[:, None], np.arange(M), symbols].sum(axis=1)
    every = np.stack(np.meshgrid(*[np.arange(4)] * M, indexing="ij"), axis=-1).reshape(-1, M)
    each = log_prob[:, np.arange(M), every].sum(axis=2)
    assert exact.method == "whole-witness"
    assert exact.ranks.fewer_low == pytest.approx((each > score[:, None] + 1e-5).sum(axis=1))
    assert exact.ranks.upto_high == pytest.approx((each > score[:, None] - 1e-5).sum(axis=1))
    assert np.isfinite(exact.ranks.surprise).all()
    for honest in (ran(symbols, {"told": symbols}), ran(symbols ^ 1, {})):
        bounded = judged(log_prob, logged(), honest, nothing).ranks
        assert np.array_equal(bounded.fewer_high, exact.ranks.fewer_high)
        assert np.array_equal(bounded.upto_high, exact.ranks.upto_high)
        assert (bounded.fewer_low == 0).all()
        assert (bounded.upto_low == 1).all()
        assert np.isnan(bounded.surprise).all()


def test_a_log_of_several_rounds_gives_no_keys() -> None:
    assert gives_keys(logged())
    assert gives_keys(Decoding())
    assert not gives_keys(Open())
    assert not gives_keys(logged(one_way=False))
    honest = ran(ran().a.symbols, {})
    with pytest.raises(ContractError, match="witnesses to be tried"):
        judged(sure_of(honest.a.symbols), logged(one_way=False), honest, Disclosure(None, None, ()))


def test_helper_data_that_change_nothing_are_not_covered_by_looking_at_them() -> None:
    honest = ran()
    for note, looked in ((np.arange(ROWS)[:, None], ("note",)), (np.zeros((ROWS, 1), int), ())):
        more = replace(honest, helper={**honest.helper, "note": note})
        assert disclosure_of(Open(), more).uncovered == ("note",)
        assert disclosure_of(Reading(), more).uncovered == looked  # one that never varies may matter


def test_a_disclosure_that_fails_is_not_used_and_says_so() -> None:
    honest = replace(ran(), helper={**ran().helper, "aborted": np.zeros(ROWS, bool)})
    found = disclosure_of(Failing(), honest)
    assert found.labels is None
    assert "open: `linear()`" in str(found.problem)
    assert found.uncovered == tuple(sorted(ran().helper))  # who gave up needs no covering
    assert not found.enumerable


def test_an_attempt_that_was_not_established_cannot_belie_a_disclosure() -> None:
    honest = ran()
    keys = honest.keys_a.copy()
    keys[0] ^= 1
    assert disclosure_of(Open(), replace(honest, keys_a=keys)).problem is not None
    gone = replace(honest.a, acquired=np.arange(ROWS) > 0)
    assert disclosure_of(Open(), replace(honest, keys_a=keys, a=gone)).problem is None


def test_bits_that_the_likeliest_witness_has_right() -> None:
    """Of twelve bits two are wrong, of six symbols two; without labels only symbols can be counted."""
    honest = ran()
    wrong = flipped(honest.a.symbols, 1)
    found = judged(sure_of(wrong), Open(), honest, disclosure_of(Open(), honest))
    assert found.right == pytest.approx(np.full(ROWS, 10 / 12))
    assert np.array_equal(np.asarray(found.likely), wrong)
    assert np.asarray(found.likely).dtype == np.uint8
    alone = judged(sure_of(wrong), Decoding(), honest, Disclosure(None, None, ()))
    assert alone.right == pytest.approx(np.full(ROWS, 4 / 6))


def test_surprise_and_doubt_of_a_belief() -> None:
    honest = ran()
    symbols = honest.a.symbols
    found = judged(sure_of(symbols), Open(), honest, disclosure_of(Open(), honest))
    hit, miss = -np.log2(0.85), -np.log2(0.05)
    assert found.surprise_a == pytest.approx(np.full(ROWS, hit))
    assert found.surprise_b is None  # nobody is left to learn from how B errs
    assert found.doubt == pytest.approx(np.full(ROWS, 0.85 * hit + 0.15 * miss))
    assert found.gain == pytest.approx(np.full(ROWS, 2 - hit))
    two = np.arange(2)
    prior = np.log(np.full((M, 4), 0.25))
    one = judge(
        Belief(log_prob=sure_of(symbols[:2])), Open(), honest, disclosure_of(Open(), honest), attempt=two,
        attacker=two, prior=prior,
    )  # fmt: skip
    assert one.surprise_b is not None
    assert ((one.surprise_b > hit) & (one.surprise_b < miss)).all()  # others' B never erred, but might


def test_a_belief_about_the_key_and_a_list_say_nothing_of_the_witness() -> None:
    honest = ran()
    told = np.log(np.where(np.arange(2) == honest.keys_a[..., None], 0.9, 0.1))
    told[:, 0] = told[:, 0, ::-1]  # the first bit is wrong
    options: dict[str, Any] = {
        "attempt": np.arange(ROWS),
        "attacker": np.arange(ROWS) * 2,
        "prior": np.zeros((M, 4)),
    }
    nothing = Disclosure(None, None, ())
    found = judge(Belief(log_prob=told, about="key"), Open(), honest, nothing, **options)
    assert found.method == "key-bits"
    assert found.right == pytest.approx(np.full(ROWS, 7 / 8))
    assert (found.ranks.fewer_low == 1).all()
    assert (found.gain, found.likely, found.surprise_a, found.cross) == (None, None, None, ())
    assert found.attacker.tolist() == [0, 2, 4, 6, 8, 10]
    listed = judge(Guesses(keys=honest.keys_a[:, None]), Open(), honest, nothing, **options)
    assert listed.attacker.tolist() == [0, 2, 4, 6, 8, 10]
    assert np.isnan(listed.ranks.surprise).all()
    assert (listed.ranks.upto_low == 1).all()


def part(attempt: list[int], attacker: list[int], method: str, *, gain: bool = True) -> Scores:
    place = np.array(attempt, float) * 10 + attacker
    ranks = Ranks(**dict.fromkeys(PLACES, place), surprise=place, work=2.0)
    known = place if gain else None
    return Scores(
        attempt=np.array(attempt), attacker=np.array(attacker), ranks=ranks, method=method, gain=known,
        right=known, surprise_a=known, surprise_b=known, doubt=known, likely=known, cross=(place[:, None],),
    )  # fmt: skip


def test_folds_are_joined_by_attempt_and_then_attacker() -> None:
    joined = merge([part([3, 1], [0, 1], "a"), part([1, 2], [0, 5], "a")])
    assert joined.attempt.tolist() == [1, 1, 2, 3]
    assert joined.attacker.tolist() == [0, 1, 5, 0]
    places = [10.0, 11.0, 25.0, 30.0]
    for name in (*PLACES, "surprise"):
        assert getattr(joined.ranks, name).tolist() == places
    for name in ("gain", "right", "surprise_a", "surprise_b", "doubt", "likely"):
        assert getattr(joined, name).tolist() == places
    assert joined.ranks.work == 2.0
    assert [t.ravel().tolist() for t in joined.cross] == [[30.0, 11.0], [10.0, 25.0]]


def test_what_one_fold_lacks_the_whole_lacks() -> None:
    joined = merge([part([0], [0], "a"), part([1], [0], "a", gain=False)])
    for name in ("gain", "right", "surprise_a", "surprise_b", "doubt", "likely"):
        assert getattr(joined, name) is None


@pytest.mark.parametrize(
    ("methods", "whole"),
    [
        (["a", "a"], "a"),
        (["a", "b"], "mixed"),
        (["a", "ordered-statistics"], "ordered-statistics"),
        (["ordered-statistics", "b"], "ordered-statistics"),
    ],
)
def test_the_whole_is_modelled_if_a_part_is(methods: list[str], whole: str) -> None:
    assert merge([part([i], [0], method) for i, method in enumerate(methods)]).method == whole
