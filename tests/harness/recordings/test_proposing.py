"""A manifest proposed from names: what fits, what does not, and what is asked for."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import numpy as np
import pytest
from command_line import run
from hypothesis import given
from hypothesis import strategies as st
from recorded_files import edf, record, signal

from harness.errors import CorpusError, UsageError
from harness.recordings import open_corpus
from harness.recordings.manifest import OPTIONAL, REQUIRED, parse_manifest, row_schema
from harness.recordings.proposing import Pattern

NAMES = "{subject}_{session}_{attempt}_{role}.csv"


@pytest.fixture
def lab(tmp_path: Path) -> Path:
    folder = tmp_path / "lab"
    folder.mkdir()
    rng = np.random.default_rng(0)
    for subject in ("ann", "bo"):
        for attempt in "12":
            for role in ("device-a", "device-b"):
                values = "\n".join(f"{v:.2f}" for v in rng.normal(scale=50, size=300))
                (folder / f"{subject}_am_{attempt}_{role}.csv").write_text(f"v\n{values}\n")
    (folder / "notes.csv").write_text("v\n1\n")
    (folder / "readme.txt").write_text("hello")
    return folder


ALL = ("--pattern", NAMES, "--signal", "emg", "--rate", "1000", "--unit", "uV")


def test_what_is_written_is_a_corpus(lab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(
        capsys, "manifest", str(lab), *ALL, "--set", "condition=dry", "--out", str(lab / "manifest.csv")
    )
    assert status == 0
    assert "8 rows" in out
    assert err.splitlines() == ["left out: notes.csv does not fit the pattern"]
    corpus = open_corpus(lab)
    corpus.check()
    assert corpus.describe()["conditions"] == ["dry"]
    assert [(s.subject, s.attempts) for s in corpus.sittings()] == [(0, 2), (1, 2)]


def test_standard_output_holds_the_same(lab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "manifest", str(lab), *ALL)
    assert status == 0
    rows = list(csv.DictReader(io.StringIO(out)))
    assert len(rows) == 8
    assert rows[0] == {
        "file": "ann_am_1_device-a.csv", "subject": "ann", "session": "am", "attempt": "1",
        "role": "device-a", "signal": "emg", "rate_hz": "1000", "unit": "uV",
    }  # fmt: skip
    assert not (lab / "manifest.csv").exists()


def test_a_manifest_above_names_the_folder(lab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "manifest", str(lab), *ALL, "--out", str(lab.parent / "all.csv"))[0] == 0
    open_corpus(lab.parent / "all.csv").check()
    elsewhere = lab.parent / "elsewhere"
    elsewhere.mkdir()
    status, _, err = run(capsys, "manifest", str(lab), *ALL, "--out", str(elsewhere / "m.csv"))
    assert status == 2
    assert "DIR or above" in err


def test_the_schema_and_the_help_are_printed(lab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "manifest", "--schema")
    assert status == 0
    assert json.loads(out) == row_schema()
    status, out, _ = run(capsys, "manifest")
    assert status == 0
    assert "--pattern" in out
    status, _, err = run(capsys, "manifest", str(lab / "nowhere"), *ALL)
    assert status == 2
    assert "DIR must be a folder" in err


def test_many_files_that_fit_no_pattern_are_counted(lab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for number in range(40):
        (lab / f"note {number}.csv").write_text("x")
    status, _, err = run(capsys, "manifest", str(lab), *ALL)
    assert status == 0
    left_out = err.count("does not fit the pattern") + int(err.split(" more like it")[0].split()[-1])
    assert left_out == 41  # with the one that was there


def test_nothing_is_overwritten(lab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (lab / "manifest.csv").write_text("mine")
    status, _, err = run(capsys, "manifest", str(lab), *ALL, "--out", str(lab / "manifest.csv"))
    assert status == 2
    assert "is not overwritten" in err
    assert (lab / "manifest.csv").read_text() == "mine"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--pattern", NAMES, "--signal", "emg", "--rate", "1000"), "none is guessed; add --unit"),
        (("--pattern", NAMES, "--signal", "emg", "--unit", "uV"), "add --rate"),
        (("--pattern", NAMES, "--rate", "1000", "--unit", "uV"), "needs its signal"),
        (("--pattern", "{subject}_{session}_1_{role}.csv", "--signal", "emg"), "needs its attempt"),
        (("--pattern", "{person}.csv",), "columns of a manifest"),
        (("--pattern", "{subject}{session}.csv",), "between two fields"),
        (("--pattern", "x.csv",), "must hold fields"),
        (("--pattern", "{subject}/{attempt}.csv", "--set", "x=1"), "`--set` must name a column"),
        (("--pattern", NAMES, "--set", "role=mimic"), "both"),
        (("--pattern", NAMES, "--set", "role"), "COLUMN=VALUE"),
        ((), "both must be given"),
    ],
)  # fmt: skip
def test_what_is_missing_is_asked_for(
    lab: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str
) -> None:
    status, out, err = run(capsys, "manifest", str(lab), *words)
    assert (status, out) == (2, "")
    assert says in err.splitlines()[-1]


def test_a_proposal_that_is_no_manifest_is_not_written(
    lab: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (lab / "ann_am_1_Device A.csv").write_text("v\n1\n")
    status, out, err = run(capsys, "manifest", str(lab), *ALL, "--out", str(lab / "manifest.csv"))
    assert (status, out) == (2, "")
    assert "`role`" in err
    assert not (lab / "manifest.csv").exists()


def test_names_that_can_be_read_in_two_ways_are_left_out(
    lab: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (lab / "an_na_am_1_device-a.csv").write_text("v\n1\n")
    _, out, err = run(capsys, "manifest", str(lab), *ALL)
    assert "left out: an_na_am_1_device-a.csv fits the pattern in more than one way" in err
    assert "an_na" not in out


LABEL = st.text(alphabet="abcXYZ019-.", min_size=1, max_size=6)


@given(LABEL, LABEL, st.integers(0, 99))
def test_fields_come_back(subject: str, session: str, attempt: int) -> None:
    found = Pattern("{subject}/{session}_{attempt}.npz").match(f"{subject}/{session}_{attempt}.npz")
    assert found == {"subject": subject, "session": session, "attempt": str(attempt)}
    assert Pattern("{subject}/{subject}_{attempt}.npz").match(f"{subject}/{subject}x_1.npz") is None


def test_a_header_that_states_unit_and_rate_is_enough(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    two = np.random.default_rng(0).normal(scale=50, size=(2, 500))
    for role in ("device-a", "device-b"):
        edf(tmp_path / f"p_s_1_{role}.edf", [signal(two[0], "EMG", physical_dimension="uV")])
    words = (str(tmp_path), "--pattern", NAMES.replace("csv", "edf"), "--signal")
    assert run(capsys, "manifest", *words, "emg", "--out", str(tmp_path / "manifest.csv"))[0] == 0
    corpus = open_corpus(tmp_path)
    corpus.check()
    stream = "device-a:emg"
    assert corpus.block(corpus.sittings()[0], frozenset({stream}))[stream].capture.unit == "uV"
    assert "unit of 'sweat' must be stated" in run(capsys, "manifest", *words, "sweat")[2]
    edf(tmp_path / "p_s_1_device-a.edf", [signal(two[0], "EMG", physical_dimension="volts")])
    status, out, err = run(capsys, "manifest", *words, "emg")
    assert (status, out) == (2, "")
    assert "channel 'EMG'" in err
    assert "'volts'" in err
    assert "--unit" in err
    assert run(capsys, "manifest", *words, "emg", "--unit", "uV")[0] == 0


def test_wfdb_records_are_named_by_their_headers(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    two = np.random.default_rng(0).normal(scale=50, size=(2, 500))
    for role in ("device-a", "device-b"):
        (tmp_path / role).mkdir()
        record(tmp_path / role, two, ["uV", "uV"], ["a", "b"])
    words = (str(tmp_path), "--pattern", "{role}/{subject}.hea", "--signal", "emg")
    words = (*words, "--set", "session=1", "--set", "attempt=1", "--out", str(tmp_path / "manifest.csv"))
    assert run(capsys, "manifest", *words)[0] == 0
    open_corpus(tmp_path).check()


def test_an_archive_of_one_array_is_named_and_of_several_is_asked_about(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    x = np.random.default_rng(0).normal(scale=50, size=(1, 500))
    for role in ("device-a", "device-b"):
        np.savez(tmp_path / f"p_s_1_{role}.npz", emg=x)
    words = (str(tmp_path), "--pattern", NAMES.replace("csv", "npz"), *ALL[2:])
    status, out, _ = run(capsys, "manifest", *words)
    assert status == 0
    assert {row["array"] for row in csv.DictReader(io.StringIO(out))} == {"emg"}
    np.savez(tmp_path / "p_s_1_device-a.npz", x=x, y=x)
    assert "got x, y; add --set array=NAME" in run(capsys, "manifest", *words)[2]


# --- the schema ------------------------------------------------------------------------------------------


def test_the_schema_says_what_the_model_checks(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "manifest", "--schema")
    assert status == 0
    schema = json.loads(out)
    assert schema == row_schema()
    assert set(schema["properties"]) == {*REQUIRED, *OPTIONAL}
    assert schema["required"] == list(REQUIRED)
    assert schema["additionalProperties"] is False
    assert {p["type"] for p in schema["properties"].values()} == {"string"}


@given(st.sampled_from(["-1", "0", "1", "1e3", ".5", "", "x", "1_0", "nan", "1e999", "5.", "+2"]))
def test_schema_and_model_agree_on_numbers(cell: str) -> None:
    """The schema cannot hold the limits of a number in text; its form it must."""
    pattern = row_schema()["properties"]["start_s"]["pattern"]
    head = ",".join([*REQUIRED, "start_s"])
    raw = f"{head}\na.csv,p,s,1,device-a,emg,100,uV,{cell}\n".encode()
    try:
        parse_manifest(raw, name="m")
    except CorpusError:
        return
    assert re.search(pattern, cell)


def test_a_usage_error_is_one_sentence() -> None:
    with pytest.raises(UsageError, match="must hold fields"):
        Pattern("{")
