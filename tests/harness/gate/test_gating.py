"""What the gate decides of single metrics, and what it refuses to compare."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from gate_pipelines import METRICS, PEOPLE, SimulatedMetric, result_of

from harness.baseline import baseline_of, without
from harness.contracts import Array
from harness.errors import UsageError
from harness.estimators.paired import harm
from harness.gating import gate
from harness.results import Audit, unmeasured
from harness.verdicts import Comparison, Verdict

BY_KEY = {(m.attack, m.measure, m.budget): m for m in METRICS}
ODDS = BY_KEY["mimicry", "success-odds", 1]
RANK = BY_KEY["mimicry", "key-rank", None]
AGREEMENT = BY_KEY[None, "key-agreement", None]
ENTROPY = BY_KEY[None, "min-entropy", None]
FAILURES = BY_KEY[None, "failure-to-acquire", None]
MISMATCH = BY_KEY[None, "bit-mismatch", None]
TIME = BY_KEY[None, "time", None]
STRANGERS = SimulatedMetric(attack=None, measure="strangers-agreement", level=0, among=0, moved=0)
RNG = np.random.default_rng(7)
PEOPLES_RANKS = 40 + 5 * RNG.standard_normal(PEOPLE)
RANKS = (PEOPLES_RANKS, PEOPLES_RANKS + 0.01 * RNG.standard_normal(PEOPLE))
NOTHING = np.zeros(PEOPLE)


def held(pairs: Mapping[SimulatedMetric, tuple[Array, Array]], **options: Any) -> Verdict:
    """The verdict on the second values of each pair, held against the first."""
    old, new = ({m: p[side] for m, p in pairs.items()} for side in (0, 1))
    return gate(result_of(new), baseline=baseline_of(result_of(old), reason="before"), **options)


def of(verdict: Verdict, metric: SimulatedMetric) -> Comparison:
    (found,) = (
        c
        for c in verdict.comparisons
        if (c.metric.attack, c.metric.measure) == (metric.attack or "", metric.measure)
    )
    return found


def some(people: int, value: float) -> Array:
    """A value for the first few people, 0 for the others."""
    return np.where(np.arange(PEOPLE) < people, value, 0.0)


def test_zero_odds_twice_are_unresolved_where_ranks_pass_and_undecided_where_they_do_not() -> None:
    verdict = held({ODDS: (NOTHING, NOTHING), RANK: RANKS})
    assert (verdict.outcome, of(verdict, ODDS).outcome) == ("pass", "unresolved")
    assert "0.0139" in of(verdict, ODDS).reason
    wild = (RANKS[0], RANKS[0] + 5 * np.random.default_rng(1).standard_normal(PEOPLE))
    verdict = held({ODDS: (NOTHING, NOTHING), RANK: wild})
    assert (verdict.outcome, of(verdict, ODDS).outcome) == ("undecided", "undecided")
    assert held({ODDS: (NOTHING, NOTHING)}).outcome == "undecided"


@pytest.mark.parametrize("people", [1, 3, 6])
def test_a_few_broken_people_are_never_let_through_because_ranks_pass(people: int) -> None:
    verdict = held({ODDS: (NOTHING, some(people, 1.0)), RANK: RANKS})
    assert of(verdict, RANK).outcome == "pass"
    assert verdict.outcome == "undecided"


def test_odds_beyond_resolution_are_unresolved_only_if_nobody_got_worse() -> None:
    old = some(3, 0.2)
    assert of(held({ODDS: (old, old), RANK: RANKS}), ODDS).outcome == "unresolved"
    swapped = np.roll(old, 1)  # one person better, another worse
    assert of(held({ODDS: (old, swapped), RANK: RANKS}), ODDS).outcome == "undecided"


def test_strangers_that_never_agreed_are_unresolved_only_with_enough_people() -> None:
    assert of(held({STRANGERS: (NOTHING, NOTHING), RANK: RANKS}), STRANGERS).outcome == "unresolved"
    few = {m: (a[:20], b[:20]) for m, (a, b) in {STRANGERS: (NOTHING, NOTHING), RANK: RANKS}.items()}
    assert of(held(few), STRANGERS).outcome == "undecided"


def test_one_amount_for_everybody_passes_no_limit() -> None:
    ours = 120 + np.random.default_rng(0).standard_normal(PEOPLE)
    assert held({ENTROPY: (ours, ours - 0.4)}).outcome == "undecided"
    assert held({ENTROPY: (ours, ours - 0.6)}).outcome == "fail"
    assert held({ENTROPY: (ours, ours + 0.6)}).outcome == "pass"


def test_one_value_for_everybody_in_both_is_too_little_to_know() -> None:
    same = np.full(PEOPLE, 128.0)
    assert held({ENTROPY: (same, same)}).outcome == "undecided"


def test_a_constant_time_is_known_exactly() -> None:
    assert held({TIME: (NOTHING + 27, NOTHING + 27.5)}).outcome == "pass"
    assert held({TIME: (NOTHING + 27, NOTHING + 30)}).outcome == "fail"


@pytest.mark.parametrize(("people", "outcome"), [(60, "pass"), (20, "undecided"), (2, "undecided")])
def test_equal_rates_pass_only_with_people_enough_to_have_shown_the_margin(
    people: int, outcome: str
) -> None:
    half = np.full(people, 0.5)
    assert held({AGREEMENT: (half, half)}).outcome == outcome


def test_a_margin_below_what_can_be_detected_is_refused_with_that_effect() -> None:
    half = np.full(PEOPLE, 0.5)
    new = half + 0.15 * np.random.default_rng(3).choice([-1, 1], PEOPLE)
    found = of(held({AGREEMENT: (half, new - new.mean() + 0.5)}), AGREEMENT)
    assert found.outcome == "undecided"
    assert found.detectable is not None
    assert f"{found.detectable:.4g}" in found.reason
    assert found.margin < found.detectable


def test_harm_is_corrected_for_all_metrics_of_the_run() -> None:
    rng = np.random.default_rng(11)
    # harm that is significant alone and not beside others as noisy, of which none passes
    noise = 0.15 * rng.standard_normal((3, PEOPLE))
    noise -= noise.mean(axis=1, keepdims=True)
    noise *= 0.15 / noise.std(axis=1, ddof=1, keepdims=True)
    half = np.full(PEOPLE, 0.5)
    harmed = {AGREEMENT: (half, half - 0.05 + noise[0])}
    quiet = {FAILURES: (half, half + noise[1]), MISMATCH: (half, half + noise[2])}
    alone, beside = of(held(harmed), AGREEMENT), of(held({**harmed, **quiet}), AGREEMENT)
    assert alone.p is not None
    assert alone.adjusted == alone.p
    assert beside.p == alone.p
    assert beside.adjusted == pytest.approx(3 * alone.p)
    between = 2 * alone.p
    assert of(held(harmed, level=between), AGREEMENT).outcome == "fail"
    assert of(held({**harmed, **quiet}, level=between), AGREEMENT).outcome == "undecided"


def test_metrics_that_see_their_margin_plainly_cost_the_noisy_ones_little() -> None:
    rng = np.random.default_rng(11)
    half = np.full(PEOPLE, 0.5)
    harmed = {AGREEMENT: (half, np.clip(half - 0.05 - 0.15 * rng.standard_normal(PEOPLE), 0, 1))}
    plain = {RANK: RANKS, ENTROPY: (RANKS[0], RANKS[0] + 0.1 * rng.standard_normal(PEOPLE))}
    beside = of(held({**harmed, **plain}), AGREEMENT)
    assert beside.p is not None
    assert beside.adjusted == pytest.approx(beside.p / (0.9 + 0.1 / 3), rel=1e-3)


def test_margins_can_be_changed_and_only_where_they_mean_something() -> None:
    lower = (RANKS[0], RANKS[1] - 1.5)
    assert held({RANK: lower}).outcome == "fail"
    assert held({RANK: lower}, margins={"key-rank": 2.0}).outcome == "pass"
    for wrong in ({"key-rang": 1.0}, {"success-odds": 1.0}, {"key-rank": 0.0}, {"key-rank": float("nan")}):
        with pytest.raises(UsageError):
            held({RANK: lower}, margins=wrong)


def test_slack_is_announced_with_the_command_that_keeps_it() -> None:
    verdict = held({RANK: (RANKS[0], RANKS[1] + 3)})
    assert of(verdict, RANK).better
    assert any("keyassay baseline RESULT --reason" in n for n in verdict.notices)


def test_small_leaks_fail_against_the_anchor_that_pass_against_the_last() -> None:
    noise = 0.01 * np.random.default_rng(2).standard_normal((2, PEOPLE))
    first = result_of({RANK: RANKS[0]})
    last, now = result_of({RANK: RANKS[0] - 0.8 + noise[0]}), result_of({RANK: RANKS[0] - 1.6 + noise[1]})
    rolling, anchor = baseline_of(last, reason="last"), baseline_of(first, reason="first")
    assert gate(now, baseline=rolling).outcome == "pass"
    verdict = gate(now, baseline=rolling, anchor=anchor)
    assert verdict.outcome == "fail"
    assert {c.against for c in verdict.of("fail")} == {"anchor"}


def test_a_metric_that_the_candidate_lacks_is_undecided_and_a_new_one_decides_nothing() -> None:
    full = {RANK: RANKS, AGREEMENT: (np.full(PEOPLE, 0.5),) * 2}
    both, alone = result_of({m: p[0] for m, p in full.items()}), result_of({AGREEMENT: full[AGREEMENT][0]})
    alone = replace(alone, attacks=both.attacks)
    verdict = gate(alone, baseline=baseline_of(both, reason="x"))
    assert of(verdict, RANK).outcome == "undecided"
    assert verdict.outcome == "undecided"
    verdict = gate(both, baseline=baseline_of(alone, reason="x"))
    assert of(verdict, RANK).outcome == "unresolved"
    assert verdict.outcome == "pass"


def test_a_failed_plug_in_is_no_pass_and_its_words_are_passed_on() -> None:
    both = result_of({RANK: RANKS[0], AGREEMENT: np.full(PEOPLE, 0.5)})
    row = unmeasured(
        "failed",
        "out of tune",
        scheme="simulated",
        attack="mimicry",
        measure="success-odds",
        unit="probability",
        data="simulated",
    )
    broken = replace(both, rows=[row], per_subject=[p for p in both.per_subject if p.attack != "mimicry"])
    verdict = gate(broken, baseline=baseline_of(both, reason="x"))
    assert verdict.outcome == "undecided"
    assert "out of tune" in of(verdict, RANK).reason
    never = gate(broken, baseline=baseline_of(replace(broken, rows=[]), reason="x"))
    assert never.outcome == "undecided"  # not measured then either, yet a failure is no pass
    with pytest.raises(UsageError, match="out of tune"):
        baseline_of(broken, reason="x")


def test_equal_replays_pass_however_few_people_there_are() -> None:
    one = result_of({AGREEMENT: np.array([0.5])})
    same = [{**one.schemes[0], "outcomes": {"": "a" * 64}}]
    replayed = replace(one, schemes=same)
    assert gate(replayed, baseline=baseline_of(replayed, reason="x")).outcome == "pass"
    assert gate(one, baseline=baseline_of(replayed, reason="x")).outcome == "undecided"
    other = replace(one, schemes=[{**one.schemes[0], "outcomes": {"": "b" * 64}}])
    assert gate(other, baseline=baseline_of(replayed, reason="x")).outcome == "undecided"


def test_a_withdrawn_person_leaves_no_value_and_no_digest() -> None:
    found = result_of({RANK: RANKS[0]})
    found = replace(found, schemes=[{**found.schemes[0], "outcomes": {"mimicry": "a" * 64}}])
    full = baseline_of(found, reason="x")
    left = without(full, "3")
    assert all("3" not in c.people and len(c.people) == PEOPLE - 1 for c in left.cells)
    assert "a" * 64 not in left.text()
    assert repr(float(RANKS[0][3])) in full.text()
    assert repr(float(RANKS[0][3])) not in left.text()
    verdict = gate(result_of({RANK: RANKS[1]}), baseline=left)
    assert of(verdict, RANK).people == PEOPLE - 1
    assert verdict.outcome == "pass"
    for gone in ("7", "8", "9"):
        left = without(left, gone)
    verdict = gate(result_of({RANK: RANKS[1]}), baseline=left)
    assert verdict.outcome == "undecided"  # more than one in twenty is missing
    with pytest.raises(UsageError, match="withdraw"):
        without(left, "7")


def other_corpus(found: Audit) -> Audit:
    return replace(found, corpus={**found.corpus, "digest": "1" * 64})


def other_size(found: Audit) -> Audit:
    return replace(found, corpus={**found.corpus, "attempts": 1})


def other_seed(found: Audit) -> Audit:
    return replace(found, settings={"seed": 1})


def other_attacks(found: Audit) -> Audit:
    return replace(found, attacks=found.attacks[:1])


def other_parameters(found: Audit) -> Audit:
    return replace(found, attacks=[{**found.attacks[0], "parameters": {"skill": 1}}, *found.attacks[1:]])


def other_words(found: Audit) -> Audit:
    return replace(
        found, attacks=[{**found.attacks[0], "source": "own.py:Own:skill=2"}, *found.attacks[1:]]
    )


def nobody(found: Audit) -> Audit:
    return replace(found, per_subject=[])


def no_corpus(found: Audit) -> Audit:
    return replace(found, corpus={})


def no_scheme(found: Audit) -> Audit:
    return replace(found, schemes=[{}])


@pytest.mark.parametrize(
    "change",
    [
        other_corpus,
        other_size,
        other_seed,
        other_attacks,
        other_parameters,
        other_words,
        nobody,
        no_corpus,
        no_scheme,
    ],
)
def test_what_cannot_be_compared_is_refused_in_one_sentence(change: Callable[[Audit], Audit]) -> None:
    found = result_of({RANK: RANKS[0]})
    baseline = baseline_of(found, reason="x")
    assert gate(found, baseline=baseline).outcome == "pass"
    with pytest.raises(UsageError) as refused:
        gate(change(found), baseline=baseline)
    assert "\n" not in str(refused.value)


def test_other_versions_and_edited_attacks_are_said() -> None:
    found = result_of({RANK: RANKS[0]})
    newer = replace(
        found,
        versions={"numpy": "2"},
        attacks=[{**a, "digest": "new"} for a in found.attacks],
    )
    older = replace(
        found,
        versions={"numpy": "1"},
        attacks=[{**a, "digest": "old"} for a in found.attacks],
    )
    notices = " ".join(gate(newer, baseline=baseline_of(older, reason="x")).notices)
    assert "numpy 1 -> 2" in notices
    assert "--old" in notices
    assert "mimicry, replay" in notices
    assert not gate(newer, baseline=baseline_of(newer, reason="x")).notices


def test_a_baseline_needs_a_reason() -> None:
    with pytest.raises(UsageError, match="reason"):
        baseline_of(result_of({RANK: RANKS[0]}), reason=" ")


def test_what_cannot_have_changed_costs_the_others_nothing() -> None:
    """Holm counts only metrics that could have failed."""
    old, new = (result_of({ODDS: NOTHING, RANK: r, AGREEMENT: some(30, 0.5)}) for r in RANKS)
    marked = [
        replace(a, schemes=[{**a.schemes[0], "outcomes": {"": "a" * 64, "mimicry": str(i) * 64}}])
        for i, a in enumerate((old, new))
    ]
    verdict = gate(marked[1], baseline=baseline_of(marked[0], reason="before"))
    rank = of(verdict, RANK)
    assert of(verdict, AGREEMENT).identical
    assert of(verdict, AGREEMENT).adjusted is None
    assert rank.p is not None
    assert rank.adjusted == pytest.approx(
        min(2 * rank.p, 1.0)
    )  # the odds are tested too, the agreement not


def standard(people: int) -> Array:
    """Symmetric values of mean 0 and standard deviation 1."""
    told = np.linspace(-1, 1, people)
    return np.asarray(told / told.std(ddof=1))


@pytest.mark.parametrize(("spread", "shift"), [(4.0, 0.0), (2.2, 0.2), (4.0, 0.3)])
def test_the_people_that_are_asked_for_would_decide(spread: float, shift: float) -> None:
    """As many people as asked for, moved as these were, pass; a tenth fewer do not."""
    verdict = held({RANK: (RANKS[0], RANKS[0] - shift - spread * standard(PEOPLE))})
    found = of(verdict, RANK)
    assert found.outcome == "undecided"
    asked = re.search(r"about (\d+) people", found.reason)
    assert asked is not None
    for share, enough in ((1.0, True), (0.9, False)):
        people = int(share * int(asked[1]))
        seen = harm(np.zeros(people), shift + spread * standard(people), scale="difference")
        assert seen.limit is not None
        assert seen.detectable is not None
        assert (seen.limit < 1.0 and seen.detectable <= 1.0) == enough


def test_harm_that_only_the_correction_excuses_is_not_said_to_be_small() -> None:
    agreed = np.where(np.arange(PEOPLE) < 30, 0.9, 0.3)
    lost = np.clip(agreed - 0.04 + 0.12 * standard(PEOPLE)[::-1] * np.resize([1, -1], PEOPLE), 0, 1)
    found = of(held({AGREEMENT: (agreed, lost), RANK: RANKS}, level=1e-6), AGREEMENT)
    assert found.worse is not None
    assert found.worse > found.margin
    assert found.outcome == "undecided"
    assert "harm of the margin or more was seen" in found.reason
