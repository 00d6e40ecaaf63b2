"""False alarms: the promise, and whoever breaks it."""

from __future__ import annotations

import pytest
from made_up_trials import alone, pair, trial
from scipy.stats import binom

from harness.calibration.alarms import CERTAIN, alarm_lines, alarms_in_all, rule_lines
from harness.calibration.counts import allowed
from harness.calibration.lines import Trial
from harness.calibration.verdicts import alarms_verdict, noise_verdict
from harness.rules import KINDS, SHARE


@pytest.mark.parametrize(("audits", "most"), [(40, 3), (320, 9)])
def test_the_most_alarms_that_the_promise_allows(audits: int, most: int) -> None:
    assert allowed(audits, 0.01) == most
    assert binom.cdf(most, audits, 0.01) >= 0.995 > binom.cdf(most - 1, audits, 0.01)


def quiet(name: str, count: int) -> list[Trial]:
    return [trial(name, r) for r in range(count)]


def noisy(name: str, count: int, alarms: int) -> list[Trial]:
    return [trial(name, r, flagged=("wolf",) if r < alarms else ()) for r in range(count)]


@pytest.mark.parametrize(("alarms", "holds"), [(3, True), (4, False)])
def test_the_promise_is_judged_over_all_sound_audits(alarms: int, holds: bool) -> None:
    cases = [*pair("leak", "right"), alone("sound", sound=True)]
    trials = [*noisy("leak", 20, 20), *noisy("leak-twin", 20, alarms), *quiet("sound", 20)]
    found = alarms_in_all(alarm_lines(cases, trials))
    assert found is not None
    assert (found.flagged, found.trials, found.allowed) == (alarms, 40, 3)
    assert found.low < alarms / 40 < found.high
    assert alarms_verdict(found).holds is holds


def test_a_noisy_twin_is_seen_among_many_quiet_ones() -> None:
    cases = [*pair("leak", "right"), *(alone(f"sound-{i}", sound=True) for i in range(30))]
    trials = [*quiet("leak", 20), *noisy("leak-twin", 20, 6)]
    for i in range(30):
        trials += quiet(f"sound-{i}", 20)
    lines = alarm_lines(cases, trials)
    assert alarms_verdict(alarms_in_all(lines)).holds is True  # 6 of 620: 13 are allowed
    assert [line.case for line in lines if line.noisy] == ["leak-twin"]
    assert lines[0].counts == {"wolf": 6}
    verdict = noise_verdict(lines, [])
    assert verdict.holds is False
    assert "leak-twin (6 of 20)" in verdict.text


def test_a_kind_of_rule_is_judged_by_its_share_and_by_what_is_sound_alone() -> None:
    cases = [*pair("leak", "keys-repeat"), alone("sound", sound=True)]
    trials = [trial("leak", r, flagged=("keys-repeat",)) for r in range(20)]
    told = [("blind-key-bits",), ("blind-key-bits", "blind-helper-values"), ("blind-key-blocks",)]
    trials += [trial("leak-twin", r, flagged=ids) for r, ids in enumerate(told)]
    trials += quiet("sound", 20)
    lines = {line.kind: line for line in rule_lines(cases, trials)}
    assert set(lines) == {*KINDS, CERTAIN}
    assert (lines["repeats"].flagged, lines["repeats"].trials) == (0, 23)
    blind = lines["detectors"]
    assert blind.counts == {"blind-helper-values": 1, "blind-key-bits": 2, "blind-key-blocks": 1}
    assert (blind.flagged, blind.share) == (3, SHARE)  # three audits, not four findings
    assert blind.p == pytest.approx(len(lines) * binom.sf(2, 23, SHARE))
    assert [line.kind for line in lines.values() if line.noisy] == ["detectors"]
    verdict = noise_verdict([], list(lines.values()))
    assert verdict.holds is None  # no case
    verdict = noise_verdict(alarm_lines(cases, trials), list(lines.values()))
    assert verdict.holds is False
    assert "kind detectors (3 of 23)" in verdict.text


def test_a_rule_that_is_certain_may_never_flag_what_is_sound() -> None:
    cases = [alone("sound", sound=True)]
    trials = [*quiet("sound", 500), trial("sound", 500, flagged=("disclosure-wrong",))]
    (line,) = (line for line in rule_lines(cases, trials) if line.noisy)
    assert (line.kind, line.flagged, line.share, line.p) == (CERTAIN, 1, 0.0, 0.0)


def test_a_finding_that_no_rule_makes_is_a_kind_of_its_own() -> None:
    cases = [alone("sound", sound=True)]
    (line,) = (x for x in rule_lines(cases, noisy("sound", 20, 1)) if x.flagged)
    assert (line.kind, line.counts, line.share) == ("wolf", {"wolf": 1}, SHARE)


def test_a_failed_audit_is_no_quiet_one() -> None:
    trials = [trial("sound", 0), trial("sound", 1, failure="it broke", flagged=("wolf",))]
    (line,) = alarm_lines([alone("sound", sound=True)], trials)
    assert (line.flagged, line.trials) == (0, 1)


def test_without_anything_sound_nothing_is_said() -> None:
    cases, trials = [alone("open", sound=False)], quiet("open", 2)
    lines = alarm_lines(cases, trials)
    assert alarms_in_all(lines) is None
    assert alarms_verdict(None).holds is None
    assert noise_verdict(lines, rule_lines(cases, trials)).holds is None
