"""`keyassay gate` and `keyassay baseline` as a pipeline meets them."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from gate_pipelines import METRICS, PEOPLE, result_of

from harness import cli
from harness.results import Audit, unmeasured

Run = Callable[..., int]
RANK = METRICS[8]
OLD = 40 + 5 * np.random.default_rng(0).standard_normal(PEOPLE)


def ranked(by: float, noise: float = 0.01) -> Audit:
    """Ranks that moved by so many bits, each person's by a little more or less."""
    little = np.random.default_rng(round(100 * abs(by)) + 1).standard_normal(PEOPLE)
    return result_of({RANK: OLD + by + noise * little})


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """A keyassay command in a folder of its own: its status."""
    monkeypatch.chdir(tmp_path)

    def status(*words: str) -> int:
        monkeypatch.setattr(sys, "argv", ["keyassay", *words])
        with pytest.raises(SystemExit) as left:
            cli.main()
        return int(left.value.code or 0)

    return status


@pytest.fixture
def folder(tmp_path: Path, run: Run, capsys: pytest.CaptureFixture[str]) -> Path:
    """Results of several versions, and a baseline of the first."""
    versions = {"old": 0.0, "same": 0.02, "worse": -3.0, "better": 3.0}
    for name, by in versions.items():
        (tmp_path / f"{name}.json").write_text(ranked(by).to_json(), "utf-8")
    (tmp_path / "open.json").write_text(ranked(-0.3, noise=3.0).to_json(), "utf-8")
    assert run("baseline", "old.json", "--reason", "the first", "--out", "held.json") == 0
    capsys.readouterr()
    return tmp_path


