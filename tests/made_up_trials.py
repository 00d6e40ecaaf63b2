"""Made-up cases and trials: what a calibration computes can be checked without an audit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from harness.calibration.cases import Case
from harness.calibration.lines import Reading, Trial
from harness.calibration.model import Control, Flaw, Truth

TRUTH = Truth(attack="spy", measure="success-odds", budget=1, value=0.5, source="counting")


@dataclass(frozen=True)
class Nobody:
    """A corpus that nothing reads."""

    seed: int = 0
    shuffled: bool = False


def control(name: str, *, sound: bool, truths: tuple[Truth, ...] = (), shuffled: bool = False) -> Control:
    return Control(
        name=name,
        summary="made up",
        corpus=Nobody(shuffled=shuffled),
        scheme=None,
        attacks=("spy",),
        truths=truths,
        sound=sound,
    )


def alone(name: str, *, sound: bool, truths: tuple[Truth, ...] = (), shuffled: bool = False) -> Case:
    return Case(control=control(name, sound=sound, truths=truths, shuffled=shuffled), role="control")


def pair(name: str, *found_by: str) -> list[Case]:
    planted, twin = control(name, sound=False), control(f"{name}-twin", sound=True)
    flaw = Flaw(planted=planted, twin=twin, found_by=frozenset(found_by), met="nowhere")
    return [
        Case(control=planted, role="planted", flaw=flaw),
        Case(control=twin, role="twin", flaw=flaw),
    ]


def read(low: float | None, high: float | None, *, truth: float = 0.5, **changes: Any) -> Reading:
    inside = (low is None or low <= truth) and (high is None or truth <= high)
    given: dict[str, Any] = {
        "value": 0.5,
        "low": low,
        "high": high,
        "level": 0.9,
        "side": "attacker-at-least",
        "method": "counting",
        "unit": "probability",
        "attempts": 100,
        "inside": inside,
        "problem": None,
    }
    return Reading(**{**given, **changes})


NOTHING = read(
    None,
    None,
    value=None,
    level=None,
    side=None,
    method=None,
    unit=None,
    inside=None,
    problem="untested: no",
)


def trial(
    case: str,
    repetition: int = 0,
    *,
    flagged: tuple[str, ...] = (),
    readings: tuple[Reading, ...] = (),
    failure: str | None = None,
) -> Trial:
    return Trial(
        case=case,
        repetition=repetition,
        seed=repetition,
        flagged=flagged,
        readings=readings,
        failure=failure,
    )
