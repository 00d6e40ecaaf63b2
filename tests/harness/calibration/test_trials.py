"""From an audit to what it says of truths."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from made_up_trials import NOTHING, TRUTH, alone, read, trial

from fixtures.controls import Channel, SignCommitment
from harness.calibration.model import Control, Truth
from harness.calibration.trials import flagged, one_trial, reading, troubles
from harness.calibration.verdicts import trials_verdict
from harness.contracts import DEVICE_B
from harness.results import Audit, Finding, Row


def row(**changes: Any) -> Row:
    given: dict[str, Any] = {
        "scheme": "x", "attack": "spy", "measure": "success-odds", "budget": 1, "value": 0.5, "low": 0.4,
        "high": 0.6, "level": 0.9, "unit": "probability", "side": "attacker-at-least",
        "evidence": "counted", "data": "simulated", "subjects": 3, "attempts": 30, "method": "counting",
        "status": "measured", "reason": None,
    }  # fmt: skip
    return Row(**{**given, **changes})


def test_the_row_that_is_meant_is_read() -> None:
    others = [row(budget=10), row(attack=None), row(measure="key-rank", budget=None), row(attack="other")]
    found = reading(TRUTH, [*others, row(value=0.45)])
    assert (found.value, found.low, found.high, found.level) == (0.45, 0.4, 0.6, 0.9)
    assert (found.inside, found.problem, found.attempts) == (True, None, 30)
    assert (found.side, found.method, found.unit) == ("attacker-at-least", "counting", "probability")


@pytest.mark.parametrize(
    ("low", "high", "bound", "inside"),
    [
        (0.4, 0.6, "exact", True),
        (0.51, 0.6, "exact", False),
        (0.3, 0.49, "exact", False),
        (None, 0.6, "exact", True),
        (None, 0.49, "exact", False),
        (0.4, None, "exact", True),
        (0.51, None, "exact", False),
        (0.5, 0.5, "exact", True),
        (0.5 + 1e-14, 0.6, "exact", True),  # rounding
        (0.6, 0.7, "at-least", True),  # more than the bound may be there
        (0.6, None, "at-least", True),
        (0.3, 0.49, "at-least", False),
        (0.3, 0.4, "at-most", True),
        (None, 0.4, "at-most", True),
        (0.51, 0.6, "at-most", False),
    ],
)
def test_inside_or_not(low: float | None, high: float | None, bound: Any, inside: bool) -> None:
    assert reading(replace(TRUTH, bound=bound), [row(low=low, high=high)]).inside is inside


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ([], "no row of the result"),
        ([row(status="untested", value=None, reason="no sensor")], "untested: no sensor"),
        ([row(level=None)], "no value with a level"),
        ([row(value=None)], "no value with a level"),
        ([row(), row(method="other", unit="bit")], "2 rows .*counting in probability, other in bit"),
    ],
)
def test_a_truth_without_a_row_of_its_own_is_a_problem(rows: list[Row], says: str) -> None:
    found = reading(TRUTH, rows)
    assert found.problem is not None
    assert re.search(says, found.problem)
    assert (found.value, found.inside) == (None, None)


def test_method_and_unit_tell_rows_apart() -> None:
    rows = [row(), row(method="other", unit="bit", value=7.0)]
    assert reading(replace(TRUTH, method="other"), rows).value == 7.0
    assert reading(replace(TRUTH, unit="bit"), rows).value == 7.0


def test_flagged_means_medium_or_more() -> None:
    severities = ("note", "low", "medium", "high", "critical")
    findings = [Finding(id=s, severity=s, scheme="x", attack=None, text="") for s in (*severities, "high")]
    found = Audit(
        rows=[],
        per_subject=[],
        findings=findings,
        settings={},
        corpus={},
        schemes=[],
        attacks=[],
        versions={},
    )
    assert flagged(found) == ("critical", "high", "medium")


def test_troubles_are_named_and_counted() -> None:
    cases = [alone("a", sound=True, truths=(TRUTH, replace(TRUTH, attack=None, method="m", unit="u")))]
    trials = [
        trial("a", 0, readings=(read(0.4, 0.6), NOTHING)),
        trial("a", 1, readings=(read(0.4, 0.6), NOTHING)),
        trial("a", 2, failure="RuntimeError: broken"),
        trial("a", 3, readings=(read(0.4, 0.6), read(0.4, 0.6))),
    ]
    found = troubles(cases, trials)
    assert [(t.text, t.trials) for t in found] == [
        ("honest pair success-odds at 1 m u: untested: no", 2),
        ("failed: RuntimeError: broken", 1),
    ]
    verdict = trials_verdict(found, 4)
    assert verdict.holds is False
    assert trials_verdict([], 4).holds is True


PEOPLE = Channel(subjects=6, sessions=1, attempts=3, errors=((DEVICE_B, 0.0),))
AGREES = Truth(attack=None, measure="key-agreement", value=1.0, source="no errors")


def control(**changes: Any) -> Control:
    given: dict[str, Any] = {
        "name": "small",
        "summary": "small",
        "corpus": PEOPLE,
        "scheme": SignCommitment(code="hamming-7-4"),
        "attacks": (),
        "truths": (AGREES,),
        "sound": True,
    }
    return Control(**{**given, **changes})


def test_a_control_without_adversaries_is_audited_all_the_same() -> None:
    found = one_trial(control(), 5, 2)
    assert (found.case, found.repetition, found.seed, found.failure) == ("small", 2, 5, None)
    (told,) = found.readings
    assert (told.value, told.inside) == (1.0, True)


def test_a_trial_that_raises_is_a_failure() -> None:
    found = one_trial(control(scheme="no-such-scheme"), 5, 0)
    assert found.failure is not None
    assert "UsageError" in found.failure
    assert (found.flagged, found.readings) == ((), ())


class Exits(Channel):
    """A corpus that ends the program instead of giving people."""

    def sittings(self) -> Any:
        raise SystemExit(0)


def test_a_corpus_that_exits_is_a_failure_and_ends_nothing() -> None:
    found = one_trial(control(corpus=Exits(subjects=6, sessions=1, attempts=3)), 5, 0)
    assert found.failure is not None
    assert "SystemExit" in found.failure


def test_a_truth_that_cannot_be_read_fails_its_own_trial_only() -> None:
    broken = replace(AGREES)
    object.__setattr__(broken, "bound", "no-such")
    found = one_trial(control(truths=(broken,)), 5, 0)
    assert found.failure == "KeyError: 'no-such'"
    assert found.readings == ()


class Silent:
    name = "silent"
    sees: frozenset[str] = frozenset()

    def believe(self, view: Any, *, rng: Any) -> Any:
        raise RuntimeError("nothing to say")


def test_a_trial_with_a_failed_row_is_a_failure_that_says_why() -> None:
    found = one_trial(control(attacks=(Silent(),)), 5, 0)
    assert found.failure is not None
    assert found.failure.startswith("silent: ")
    assert "nothing to say" in found.failure
    assert len(found.readings) == 1
