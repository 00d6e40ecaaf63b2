"""Intervals that cover, and intervals that do not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from made_up_trials import NOTHING, TRUTH, alone, read, trial
from scipy.stats import beta, binom

from harness.calibration.coverage import coverage_lines, truth_lines
from harness.calibration.lines import Trial
from harness.calibration.model import Truth
from harness.calibration.verdicts import coverage_verdict

HOLDS, MISSES = read(0.4, 0.6), read(0.6, 0.7)


def trials(name: str, inside: int, outside: int) -> list[Trial]:
    readings = [HOLDS] * inside + [MISSES] * outside
    return [trial(name, r, readings=(one,)) for r, one in enumerate(readings)]


def test_coverage_is_counted_over_cases_and_seeds() -> None:
    cases = [alone(name, sound=True, truths=(TRUTH,)) for name in ("a", "b")]
    told = [*trials("a", 9, 1), *trials("b", 10, 0)]
    (line,) = coverage_lines(cases, told)
    assert (line.covered, line.readings, line.audits, line.share) == (19, 20, 20, 0.95)
    assert (line.low, line.high) == pytest.approx((beta.ppf(0.025, 19, 2), beta.ppf(0.975, 20, 1)))
    assert (line.nominal, line.verdict) == (0.9, "as said")
    assert coverage_verdict([line], truth_lines(cases, told)).holds is True


def test_an_interval_that_is_too_narrow_is_seen() -> None:
    cases = [alone("a", sound=True, truths=(TRUTH,))]
    told = trials("a", 60, 40)
    (line,) = coverage_lines(cases, told)
    assert line.verdict == "too narrow"
    assert line.at_most < 0.9
    (truth,) = truth_lines(cases, told)
    assert truth.missed
    assert truth.p == pytest.approx(binom.cdf(60, 100, 0.9))
    verdict = coverage_verdict([line], [truth])
    assert verdict.holds is False
    assert "success-odds by counting" in verdict.text
    assert "of spy in a (60 of 100)" in verdict.text


def test_an_interval_that_always_holds_is_conservative_once_there_are_enough() -> None:
    cases = [alone("a", sound=True, truths=(TRUTH,))]
    assert [line.verdict for line in coverage_lines(cases, trials("a", 20, 0))] == ["as said"]
    assert [line.verdict for line in coverage_lines(cases, trials("a", 100, 0))] == ["conservative"]


def test_one_wrong_truth_is_seen_among_many_right_ones() -> None:
    cases = [alone(f"c{i}", sound=True, truths=(TRUTH,)) for i in range(30)]
    told = trials("c0", 9, 11)
    for i in range(1, 30):
        told += trials(f"c{i}", 20, 0)
    (line,) = coverage_lines(cases, told)
    assert line.verdict != "too narrow"
    assert [truth.case for truth in truth_lines(cases, told) if truth.missed] == ["c0"]


def test_readings_of_one_audit_count_as_one() -> None:
    """Ten adversaries who see the same thing miss together: one bad audit is one, not ten."""
    truths = tuple(replace(TRUTH, attack=f"spy-{i}") for i in range(10))
    cases = [alone("a", sound=True, truths=truths)]
    told = [trial("a", r, readings=(HOLDS if r else MISSES,) * 10) for r in range(5)]
    (line,) = coverage_lines(cases, told)
    assert (line.covered, line.readings, line.audits, line.share) == (40, 50, 5, 0.8)
    assert line.verdict == "as said"
    apart = [alone(f"a{i}", sound=True, truths=(TRUTH,)) for i in range(50)]
    dependent = [t for i in range(50) for t in trials(f"a{i}", int(i < 40), int(i >= 40))]
    assert coverage_lines(apart, dependent)[0].high < line.high


def test_a_share_between_counts_gets_the_wider_interval() -> None:
    truths = (TRUTH, replace(TRUTH, attack="other"))
    (line,) = coverage_lines(
        [alone("a", sound=True, truths=truths)], [trial("a", readings=(HOLDS, MISSES))]
    )
    assert (line.share, line.low, line.high) == (0.5, 0.0, 1.0)


def test_kinds_levels_and_bounds_are_kept_apart() -> None:
    truths = (
        TRUTH,
        replace(TRUTH, bound="at-least"),
        replace(TRUTH, budget=10),
        Truth(attack=None, measure="key-agreement", value=0.5, source="counting"),
        replace(TRUTH, attack="other"),
    )
    readings = (HOLDS, HOLDS, HOLDS, HOLDS, replace(HOLDS, level=0.95))
    lines = coverage_lines([alone("a", sound=True, truths=truths)], [trial("a", readings=readings)])
    assert [(x.measure, x.budget, x.bound, x.nominal) for x in lines] == [
        ("key-agreement", None, "exact", 0.9),
        ("success-odds", 1, "at-least", 0.9),
        ("success-odds", 1, "exact", 0.9),
        ("success-odds", 1, "exact", 0.95),
        ("success-odds", 10, "exact", 0.9),
    ]


def test_what_tells_nothing_is_not_counted_and_not_hidden() -> None:
    cases = [alone("a", sound=True, truths=(TRUTH,))]
    told = [
        trial("a", 0, readings=(HOLDS,)),
        trial("a", 1, readings=(NOTHING,)),
        trial("a", 2, failure="it broke"),
    ]
    (line,) = truth_lines(cases, told)
    assert (line.inside, line.measured, line.trials) == (1, 1, 3)
    assert coverage_lines(cases, told)[0].audits == 1
    (silent,) = truth_lines(cases, [trial("a", readings=(NOTHING,))])
    assert (silent.mean, silent.p, silent.missed, silent.measured) == (None, None, False, 0)
    assert coverage_verdict([], [silent]).holds is None


def test_the_mean_is_over_seeds() -> None:
    cases = [alone("a", sound=True, truths=(TRUTH,))]
    told = [trial("a", r, readings=(replace(HOLDS, value=v),)) for r, v in enumerate((0.4, 0.8))]
    (line,) = truth_lines(cases, told)
    assert line.mean == pytest.approx(0.6)
    assert (line.method, line.unit, line.side) == ("counting", "probability", "attacker-at-least")