@pytest.mark.parametrize(
    ("version", "status", "word"),
    [("same", 0, "PASS"), ("better", 0, "PASS"), ("worse", 1, "FAIL"), ("open", 4, "UNDECIDED")],
)
def test_each_outcome_has_its_status_word_and_lines(
    folder: Path,
    run: Run,
    capsys: pytest.CaptureFixture[str],
    version: str,
    status: int,
    word: str,
) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert run("gate", f"{version}.json", "--baseline", "held.json") == status
    said = capsys.readouterr()
    assert said.out.startswith(word)
    assert len(said.err.splitlines()) == (0 if status == 0 else 1)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_formats_and_files(folder: Path, run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    held = ("gate", "worse.json", "--baseline", "held.json")
    assert run(*held, "--format", "json") == 1
    assert json.loads(capsys.readouterr().out)["outcome"] == "fail"
    assert run(*held, "--format", "junit") == 1
    assert ET.fromstring(capsys.readouterr().out.encode()).get("failures") != "0"
    assert run(*held, "--format", "markdown") == 1
    assert capsys.readouterr().out.startswith("## ")
    (folder / "summary.md").write_text("before\n", "utf-8")
    assert run(*held, "--junit", "gate.xml", "--summary", "summary.md") == 1
    assert ET.parse(folder / "gate.xml").getroot().tag == "testsuites"
    assert (folder / "summary.md").read_text("utf-8").startswith("before\n## ")


def test_margins_level_and_anchor(folder: Path, run: Run) -> None:
    held = ("--baseline", "held.json")
    assert run("gate", "worse.json", *held, "--margin", "key-rank=4") == 0
    assert run("gate", "worse.json", *held, "--level", "0.05") == 1
    assert run("baseline", "worse.json", "--reason", "meant", "--out", "rolling.json") == 0
    assert run("gate", "worse.json", "--baseline", "rolling.json") == 0
    assert run("gate", "worse.json", "--baseline", "rolling.json", "--anchor", "held.json") == 1


@pytest.mark.parametrize(
    "words",
    [
        ("old.json",),
        ("--baseline", "held.json"),
        ("old.json", "--baseline", "none.json"),
        ("none.json", "--baseline", "held.json"),
        ("held.json", "--baseline", "held.json"),
        ("old.json", "--baseline", "old.json"),
        ("old.json", "--baseline", "held.json", "--anchor", "old.json"),
        ("old.json", "--baseline", "held.json", "--margin", "key-rank"),
        ("old.json", "--baseline", "held.json", "--margin", "key-rank=-1"),
        ("old.json", "--baseline", "held.json", "--margin", "key-rang=1"),
        ("old.json", "--baseline", "held.json", "--margin", "key-rank=1", "--margin", "key-rank=2"),
        ("old.json", "--baseline", "held.json", "--level", "0"),
        ("old.json", "--baseline", "held.json", "--claims", "none.toml"),
        ("old.json", "--baseline", "held.json", "--junit", "none/gate.xml"),
        ("old.json", "--baseline", "held.json", "--old", "interval-gray"),
        ("--old", "interval-gray"),
        ("--old", "interval-gray", "--new", "interval-gray", "--baseline", "held.json"),
    ],
)
def test_slips_are_refused_in_one_sentence(
    folder: Path, run: Run, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    before = sorted(path.name for path in folder.iterdir())
    assert run("gate", *words) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.splitlines()) == 1
    assert said.err.startswith("keyassay: ")
    assert sorted(path.name for path in folder.iterdir()) == before


def test_a_failed_plug_in_outranks_everything(
    folder: Path, run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    row = unmeasured(
        "failed",
        "fell \x1b[31mover",
        scheme="simulated",
        attack="replay",
        measure="success-odds",
        unit="probability",
        data="simulated",
    )
    (folder / "broken.json").write_text(replace(ranked(-3.0), rows=[row]).to_json(), "utf-8")
    assert run("gate", "broken.json", "--baseline", "held.json") == 3
    said = capsys.readouterr()
    assert "\x1b" not in said.out + said.err
    assert run("baseline", "broken.json", "--reason", "x", "--out", "other.json") == 2
    assert not (folder / "other.json").exists()


def test_a_person_is_taken_out_in_place(folder: Path, run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("baseline", "held.json", "--withdraw", "3") == 0
    assert f"{PEOPLE - 1} left" in capsys.readouterr().out
    value = ranked(0.0).per_subject[3].value
    assert repr(value) in (folder / "old.json").read_text("utf-8")
    assert repr(value) not in (folder / "held.json").read_text("utf-8")
    assert run("gate", "same.json", "--baseline", "held.json") == 0
    assert "withdrawn" in capsys.readouterr().out
    whole = (folder / "held.json").read_bytes()
    assert run("baseline", "held.json", "--withdraw", "3") == 2
    assert run("baseline", "held.json", "--withdraw", "4", "--reason", "x") == 2
    assert run("baseline", "held.json") == 2
    assert (folder / "held.json").read_bytes() == whole


def git(folder: Path, *words: str) -> None:
    who = ("-c", "user.name=keyassay", "-c", "user.email=keyassay@invalid")
    subprocess.run(["git", "-C", str(folder), *who, *words], check=True, capture_output=True)


@pytest.mark.skipif(shutil.which("git") is None, reason="git is not there")
def test_a_change_that_edits_what_it_is_judged_by_is_told_on(
    folder: Path, run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    def said(*words: str) -> bool:
        assert run("gate", "same.json", "--baseline", "held.json", *words) == 0
        return "edits held.json" in " ".join(capsys.readouterr().out.split())

    assert not said()  # no work tree: nothing to say
    git(folder, "init", "-b", "main")
    git(folder, "commit", "--allow-empty", "-m", "nothing yet")
    assert said()  # never committed
    git(folder, "add", "held.json")
    git(folder, "commit", "-m", "the first")
    assert not said()
    assert said("--since", "HEAD~1")
    git(folder, "checkout", "-b", "change")
    git(folder, "checkout", "main")
    assert run("baseline", "same.json", "--reason", "meanwhile", "--out", "held.json") == 0
    assert said()  # not committed
    git(folder, "commit", "-am", "meanwhile")
    git(folder, "checkout", "change")
    assert not said("--since", "main")  # main moved on, this change did not
    assert run("gate", "same.json", "--baseline", "held.json", "--since", "--output=x") == 0
    assert "not known" in capsys.readouterr().out
    assert not (folder / "x").exists()


def test_a_missing_git_stops_nothing(
    folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PATH", "")
    assert run("gate", "same.json", "--baseline", "held.json", "--since", "main") == 0
    assert "edits" not in capsys.readouterr().out


def test_claims_change_margins_status_and_are_told_apart(
    folder: Path, run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "claims.toml").write_text("version = 1\n[margins]\nkey-rank = 4.0\n", "utf-8")
    words = ("--baseline", "held.json", "--claims", "claims.toml", "--format", "json")
    status = run("gate", "worse.json", *words)
    verdict = json.loads(capsys.readouterr().out)
    assert verdict["outcome"] == "pass"
    assert status == 4  # threats that nobody scoped out
    assert {t["threat"] for t in verdict["claims"]["open_threats"]} >= {"relay", "camera"}
    run("gate", "worse.json", *words[:-1], "markdown", "--summary", "summary.md")
    for text in (capsys.readouterr().out, (folder / "summary.md").read_text("utf-8")):
        assert "Open threat relay" in text
    assert (
        run("baseline", "old.json", "--reason", "x", "--claims", "claims.toml", "--out", "beside.json") == 0
    )
    beside = ("gate", "same.json", "--baseline", "beside.json", "--margin", "key-rank=2")
    capsys.readouterr()
    assert run(*beside) == 0
    assert "given none" in capsys.readouterr().out
    (folder / "claims.toml").write_text("version = 1\n[margins]\nkey-rank = 3.0\n", "utf-8")
    run(*beside, "--claims", "claims.toml")
    assert "not the one" in " ".join(capsys.readouterr().out.split())


def test_two_versions_under_one_tool_may_have_one_name(
    run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    size = ("--subjects", "3", "--sessions", "1", "--attempts", "2", "--attack", "population")
    assert run("gate", "--old", "interval-gray", "--new", "interval-gray", *size) == 0
    assert "identical" in capsys.readouterr().out
