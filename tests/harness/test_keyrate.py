"""Key rates: laws of information, estimates that keep them, rows, and bad input."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.collecting import Rows
from harness.contracts import Array, Witness
from harness.errors import InsufficientData
from harness.estimators.extremes import greatest_mean, least_mean
from harness.estimators.keyrate import key_rate, public_discussion_rate
from harness.estimators.keyrate_beliefs import believed_key_rate
from harness.estimators.keyrate_symbols import estimated_key_rate
from harness.exchange import Honest
from harness.keyrate_rows import CELLS, keyrate_rows
from harness.ranking import Ranks
from harness.score import Scores
from harness.surprise import channel_to_b, symbol_surprise
from harness.vocabulary import MEASURES

SEEDS = st.integers(0, 2**32)
SHAPES = st.tuples(*[st.integers(1, 4)] * 3)


def drawn(seed: int, shape: tuple[int, ...]) -> Array:
    return np.random.default_rng(seed).dirichlet(np.full(int(np.prod(shape)), 0.3)).reshape(shape)


@settings(max_examples=100, deadline=None)
@given(seed=SEEDS, shape=SHAPES)
def test_bounds_are_ordered(seed: int, shape: tuple[int, int, int]) -> None:
    found = key_rate(drawn(seed, shape))
    assert found.lower <= found.upper + 1e-12
    assert found.upper <= found.i_ab
    assert min(found.i_ab, found.i_ae, found.i_be, found.i_ab_given_e) >= 0


@settings(max_examples=100, deadline=None)
@given(seed=SEEDS, shape=SHAPES)
def test_a_coarser_view_knows_less_and_guarantees_more(seed: int, shape: tuple[int, int, int]) -> None:
    """Data processing: the adversary merges two symbols; both bounds of the rate against it stand."""
    joint = drawn(seed, (*shape[:2], shape[2] + 1))
    merged = np.concatenate([joint[:, :, :1] + joint[:, :, 1:2], joint[:, :, 2:]], axis=2)
    fine, coarse = key_rate(joint), key_rate(merged)
    assert coarse.i_ae <= fine.i_ae + 1e-12
    assert coarse.i_be <= fine.i_be + 1e-12
    assert coarse.i_ab == pytest.approx(fine.i_ab, abs=1e-12)
    assert fine.lower <= coarse.upper + 1e-12


@settings(max_examples=50, deadline=None)
@given(seed=SEEDS, shape=SHAPES)
def test_names_and_order_of_symbols_and_devices_do_not_matter(
    seed: int, shape: tuple[int, int, int]
) -> None:
    joint = drawn(seed, shape)
    rng = np.random.default_rng(seed)
    shuffled = joint[np.ix_(*[rng.permutation(size) for size in shape])]
    here, there, turned = key_rate(joint), key_rate(shuffled), key_rate(joint.transpose(1, 0, 2))
    for name in ("i_ab", "i_ab_given_e", "lower", "upper"):
        assert getattr(there, name) == pytest.approx(getattr(here, name), abs=1e-12)
        assert getattr(turned, name) == pytest.approx(getattr(here, name), abs=1e-12)
    assert turned.i_ae == pytest.approx(here.i_be, abs=1e-12)


@given(error=st.floats(0, 0.5), theirs=st.floats(0.001, 0.5))
def test_public_discussion_leaves_something_to_an_adversary_with_errors(
    error: float, theirs: float
) -> None:
    rate = public_discussion_rate(error, theirs)
    assert rate >= -1e-12
    assert rate <= public_discussion_rate(error, 0.5) + 1e-12


@pytest.mark.parametrize(
    ("joint", "words"),
    [
        (
            np.full((2, 2, 2), 0.2),
            "must hold probabilities that sum to 1, got a least of 0.2 and a sum of 1.6",
        ),
        (np.array([[[1.5], [-0.5]]]), "a least of -0.5"),
        (np.full((2, 2, 2), np.nan), "a least of nan"),
        (np.full((2, 2), 0.25), r"must have axes for A, B and the adversary, got shape \(2, 2\)"),
    ],
)
def test_what_is_no_distribution_is_refused(joint: Array, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        key_rate(joint)


def test_error_rates_out_of_range_are_refused() -> None:
    with pytest.raises(ValueError, match=r"`adversary_error` must lie in 0\.\.1/2, got 0\.7"):
        public_discussion_rate(0.1, 0.7)


PEOPLE, ATTEMPTS, SYMBOLS = 6, 5, 80
SUBJECT = np.repeat(np.arange(PEOPLE), ATTEMPTS)


def flipped(a: Array, error: float, rng: np.random.Generator) -> Array:
    return a ^ (rng.random(a.shape) < error).astype(np.uint8)


def triple(seed: int = 0, *, b: float = 0.1, e: float = 0.25) -> tuple[Array, Array, Array]:
    rng = np.random.default_rng(seed)
    a = rng.integers(0, 2, (len(SUBJECT), SYMBOLS), dtype=np.uint8)
    return a, flipped(a, b, rng), flipped(a, e, rng)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 1000))
def test_estimates_ignore_order_and_names(seed: int) -> None:
    a, b, e = triple(seed)
    rng = np.random.default_rng(seed)
    rows = rng.permutation(len(SUBJECT))
    renamed = rng.permutation(PEOPLE) + 100
    here = estimated_key_rate(a, b, e, SUBJECT, alphabet=2, views=2)
    there = estimated_key_rate(
        a[rows] ^ 1, b[rows] ^ 1, 2 * e[rows], renamed[SUBJECT[rows]], alphabet=2, views=3
    )
    for name in ("i_ab", "i_ae", "i_be", "i_ab_given_e", "lower", "upper"):
        assert getattr(there, name).value == pytest.approx(getattr(here, name).value, abs=1e-9)
        assert getattr(there, name).low == pytest.approx(getattr(here, name).low, abs=1e-9)


def test_sides_and_what_they_rest_on() -> None:
    found = estimated_key_rate(*triple(), SUBJECT, alphabet=2, views=2)
    assert (found.i_ae.side, found.i_be.side) == ("attacker-at-least",) * 2
    assert (found.lower.side, found.upper.side) == ("defender-at-most",) * 2
    assert found.lower.value == pytest.approx(found.lower_by_person.mean())
    assert (found.lower.subjects, found.lower.attempts, found.left_out) == (PEOPLE, len(SUBJECT), 0)
    assert found.lower.low < found.lower.value < found.lower.high


def test_one_symbol_carries_nothing() -> None:
    a, b, e = triple()
    found = estimated_key_rate(a * 0, b, e, SUBJECT, alphabet=2, views=2)
    assert (found.i_ab.value, found.i_ae.value, found.upper.value) == (0, 0, 0)


def test_one_person_says_nothing_of_others() -> None:
    found = estimated_key_rate(*(x[:5] for x in triple()), SUBJECT[:5], alphabet=2, views=2)
    assert np.isnan([found.lower.low, found.lower.high, found.upper.low, found.i_ab.high]).all()
    assert np.isfinite(found.lower.value)


def test_a_person_with_one_attempt_is_left_out_and_counted() -> None:
    a, b, e = triple()
    kept = np.flatnonzero((SUBJECT > 0) | (np.arange(len(SUBJECT)) == 0))
    found = estimated_key_rate(a[kept], b[kept], e[kept], SUBJECT[kept], alphabet=2, views=2)
    assert found.left_out == 1
    assert found.people.tolist() == [1, 2, 3, 4, 5]


def test_several_attackers_on_one_attempt_are_left_out_together() -> None:
    """Two attackers on every attempt, alike: as many attempts as before, and the same figures."""
    a, b, e = triple()
    twice = np.repeat(np.arange(len(SUBJECT)), 2)
    here = estimated_key_rate(a, b, e, SUBJECT, alphabet=2, views=2)
    there = estimated_key_rate(
        a[twice], b[twice], e[twice], SUBJECT[twice], alphabet=2, views=2, attempt=twice
    )
    assert there.lower.value == pytest.approx(here.lower.value, abs=1e-9)


def test_too_few_symbols_say_what_could_be_computed() -> None:
    a, b, e = (x[:, :10] for x in triple())
    with pytest.raises(
        InsufficientData, match=r"two attempts and 64 symbols .* got 6 people with up to 50"
    ) as no:
        estimated_key_rate(a, b, e, SUBJECT, alphabet=2, views=2)
    assert no.value.partial is not None
    assert no.value.partial.method == "maurer-lower-uncorrected"
    assert np.isfinite(no.value.partial.value)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"a": np.full((30, 80), 0.5)}, "`a` must hold whole numbers, got float64"),
        ({"b": np.full((30, 80), 2)}, "`b` must hold symbols from 0 to 1, got 2 to 2"),
        ({"e": np.full((30, 80), -1)}, "`e` must hold symbols from 0 to 1, got -1 to -1"),
        ({"b": np.zeros((30, 79), int)}, r"`b` must be of shape \(rows, m\), all alike, got \(30, 79\)"),
        ({"alphabet": 1}, "`alphabet` must be at least 2 and `views` at least 1, got 1 and 2"),
        ({"level": 1.0}, "`level` must lie strictly between 0 and 1, got 1.0"),
        ({"attempt": np.arange(3)}, "`attempt` must have an entry for each of 30 rows, got 3"),
    ],
)
def test_bad_arguments_are_named(change: dict[str, Any], words: str) -> None:
    a, b, e = triple()
    given_: dict[str, Any] = {
        "a": a,
        "b": b,
        "e": e,
        "subject": SUBJECT,
        "alphabet": 2,
        "views": 2,
        **change,
    }
    with pytest.raises(ValueError, match=words):
        estimated_key_rate(**given_)


def surprised(e: Array, truth: Array, error: float) -> Array:
    return -np.log2(np.where(e == truth, 1 - error, error)).mean(axis=1)


def test_beliefs_and_symbols_agree_where_beliefs_are_hard() -> None:
    a, b, e = triple()
    soft = believed_key_rate(
        a, b, SUBJECT, surprise_a=surprised(e, a, 0.25), surprise_b=surprised(e, b, 0.3), alphabet=2
    )
    hard = estimated_key_rate(a, b, e, SUBJECT, alphabet=2, views=2)
    # errors of .1 and .25 in 2400 symbols: a sigma of .019 and .014 bit, which both share
    assert soft.i_ab.value == pytest.approx(hard.i_ab.value, abs=0.02)
    assert soft.i_ae.value == pytest.approx(hard.i_ae.value, abs=0.02)
    assert soft.lower.value == pytest.approx(hard.lower.value, abs=0.02)
    assert soft.lower.side == "defender-at-most"


def test_a_belief_worse_than_none_is_not_held_against_the_adversary() -> None:
    """It would guess instead: the bound stays at what A and B share, and does not grow beyond."""
    a, b, _ = triple()
    found = believed_key_rate(
        a, b, SUBJECT, surprise_a=np.full(30, 900.0), surprise_b=np.full(30, 900.0), alphabet=2
    )
    assert found.i_ae.value == 0
    assert found.lower.value == pytest.approx(found.i_ab.value, abs=0.01)


def test_without_the_channel_to_b_only_one_direction_is_bounded() -> None:
    a, b, e = triple()
    found = believed_key_rate(a, b, SUBJECT, surprise_a=surprised(e, a, 0.25), surprise_b=None, alphabet=2)
    assert found.i_be is None
    assert found.lower.value == pytest.approx(found.i_ab.value - found.i_ae.value, abs=0.01)


def test_beliefs_need_people_and_numbers() -> None:
    a, b, _ = triple()
    bad = np.full(30, np.inf)
    with pytest.raises(ValueError, match="`surprise_a` must hold a finite number for each of 30 rows"):
        believed_key_rate(a, b, SUBJECT, surprise_a=bad, surprise_b=None, alphabet=2)
    with pytest.raises(InsufficientData, match="at least two people, got 1"):
        believed_key_rate(a, b, SUBJECT * 0, surprise_a=np.ones(30), surprise_b=None, alphabet=2)


def test_the_better_of_two_means_shares_its_chance_of_missing_below_only() -> None:
    rng = np.random.default_rng(3)
    columns = rng.standard_normal((20, 2))
    value, low, high = greatest_mean(columns, level=0.95)
    assert value == columns.mean(axis=0).max()
    turned = least_mean(-columns, level=0.95)
    assert (-turned[0], -turned[2], -turned[1]) == pytest.approx((value, low, high))
    one = greatest_mean(columns[:, :1], level=0.95)
    both = greatest_mean(columns[:, [0, 0]], level=0.95)
    assert both[1] < one[1]
    assert both[2] == one[2]


def honest_run(*, b_acquired: Array | None = None) -> Honest:
    a, b, _ = triple()
    rows = len(SUBJECT)
    all_rows = np.ones(rows, bool)
    keys = np.zeros((rows, 4), np.uint8)
    return Honest(
        sitting=SUBJECT, local=np.arange(rows), subject=SUBJECT, session=SUBJECT * 0,
        a=Witness(symbols=a, alphabet=2, acquired=all_rows),
        b=Witness(symbols=b, alphabet=2, acquired=all_rows if b_acquired is None else b_acquired),
        keys_a=keys, keys_b=keys, accepted=all_rows, helper={}, seconds=np.ones(rows),
    )  # fmt: skip


def scored(honest: Honest, **changes: Any) -> Scores:
    rows = honest.attempts
    nothing = np.zeros(rows)
    e = triple()[2]
    names = ("fewer_low", "fewer_high", "upto_low", "upto_high", "surprise")
    told: dict[str, Any] = {
        "likely": e,
        "surprise_a": surprised(e, honest.a.symbols, 0.25),
        "surprise_b": surprised(e, honest.b.symbols, 0.3),
        **changes,
    }
    return Scores(
        attempt=np.arange(rows), attacker=np.full(rows, -1), method="none", gain=nothing,
        ranks=Ranks(**dict.fromkeys(names, nothing)),
        **told,
    )  # fmt: skip


def test_rows_of_an_attack_on_the_witness() -> None:
    table, honest = Rows("s", "a", "simulated"), honest_run()
    keyrate_rows(table, honest, scored(honest))
    assert sorted((r.measure, r.method) for r in table.rows) == sorted(CELLS)
    assert {r.status for r in table.rows} == {"measured"}
    assert len(table.per_subject) == PEOPLE
    for row in table.rows:
        assert row.unit in MEASURES[row.measure].units
        assert row.method in MEASURES[row.measure].methods


def test_attempts_that_b_did_not_acquire_are_not_compared() -> None:
    acquired = np.arange(len(SUBJECT)) % ATTEMPTS > 0
    honest, table = honest_run(b_acquired=acquired), Rows("s", "a", "simulated")
    unknown = np.where(acquired, surprised(triple()[2], honest.b.symbols, 0.3), np.nan)
    keyrate_rows(table, honest, scored(honest, surprise_b=unknown))
    assert {(r.status, r.attempts) for r in table.rows} == {("measured", PEOPLE * (ATTEMPTS - 1))}


def test_cells_without_numbers_say_why() -> None:
    honest = honest_run()
    about_keys, none_acquired = Rows("s", "a", "simulated"), Rows("s", "a", "simulated")
    keyrate_rows(about_keys, honest, scored(honest, likely=None, surprise_a=None, surprise_b=None))
    assert {r.status for r in about_keys.rows} == {"not-applicable"}
    keyrate_rows(none_acquired, honest_run(b_acquired=np.zeros(30, bool)), scored(honest))
    assert {r.status for r in none_acquired.rows} == {"untested"}
    assert len(none_acquired.rows) == len(CELLS)


def test_a_belief_reaches_b_through_the_channel_of_other_people() -> None:
    honest = honest_run()
    some = np.flatnonzero(SUBJECT == 0)
    sure = np.log(np.where(np.arange(2) == honest.a.symbols[some][..., None], 1 - 1e-9, 1e-9))
    at_a, at_b = symbol_surprise(sure, honest, some)
    others = SUBJECT != 0
    channel = channel_to_b(honest.a.symbols[others], honest.b.symbols[others], 2)
    # 2000 symbols with a tenth of errors: four sigma
    assert channel[0, 1] == pytest.approx(0.1, abs=4 * np.sqrt(0.09 / 1000))
    assert at_a == pytest.approx(np.zeros(5), abs=1e-6)
    assert at_b is not None
    expected = -np.log2(channel[honest.a.symbols[some], honest.b.symbols[some]]).mean(axis=1)
    assert at_b == pytest.approx(expected, abs=1e-6)
    assert symbol_surprise(np.tile(sure, (6, 1, 1)), honest, np.arange(30))[1] is None
    untaught = replace(honest, teaching=np.zeros(honest.attempts, bool))  # of a stratum with nobody else
    assert symbol_surprise(sure, untaught, some)[1] is None
