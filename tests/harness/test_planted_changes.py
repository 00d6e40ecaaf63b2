"""The gate tells every planted change apart, on the same people and streams."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from planted_changes import Biased, First, FreshAndHabit, OneParityMore, Rewritten, TruncatedSeed

from harness import audit
from harness.baseline import Baseline, baseline_of
from harness.gating import gate
from harness.results import Audit
from harness.verdicts import Verdict

ATTACKS = ["population", "helper-leak", "distant-sensor", "replay"]


@cache
def run(scheme: Any) -> Audit:
    return audit(scheme, attacks=ATTACKS, corpus=FreshAndHabit())


@pytest.fixture(scope="module")
def baseline() -> Baseline:
    return baseline_of(run(First()), reason="first version")


def failed(verdict: Verdict) -> set[tuple[str, str]]:
    return {(c.metric.attack, c.metric.measure) for c in verdict.of("fail")}


@pytest.mark.parametrize(
    ("later", "must_fail"),
    [
        pytest.param(
            First(threshold=0.4), {("helper-leak", "key-rank"), ("", "min-entropy")}, id="threshold"
        ),
        pytest.param(
            Biased(),
            {("helper-leak", "key-rank"), ("", "min-entropy")},
            id="bias",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            OneParityMore(),
            {("helper-leak", "key-rank"), ("", "min-entropy")},
            id="parity",
            marks=pytest.mark.slow,
        ),
        pytest.param(First(code="hamming-7-4", blocks=6), {("", "key-agreement")}, id="weaker code"),
        pytest.param(
            First(start=46),
            {("replay", "success-odds"), ("replay", "key-rank")},
            id="freshness",
            marks=pytest.mark.slow,
        ),
        pytest.param(TruncatedSeed(), {("", "key-repeats"), ("population", "key-rank")}, id="seed"),
    ],
)
def test_a_leak_fails_where_it_leaks(
    baseline: Baseline, later: First, must_fail: set[tuple[str, str]]
) -> None:
    verdict = gate(run(later), baseline=baseline)
    assert verdict.outcome == "fail"
    assert must_fail <= failed(verdict)


def test_slower_but_equal_fails_on_time_alone(baseline: Baseline) -> None:
    verdict = gate(run(First(seconds=30.0)), baseline=baseline)
    assert verdict.outcome == "fail"
    assert failed(verdict) == {("", "time")}
    assert all(c.identical for c in verdict.comparisons if c.metric.measure != "time")


@pytest.mark.slow
def test_a_little_slower_passes(baseline: Baseline) -> None:
    verdict = gate(run(First(seconds=24.0)), baseline=baseline)
    assert verdict.outcome == "pass"


def test_a_renaming_is_no_change(baseline: Baseline) -> None:
    verdict = gate(run(First(name="renamed")), baseline=baseline)
    assert verdict.outcome == "pass"
    assert all(c.identical for c in verdict.comparisons)
    assert any("renamed" in notice for notice in verdict.notices)


@pytest.mark.slow
def test_other_workers_and_another_writing_of_the_scheme_are_no_change(baseline: Baseline) -> None:
    busy = audit(Rewritten(), attacks=ATTACKS, corpus=FreshAndHabit(), jobs=2, chunk=7)
    verdict = gate(busy, baseline=baseline)
    assert verdict.outcome == "pass"
    assert all(c.identical for c in verdict.comparisons)
    assert baseline_of(busy, reason="x").schemes[0].digest != baseline.schemes[0].digest


def test_better_passes_and_says_how_to_keep_it() -> None:
    worse = baseline_of(run(First(threshold=0.4)), reason="biased")
    verdict = gate(run(First()), baseline=worse)
    better = {(c.metric.attack, c.metric.measure) for c in verdict.comparisons if c.better}
    assert {("helper-leak", "key-rank"), ("", "min-entropy")} <= better
    # centred bits differ more often between the devices: what is better in secrecy is worse in agreement
    assert failed(verdict) <= {("", "key-agreement"), ("", "bit-mismatch")}
    harmless = replace(
        run(First()), per_subject=[p for p in run(First()).per_subject if p.attack is not None]
    )
    assert not any(c.better for c in gate(harmless, baseline=baseline_of(harmless, reason="x")).comparisons)


@pytest.mark.slow
def test_two_versions_under_one_tool(baseline: Baseline) -> None:
    verdict = gate(run(Biased()), baseline=run(First()))
    assert verdict.outcome == "fail"
    assert {c.against for c in verdict.comparisons} == {"old"}


def test_leaks_below_the_margin_do_not_add_up_past_the_anchor(baseline: Baseline) -> None:
    steps = [First(threshold=t) for t in (0.1, 0.2, 0.3)]
    rolling = baseline
    outcomes = []
    for step in steps:
        found = run(step)
        verdict = gate(found, baseline=rolling, anchor=baseline)
        outcomes.append(verdict.outcome)
        rolling = baseline_of(found, reason="a small step")
    assert outcomes[-1] == "fail"
    assert any(c.against == "anchor" for c in verdict.of("fail"))
