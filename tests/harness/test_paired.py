"""Paired comparisons: known answers, invariance, and how often a pass is wrong."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, norm, ttest_1samp, ttest_rel

from harness.contracts import Array
from harness.estimators import proportion
from harness.estimators.multiple import holm, where_it_helps
from harness.estimators.paired import FEW, effect, harm, mean_difference
from harness.streams import stream

VALUES = st.lists(st.floats(0.05, 0.95), min_size=8, max_size=30)


def moved(values: list[float], by: float) -> tuple[Array, Array]:
    old = np.array(values)
    return old, old + by * np.cos(np.arange(len(old)))


def test_a_difference_is_students_t() -> None:
    first, second = moved([0.1, 0.5, 0.3, 0.9, 0.7, 0.2, 0.8, 0.4, 0.6], 0.1)
    found, known = mean_difference(first, second), ttest_rel(first, second)
    low, high = known.confidence_interval(0.95)
    assert found.p == pytest.approx(known.pvalue)
    assert (found.low, found.high) == pytest.approx((low, high))


def test_harm_is_significant_as_students_t_says() -> None:
    old, new = moved([0.1, 0.5, 0.3, 0.9, 0.7, 0.2, 0.8, 0.4, 0.6, 0.35], 0.2)
    known = ttest_1samp(new - old, 0, alternative="greater")
    assert harm(old, new, scale="difference").p == pytest.approx(known.pvalue)


@pytest.mark.parametrize("people", [1, 2])
def test_two_people_say_nothing_of_others(people: int) -> None:
    found = harm(np.zeros(people), np.ones(people), scale="difference")
    assert (found.limit, found.detectable, found.p) == (None, None, None)
    assert mean_difference(np.zeros(people), np.ones(people)).p is None


@pytest.mark.parametrize("people", [3, 5, 8])
def test_people_who_all_got_worse_by_the_same_are_worth_as_many_coins(people: int) -> None:
    assert harm(np.zeros(people), np.ones(people), scale="difference").p == 2.0**-people
    assert mean_difference(np.zeros(people), np.ones(people)).p == 2.0 ** (1 - people)


@given(VALUES)
def test_swapping_sides_turns_a_difference_round(values: list[float]) -> None:
    first, second = moved(values, 0.04)
    there, back = mean_difference(first, second), mean_difference(second, first)
    assert there.value == pytest.approx(-back.value, abs=1e-15)
    assert there.p == pytest.approx(back.p)
    assert there.low is not None
    assert back.high is not None
    assert there.low == pytest.approx(-back.high)


@given(VALUES, st.floats(1e-3, 1e3))
def test_a_ratio_knows_no_unit(values: list[float], unit: float) -> None:
    old, new = moved(values, 0.02)
    plain, scaled = harm(old, new, scale="ratio"), harm(unit * old, unit * new, scale="ratio")
    assert plain.worse == pytest.approx(scaled.worse)
    assert plain.limit == pytest.approx(scaled.limit, rel=1e-6)
    assert plain.detectable == pytest.approx(scaled.detectable, rel=1e-6)


@given(VALUES, st.sampled_from(["difference", "ratio", "odds-ratio"]))
def test_the_limit_lies_above_what_was_seen(values: list[float], scale: str) -> None:
    found = harm(*moved(values, 0.04), scale=scale)
    assert found.worse is not None
    assert found.limit is not None
    assert found.limit >= found.worse * (1 - 1e-9) - 1e-12


def test_a_factor_of_odds() -> None:
    old = np.full(10, 0.2) + 0.01 * np.cos(np.arange(10))
    odds = 1.5 * old.mean() / (1 - old.mean())
    new = old - old.mean() + odds / (1 + odds)
    assert harm(old, new, scale="odds-ratio").worse == pytest.approx(1.5)


def test_odds_from_nothing_have_no_factor_and_certain_ones_cannot_rise() -> None:
    none, some = np.zeros(20), np.where(np.arange(20) < 3, 0.3, 0.0)
    assert harm(none, some, scale="odds-ratio").worse == math.inf
    assert harm(none, some, scale="odds-ratio").limit is None
    assert harm(none, none, scale="odds-ratio").worse is None
    assert harm(np.ones(20), 1 - some, scale="odds-ratio").limit == 1.0


def test_few_people_who_changed_leave_room_for_what_was_not_seen() -> None:
    old = np.full(60, 0.5)
    for changed in (0, FEW - 1):
        new = old + np.where(np.arange(60) < changed, 0.01, 0.0)
        found = harm(old, new, scale="difference", unseen=0.014)
        assert found.limit == pytest.approx(float((new - old).mean()) + 0.014)


def test_lengths_and_scales_are_checked() -> None:
    with pytest.raises(ValueError, match="same people"):
        harm(np.zeros(3), np.zeros(4), scale="difference")
    with pytest.raises(ValueError, match="same people"):
        mean_difference(np.zeros(0), np.zeros(0))
    with pytest.raises(ValueError, match="`scale`"):
        harm(np.zeros(3), np.zeros(3), scale="log")


def test_holm_by_hand_and_whatever_the_order() -> None:
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm([]).size == 0
    assert holm([0.9, 0.8]) == pytest.approx([1.0, 1.0])
    with pytest.raises(ValueError, match="p-values"):
        holm([0.5, 1.5])


@given(st.lists(st.floats(0, 1), min_size=1, max_size=12))
def test_holm_rejects_as_the_step_down_rule_does(p: list[float]) -> None:
    rejected = set()
    for step, place in enumerate(sorted(range(len(p)), key=lambda i: p[i])):
        if p[place] * (len(p) - step) > 0.05:
            break
        rejected.add(place)
    assert {i for i, x in enumerate(holm(p)) if x <= 0.05} == rejected


def test_weighted_holm_by_hand() -> None:
    # smallest p over weight first: .01/2 with all 4 shares left, then .02/1 with 2, then .03/1 with 1
    assert holm([0.01, 0.03, 0.02], weights=[2, 1, 1]) == pytest.approx([0.02, 0.04, 0.04])
    with pytest.raises(ValueError, match="`weights` must be 2 positive"):
        holm([0.1, 0.2], weights=[1, 0])
    with pytest.raises(ValueError, match="`weights` must be 2 positive"):
        holm([0.1, 0.2], weights=[1])


@given(st.lists(st.tuples(st.floats(0, 1), st.floats(0.01, 10)), min_size=1, max_size=12))
def test_weighted_holm_is_holm_for_equal_weights_and_never_beats_a_single_test(
    drawn: list[tuple[float, float]],
) -> None:
    p = [x for x, _ in drawn]
    assert holm(p, weights=[3.0] * len(p)) == pytest.approx(holm(p))
    assert (holm(p, weights=[w for _, w in drawn]) >= np.array(p)).all()


def test_weights_go_where_they_find_most() -> None:
    level = 0.01
    effects = np.array([0.5, 2.5, 3.9, 4.4, 6.0])
    share = where_it_helps(effects, level=level)

    def power(shares: Array) -> float:
        return float(norm.sf(norm.isf(shares * level) - effects).sum())

    assert share.sum() == pytest.approx(1)
    assert share.min() >= 0.1 / 5 - 1e-12
    chosen = (share - 0.1 / 5) / 0.9  # without the tenth that all share alike
    best = power(chosen)
    assert best > power(np.full(5, 0.2))
    for giver in (2, 3):  # moving a little from one test to another finds no more
        for taker in set(range(5)) - {giver}:
            other = chosen.copy()
            other[giver] -= 1e-3
            other[taker] += 1e-3
            assert power(other) < best
    assert where_it_helps([], level=level).size == 0
    assert where_it_helps([np.inf, 4.0], level=level) == pytest.approx([0.05, 0.95])
    assert where_it_helps([0.0, 0.0], level=level) == pytest.approx([0.5, 0.5])
    with pytest.raises(ValueError, match="effects must be"):
        where_it_helps([-1.0], level=level)


@pytest.mark.slow
def test_weights_from_the_same_spread_keep_the_level() -> None:
    """Null metrics of 12 people: weights rest on spreads estimated from few."""
    rng = stream(0, "weighted holm")
    runs, false = 4000, 0
    for _ in range(runs):
        moved = rng.standard_normal((6, 12))
        old = np.zeros((6, 12))
        p = [harm(o, o + m, scale="difference").p or 1.0 for o, m in zip(old, moved, strict=True)]
        effects = [effect(o, o + m, 1.0, scale="difference") for o, m in zip(old, moved, strict=True)]
        false += bool(holm(p, weights=where_it_helps(effects, level=0.05)).min() < 0.05)
    assert false <= binom.isf(0.01, runs, 0.05)


def test_effects_are_counted_in_standard_errors() -> None:
    old, new = np.array([0.1, 0.2, 0.3, 0.4]), np.array([0.2, 0.2, 0.4, 0.4])
    error = np.std(new - old, ddof=1) / 2
    assert effect(old, new, 0.04, scale="difference") == pytest.approx(0.04 / error)
    assert effect(old, new, 2.0, scale="ratio") == pytest.approx(0.25 / error)
    assert effect(old, new, 2.0, scale="odds-ratio") == pytest.approx((0.4 - 0.25) / error)
    assert effect(old, old, 0.04, scale="difference") == math.inf
    assert effect(old[:2], new[:2], 0.04, scale="difference") == 0.0


# Calibration: the harm is exactly the margin, so a pass is wrong; at most 5 % of passes are promised.

ATTEMPTS = 10


def unseen(people: int) -> float:
    none = np.zeros(people * ATTEMPTS)
    return proportion.clustered_rate(
        none, none, np.repeat(np.arange(people), ATTEMPTS), side="estimate"
    ).high


def bits(people: int, rng: np.random.Generator) -> bool:
    old = -40 + 8 * rng.standard_normal(people)
    found = harm(old, old + 1 + 0.3 * rng.standard_normal(people), scale="difference")
    return found.limit is not None and found.limit < 1


def struck(level: float, target: float, uneven: float, people: int, rng: np.random.Generator) -> Array:
    """(2, people) rates before and after harm that strikes people with this intra-class correlation."""
    shape = (people, ATTEMPTS)
    old = rng.random(shape) < rng.beta(4 * level, 4 * (1 - level), people)[:, None]
    share, scale = (target - level) / (1 - level), (1 - uneven) / uneven
    hit = rng.random(shape) < rng.beta(share * scale, (1 - share) * scale, people)[:, None]
    return np.stack([old.mean(axis=1), (old | hit).mean(axis=1)])


def lost(people: int, rng: np.random.Generator) -> bool:
    found = harm(*struck(0.3, 0.32, 0.02, people, rng), scale="difference", unseen=unseen(people))
    return found.limit is not None and found.limit < 0.02


def odds(people: int, rng: np.random.Generator) -> bool:
    target = 1.5 * 0.2 / (1 + 0.5 * 0.2)
    found = harm(*struck(0.2, target, 0.02, people, rng), scale="odds-ratio", unseen=unseen(people))
    return found.limit is not None and found.limit < 1.5


def slower(people: int, rng: np.random.Generator) -> bool:
    old = 27 + 3 * rng.standard_normal(people)
    found = harm(old, 1.1 * old + 0.5 * rng.standard_normal(people), scale="ratio")
    return found.limit is not None and found.limit < 1.1


def wrong_passes(kind: Callable[[int, np.random.Generator], bool], people: int, runs: int) -> int:
    return sum(kind(people, stream(3, kind.__name__, people, run)) for run in range(runs))


@pytest.mark.slow
@pytest.mark.parametrize("people", [10, 20, 60])
@pytest.mark.parametrize("kind", [bits, slower, lost, odds])
def test_harm_of_the_margin_passes_in_one_of_twenty(
    kind: Callable[[int, np.random.Generator], bool], people: int
) -> None:
    # twelve checks share the level .01; one-sided, for a pass must not be more frequent
    assert wrong_passes(kind, people, 2000) <= binom.ppf(1 - 0.01 / 12, 2000, 0.05)
