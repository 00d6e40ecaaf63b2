"""A whole calibration of small cases, and its record."""

from __future__ import annotations

import json
from importlib.resources import files

import pytest
from made_up_trials import TRUTH, alone, pair, read, trial

import harness.calibration
from fixtures.controls import Channel, SignCommitment
from harness.calibration import Calibration, Control, Flaw, Truth, calibrate
from harness.calibration.calibrating import weighed
from harness.calibration.record import calibration_schema
from harness.contracts import DEVICE_B
from harness.errors import UsageError

ODDS = Truth(attack="distant-sensor", measure="success-odds", budget=1, value=1.0, source="it sees all")


def small(name: str, error: float, *, sound: bool) -> Control:
    """A sensor with so many signs wrong; at a half it sees nothing."""
    return Control(
        name=name,
        summary=f"A sensor with {error} of the signs wrong",
        corpus=Channel(
            subjects=10, sessions=1, attempts=4, length=7, errors=((DEVICE_B, 0.0), ("remote", error))
        ),
        scheme=SignCommitment(code="hamming-7-4"),
        attacks=("distant-sensor",),
        truths=() if sound else (ODDS,),
        sound=sound,
    )


SEEN = Flaw(
    planted=small("seen", 0.0, sound=False),
    twin=small("unseen", 0.5, sound=True),
    found_by=frozenset({"odds-above-promise"}),
    met="across the room",
)


@pytest.fixture(scope="module")
def found() -> Calibration:
    return calibrate([], [SEEN], seeds=2, seed=3)


def test_a_flaw_is_found_and_its_twin_is_not_flagged(found: Calibration) -> None:
    (line,) = found.detection
    assert (line.case, line.found, line.trials) == ("seen", 2, 2)
    assert [(x.case, x.flagged, x.trials) for x in found.sound] == [("unseen", 0, 2)]
    (truth,) = found.truths
    assert (truth.mean, truth.inside, truth.measured) == (1.0, 2, 2)
    assert found.complete
    assert found.well
    assert found.verdict("chance").holds is None
    assert [t.case for t in found.trials] == ["seen", "unseen"] * 2


def test_workers_change_nothing(found: Calibration) -> None:
    again = calibrate([], [SEEN], seeds=2, seed=3, jobs=2, only=["unseen"])
    assert again.trials == [t for t in found.trials if t.case == "unseen"]
    assert again.sound == found.sound


def test_one_case_more_changes_no_other(found: Calibration) -> None:
    more = calibrate([small("another", 0.0, sound=False)], [SEEN], seeds=1, seed=3)
    assert more.trials[1:] == found.trials[:2]
    assert len({t.seed for t in (*more.trials, *found.trials)}) == 5


def test_a_wrong_truth_and_a_wrong_finding_are_missed_promises() -> None:
    cases = [*pair("leak", "right"), alone("known", sound=True, truths=(TRUTH,))]
    trials = [trial("leak", r, flagged=("wrong",)) for r in range(20)]
    trials += [trial("leak-twin", r) for r in range(20)]
    trials += [trial("known", r, readings=(read(0.6, 0.7),)) for r in range(20)]
    told = weighed(cases, trials, settings={})
    assert {v.id: v.holds for v in told.verdicts} == {
        "trials": True,
        "found": False,
        "alarms": True,
        "noise": True,
        "coverage": False,
        "chance": None,
    }
    assert told.complete
    assert not told.well


def test_the_record_reads_back(found: Calibration) -> None:
    text = found.to_json()
    assert Calibration.from_json(text).to_json() == text
    content = json.loads(text)
    assert content["settings"] == {
        "seed": 3,
        "seeds": 2,
        "command": ["keyassay", "calibrate", "--seeds", "2", "--seed", "3"],
    }
    assert "jobs" not in text


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        (lambda c: {**c, "version": 2}, "got 2 at version"),
        (lambda c: {**c, "more": 1}, "at more"),
        (lambda c: {k: v for k, v in c.items() if k != "trials"}, "at trials"),
    ],
)
def test_a_damaged_record_is_refused_in_a_sentence(found: Calibration, damage: object, says: str) -> None:
    assert callable(damage)
    with pytest.raises(ValueError, match=says) as error:
        Calibration.from_json(json.dumps(damage(json.loads(found.to_json()))))
    assert "\n" not in str(error.value)


def test_the_package_holds_the_schema_that_the_code_checks() -> None:
    published = json.loads((files("harness") / "calibration.schema.json").read_text("utf-8"))
    assert published == calibration_schema()


@pytest.mark.parametrize("wrong", [{"seeds": 0}, {"jobs": 0}, {"seed": -1}])
def test_numbers_out_of_range_are_refused(wrong: dict[str, int]) -> None:
    with pytest.raises(UsageError, match=f"`{next(iter(wrong))}` must be at least"):
        calibrate([], [SEEN], **wrong)  # type: ignore[arg-type]


def test_the_package_offers_no_other_name() -> None:
    with pytest.raises(AttributeError, match="no attribute 'calibration'"):
        _ = harness.calibration.calibration


def test_progress_and_the_time_it_takes_are_told() -> None:
    steps: list[tuple[str, int, int]] = []
    said: list[str] = []
    calibrate([], [SEEN], seeds=1, only=["unseen"], progress=lambda *s: steps.append(s), told=said.append)
    assert steps == [("calibrate", 0, 1), ("calibrate", 1, 1)]
    assert said == ["under a minute for 1 trial on 1 process, undisturbed"]
