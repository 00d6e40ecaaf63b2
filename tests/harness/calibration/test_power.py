"""Promises that no outcome of so few audits could break are not called kept."""

from __future__ import annotations

from dataclasses import replace

import pytest
from made_up_trials import NOTHING, TRUTH, alone, read, trial

from harness.calibration.alarms import alarm_lines, alarms_in_all, rule_lines
from harness.calibration.chance import chance_lines
from harness.calibration.coverage import coverage_lines, truth_lines
from harness.calibration.lines import ChanceLine, Trial, VerdictLine
from harness.calibration.power import (
    below_chance_can_be_seen,
    fewest_hits_above_chance,
    truths_that_can_be_missed,
)
from harness.calibration.verdicts import alarms_verdict, chance_verdict, coverage_verdict, noise_verdict

HOLDS, MISSES = read(0.4, 0.6), read(0.6, 0.7)
TRUTHS = tuple(replace(TRUTH, attack=f"spy-{i}") for i in range(10))


def covered(audits: int, *, held: bool, truths: int = 10) -> VerdictLine:
    cases = [alone("a", sound=True, truths=TRUTHS[:truths])]
    told = [trial("a", r, readings=(HOLDS if held else MISSES,) * truths) for r in range(audits)]
    return coverage_verdict(coverage_lines(cases, told), truth_lines(cases, told))


def test_two_audits_whose_every_interval_misses_break_no_promise_and_keep_none() -> None:
    found = covered(2, held=False)
    assert found.holds is None
    assert found.text == "too few audits to tell: 0 of 20 intervals hold the truth, and all might miss it"
    assert covered(2, held=True).holds is None


def test_coverage_is_told_from_the_number_of_audits_on_at_which_a_miss_is_one() -> None:
    # none of n hold: the kind is faulted from .01^(1/n) > .1 on, the truth from 10 x .1^n <= .01 on
    assert [covered(n, held=False).holds for n in (1, 2, 3)] == [None, None, False]
    assert [covered(n, held=True).holds for n in (1, 2, 3)] == [None, None, True]


def test_kinds_and_truths_that_cannot_be_faulted_are_counted() -> None:
    cases = [
        alone("often", sound=True, truths=(TRUTH,)),
        alone("seldom", sound=True, truths=(replace(TRUTH, budget=10),)),
        alone("silent", sound=True, truths=(replace(TRUTH, budget=100),)),
    ]
    told = [trial("often", r, readings=(HOLDS,)) for r in range(20)]
    told += [trial("seldom", 0, readings=(MISSES,)), trial("silent", 0, readings=(NOTHING,))]
    kinds, truths = coverage_lines(cases, told), truth_lines(cases, told)
    assert [(k.budget, k.verdict) for k in kinds] == [(1, "as said"), (10, "too few")]
    assert truths_that_can_be_missed(truths) == 1
    found = coverage_verdict(kinds, truths)
    assert found.holds is True
    assert found.text.endswith("1 of 2 kinds and 1 of 2 truths have too few audits to be faulted")
    assert "too few" not in covered(20, held=True).text


def alarmed(audits: int, flagged: int, cases: int = 1) -> tuple[list[Trial], list[VerdictLine]]:
    sound = [alone(f"sound-{i}", sound=True) for i in range(cases)]
    told = [
        trial(case.name, r, flagged=("wolf",) if r < flagged and case is sound[0] else ())
        for case in sound
        for r in range(audits)
    ]
    lines = alarm_lines(sound, told)
    return told, [alarms_verdict(alarms_in_all(lines)), noise_verdict(lines, rule_lines(sound, told))]


def test_one_audit_that_may_be_flagged_keeps_no_promise() -> None:
    _, (alarms, _) = alarmed(1, 1)
    assert alarms.holds is None
    assert alarms.text.startswith("too few audits to tell: 1 of 1 of something sound flagged it")
    assert [alarmed(2, k)[1][0].holds for k in (0, 1, 2)] == [True, True, False]


@pytest.mark.parametrize(("audits", "cases", "holds"), [(1, 1, True), (1, 30, True)])
def test_noise_is_told_if_a_case_or_a_kind_could_be_too_noisy(audits: int, cases: int, holds: bool) -> None:
    assert alarmed(audits, 0, cases)[1][1].holds is holds


def test_cases_with_too_few_audits_to_be_noisy_are_counted() -> None:
    _, (_, noise) = alarmed(1, 0, 2)  # .01 twice is more than .01, a kind's share squared is less
    assert noise.text == (
        "no case and no kind of rule stands out; 2 of 2 cases have too few audits to be faulted"
    )
    assert "too few" not in alarmed(3, 0, 2)[1][1].text


def test_where_no_case_and_no_kind_could_be_too_noisy_nothing_is_said_to_be_quiet() -> None:
    sound = [alone(f"sound-{i}", sound=True) for i in range(2)]
    told = [trial("sound-0")]
    lines, rules = alarm_lines(sound[:1], told), rule_lines(sound[:1], told)
    crowded = [*lines, *(replace(lines[0], case=f"other-{i}", trials=1) for i in range(2))]
    found = noise_verdict(crowded, rules)
    assert found.holds is None
    assert found.text == "too few audits to tell: no number of alarms would be too many"
    certain = [replace(line, noisy=line.kind == "certain") for line in rules]
    assert noise_verdict(crowded, certain).holds is False


def strangers(chance: float, hits: int, attempts: int, adversaries: int = 8) -> list[ChanceLine]:
    """The first of these adversaries has so many hits, the others none."""
    truths = tuple(replace(TRUTH, attack=f"spy-{k}", value=chance) for k in range(adversaries))
    case = alone("pairs", sound=True, truths=truths, shuffled=True)
    told = [read(0.0, 1.0, value=h / attempts, attempts=attempts) for h in (hits, *[0] * (adversaries - 1))]
    return chance_lines([case], [trial("pairs", readings=tuple(told))])


@pytest.mark.parametrize(("chance", "attempts"), [(2**-12, 4800), (2**-12, 12000), (0.01, 500)])
def test_the_fewest_hits_that_are_off_chance_are_the_fewest(chance: float, attempts: int) -> None:
    least = fewest_hits_above_chance(strangers(chance, 0, attempts)[0], 8)
    assert least is not None
    assert [strangers(chance, least - k, attempts)[0].off for k in (0, 1)] == [True, False]


def test_a_rare_key_is_not_said_to_be_no_rarer_than_chance() -> None:
    lines = strangers(2**-12, 1, 4800)
    assert not any(line.off for line in lines)
    assert not any(below_chance_can_be_seen(line, 8) for line in lines)
    found = chance_verdict(lines)
    assert found.holds is True
    assert found.text == (
        "none of 8 adversaries of shuffled pairs is shown to be off chance; above it, each by itself would "
        "be seen from 7 hits of 4800 on at the latest, where chance gives 1.17; below it, none of 8 could "
        "be seen"
    )


def test_a_key_that_chance_often_gives_can_be_hit_too_seldom() -> None:
    lines = strangers(0.02, 0, 1000)
    assert all(line.off for line in lines)
    assert all(below_chance_can_be_seen(line, 8) for line in lines)


def test_adversaries_who_could_not_be_off_chance_are_not_at_chance() -> None:
    found = chance_verdict(strangers(0.5, 1, 3))
    assert found.holds is None
    assert found.text == "too few audits to tell: no number of hits would be off chance"
