"""Flaws found, and found by the right finding."""

from __future__ import annotations

import pytest
from made_up_trials import alone, pair, trial

from harness.calibration.detection import at_least_all, detection_lines
from harness.calibration.verdicts import found_verdict


def test_a_flaw_is_found_by_a_finding_that_names_it_and_by_no_other() -> None:
    cases = pair("leak", "right", "right-too")
    trials = [
        trial("leak", 0, flagged=("right", "wrong")),
        trial("leak", 1, flagged=("wrong",)),
        trial("leak", 2, flagged=("right-too",)),
        *(trial("leak-twin", r) for r in range(3)),
    ]
    (line,) = detection_lines(cases, trials)
    assert (line.case, line.found, line.trials) == ("leak", 2, 3)
    assert line.counts == {"right": 1, "right-too": 1, "wrong": 2}
    assert line.found_by == ("right", "right-too")
    verdict = found_verdict([line])
    assert verdict.holds is False
    assert "leak (2 of 3)" in verdict.text


def test_a_control_without_a_twin_may_be_flagged_by_anything_and_comes_last() -> None:
    cases = [alone("open", sound=False), alone("sound", sound=True), *pair("leak", "right")]
    trials = [
        trial("open", flagged=("whatever",)),
        trial("sound"),
        trial("leak", flagged=("right",)),
        trial("leak-twin"),
    ]
    lines = detection_lines(cases, trials)
    assert [(line.case, line.found) for line in lines] == [("leak", 1), ("open", 1)]
    assert found_verdict(lines).holds is True


def test_a_failed_trial_found_nothing_and_stays_in_the_count() -> None:
    trials = [
        trial("leak", 0, flagged=("right",)),
        trial("leak", 1, flagged=("right",), failure="it broke"),
        trial("leak-twin"),
    ]
    (line,) = detection_lines(pair("leak", "right"), trials)
    assert (line.found, line.trials) == (1, 2)


def test_the_lower_limit_is_exact() -> None:
    trials = [trial("leak", r, flagged=("right",)) for r in range(20)] + [trial("leak-twin")]
    (line,) = detection_lines(pair("leak", "right"), trials)
    assert line.at_least == pytest.approx(0.05 ** (1 / 20))  # twenty of twenty


def test_limits_for_each_flaw_and_for_all_at_once_are_told_apart() -> None:
    cases = [case for k in range(10) for case in pair(f"leak-{k}", "right")]
    trials = [trial(f"leak-{k}", r, flagged=("right",)) for k in range(10) for r in range(20)]
    trials += [trial(f"leak-{k}-twin") for k in range(10)]
    lines = detection_lines(cases, trials)
    assert at_least_all(lines) == pytest.approx((0.05 / 10) ** (1 / 20))
    assert (
        "each by itself is found with a chance of at least 0.86, all at once with at least 0.77 each"
        in (found_verdict(lines).text)
    )
    with pytest.raises(ValueError, match="one flaw at least, got none"):
        at_least_all([])


def test_without_anything_unsound_nothing_is_said() -> None:
    assert found_verdict(detection_lines([alone("sound", sound=True)], [trial("sound")])).holds is None
