"""The command: refusals in one sentence, statuses, and whole files or none."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from command_line import run
from made_up_trials import TRUTH, alone, pair, read, trial

from harness.calibration import Calibration, calibrating
from harness.calibration.calibrating import weighed
from harness.calibration.lines import Trial


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--quick", "--seeds", "3"], "--quick sets the number of seeds"),
        (["--seeds", "0"], "0 is not in the range x>=1"),
        (["--seed", "-1"], "-1 is not in the range x>=0"),
        (["--jobs", "0"], "0 is not in the range x>=1"),
        (["--only", "noisy-sensr"], "got 'noisy-sensr': the nearest is 'noisy-sensor'; `keyassay list`"),
        (["--format", "xml"], "'xml' is not one of 'text', 'json'"),
        (["more"], "unexpected extra argument"),
    ],
)
def test_usage_errors_are_one_sentence(
    words: list[str], says: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    out = tmp_path / "out"
    status, printed, told = run(capsys, "calibrate", *words, "--out", str(out))
    assert status == 2
    assert printed == ""
    assert says in told
    assert told.startswith("keyassay: ")
    assert told.count("\n") == 1
    assert not out.exists()


def test_a_place_that_cannot_be_written_is_refused_first(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("")
    status, _, told = run(capsys, "calibrate", "--out", str(tmp_path / "file" / "out"))
    assert status == 2
    assert "`--out` must be a folder that can be written" in told
    assert "This takes" not in told


MISSED = trial("known", readings=(read(0.6, 0.7),))


def result(**changes: Any) -> Calibration:
    """Of a flaw and a control; changes: trials of the flaw, its twin or the control."""
    cases = [*pair("leak", "right"), alone("known", sound=True, truths=(TRUTH,))]
    trials: dict[str, Trial] = {
        "leak": trial("leak", flagged=("right",)),
        "twin": trial("leak-twin"),
        "known": trial("known", readings=(read(0.4, 0.6),)),
    }
    command = ["keyassay", "calibrate"]
    settings = {"seed": 0, "seeds": 1, "command": command}
    return weighed(cases, list({**trials, **changes}.values()), settings=settings)


@pytest.mark.parametrize(
    ("changes", "status"),
    [
        ({}, 0),
        ({"leak": trial("leak", flagged=("wrong",))}, 1),
        ({"known": trial("known", failure="RuntimeError: broken")}, 3),
        (
            {
                "leak": trial("leak", flagged=("wrong",)),
                "known": trial("known", failure="RuntimeError: broken"),
            },
            3,
        ),
    ],
)
def test_status_and_files(
    changes: dict[str, Any],
    status: int,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    found = result(**changes)
    asked: dict[str, Any] = {}

    def ran(*_: Any, **options: Any) -> Calibration:
        asked.update(options)
        options["told"]("about a day")
        return found

    monkeypatch.setattr(calibrating, "calibrate", ran)
    words = ["calibrate", "--quick", "--jobs", "2", "--only", "leak", "--out", str(tmp_path / "out")]
    got, printed, told = run(capsys, *words)
    assert got == status
    assert (asked["seeds"], asked["seed"], asked["jobs"], asked["only"]) == (2, 0, 2, ("leak",))
    assert "This takes about a day." in told
    assert ("not counted: known, 1 of 1: failed: RuntimeError: broken" in told) is (status == 3)
    files = {p.name for p in (tmp_path / "out").iterdir()}
    assert files == {"calibration.json", "calibration.txt", "calibration.html"}
    assert (tmp_path / "out" / "calibration.txt").read_text("utf-8") == printed
    assert (tmp_path / "out" / "calibration.json").read_text("utf-8") == found.to_json()


def test_what_was_not_measured_is_said_and_changes_no_status(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(calibrating, "calibrate", lambda *_, **__: result(known=MISSED))
    status, printed, told = run(capsys, "calibrate", "--quick")
    assert status == 0
    assert re.search(r"^not tested  coverage  too few audits to tell: 0 of 1 intervals", printed, re.M)
    assert "not tested: coverage: too few audits to tell: 0 of 1 intervals hold the truth" in told
    assert "not tested: found" not in told


def test_json_is_printed_alone(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    seeds = []
    monkeypatch.setattr(
        calibrating, "calibrate", lambda *_, **options: (seeds.append(options["seeds"]), result())[1]
    )
    status, printed, _ = run(capsys, "calibrate", "--format", "json")
    assert status == 0
    assert seeds == [20]
    assert json.loads(printed)["version"] == 1


def test_an_interruption_leaves_nothing_behind(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    def interrupted(*_: Any, **__: Any) -> Calibration:
        raise KeyboardInterrupt

    monkeypatch.setattr(calibrating, "calibrate", interrupted)
    status, printed, told = run(capsys, "calibrate", "--out", str(tmp_path / "out"))
    assert (status, printed) == (130, "")
    assert told.strip().endswith("keyassay: interrupted")
    assert not (tmp_path / "out").exists()


def test_names_complete() -> None:
    from harness.cli.calibrating import complete_cases

    found = {item.value for item in complete_cases(None, None, "noisy")}
    assert "noisy-sensor" in found
    assert "shuffled-pairs" not in found
