"""Withdrawing a person: what goes, what stays, and what is said about it."""

from __future__ import annotations

import csv
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import run
from recorded_files import record

from harness.errors import CorpusError, UsageError
from harness.recordings import open_corpus
from harness.recordings.withdrawing import withdraw


@pytest.fixture
def trio(park: Any) -> Any:
    """Riders r1, r2 and r10; r2's recordings lie in a file of their own, r10's partly beside r1's."""
    base = [dict(row) for row in park.rows]
    for name in ("am2.npz", "am10.npz"):
        park.npz(name, park.arrays)
    for person, file in (("r2", "am2.npz"), ("r10", "am10.npz")):
        park.rows += [row | {"subject": person, "file": file} for row in base if row["file"] == "am.npz"]
    park.rows += [row | {"subject": "r10"} for row in base if row["file"] == "pm.csv"]
    for row in park.rows:
        row["attacker"] = ""
    park.rows.append(park.rows[0] | {"role": "mimic", "attacker": "r2"})
    return park


def people(folder: Path) -> list[str]:
    with (folder / "manifest.csv").open(newline="") as handle:
        return sorted({row["subject"] for row in csv.DictReader(handle)})


def text_of(folder: Path) -> str:
    return "\n".join(p.read_text("utf-8", "replace") for p in folder.rglob("*") if p.suffix != ".npz")


def test_every_row_goes_as_subject_and_as_attacker(trio: Any) -> None:
    folder = trio.write()
    before = (folder / "manifest.csv").read_text().splitlines()
    done = withdraw(folder, "r2")
    after = (folder / "manifest.csv").read_text().splitlines()
    assert after == [line for line in before if ",r2," not in f",{line},"]
    assert (done.rows, done.as_attacker, done.left) == (4, 1, 2)
    assert people(folder) == ["r1", "r10"]
    open_corpus(folder).check()
    assert "r2" not in text_of(folder)  # no backup, no part file
    assert (done.deleted, done.kept) == ((), ("am2.npz",))
    assert (folder / "am2.npz").exists()


def test_the_number_in_earlier_results_is_said(trio: Any) -> None:
    folder = trio.write()
    numbered = {row["subject"] for row in trio.rows}
    assert numbered == {"r1", "r2", "r10"}
    done = withdraw(folder, "r2")
    assert (done.pseudonym, done.renumbered) == (1, 1)  # r10 was 2 and is 1 now
    assert withdraw(folder, "r10").pseudonym == 1


def test_files_of_this_person_alone_are_deleted_and_no_others(trio: Any) -> None:
    folder = trio.write()
    done = withdraw(folder, "r10", files=True)
    assert done.deleted == ("am10.npz",)
    assert done.shared == ("pm.csv",)
    assert sorted(p.name for p in folder.iterdir()) == ["am.npz", "am2.npz", "manifest.csv", "pm.csv"]
    open_corpus(folder).check()


def test_a_wfdb_record_goes_with_its_samples(tmp_path: Path) -> None:
    two = np.random.default_rng(0).normal(scale=50, size=(2, 500))
    head = "file,subject,session,attempt,role,signal,rate_hz,unit,channel\n"
    text = head
    for person in ("p", "q"):
        (tmp_path / person).mkdir()
        record(tmp_path / person, two, ["uV", "uV"], ["a", "b"])
        for role, channel in (("device-a", "a"), ("device-b", "b")):
            text += f"{person}/rec.hea,{person},1,1,{role},emg,,,{channel}\n"
    (tmp_path / "manifest.csv").write_text(text)
    done = withdraw(tmp_path, "q", files=True)
    assert done.deleted == ("q/rec.hea", "q/rec.dat")
    assert list((tmp_path / "q").iterdir()) == []
    open_corpus(tmp_path).check()


def test_nothing_outside_the_folder_is_deleted(trio: Any) -> None:
    outside = trio.folder.parent / "precious.npz"
    outside.write_bytes((trio.folder / "am2.npz").read_bytes())
    (trio.folder / "am2.npz").unlink()
    os.symlink(outside, trio.folder / "am2.npz")
    for row in trio.rows:
        if row["subject"] == "r10":
            row["file"] = "../precious.npz"
    folder = trio.write()
    withdraw(folder, "r2", files=True)
    withdraw(folder, "r10", files=True)
    assert outside.exists()


def test_other_tables_that_name_the_person_are_told(trio: Any) -> None:
    folder = trio.write()
    (folder / "old.csv").write_text((folder / "manifest.csv").read_text())
    (folder / "ages.csv").write_text("subject,age\nr1,20\n")
    assert withdraw(folder, "r2").mentions == ("old.csv",)


def test_a_damaged_manifest_can_be_rid_of_a_person(trio: Any) -> None:
    trio.edit(2, rate_hz="fast")
    folder = trio.write()
    assert withdraw(folder, "r2").rows == 4
    assert "fast" in (folder / "manifest.csv").read_text()


@pytest.mark.parametrize("person", ["nobody", "R2", ""])
def test_nobody_by_that_name(trio: Any, person: str) -> None:
    folder = trio.write()
    before = (folder / "manifest.csv").read_bytes()
    with pytest.raises(UsageError, match="it holds r1, r2, r10"):
        withdraw(folder, person)
    assert (folder / "manifest.csv").read_bytes() == before


def test_the_last_person_is_not_withdrawn_from_a_manifest(park: Any) -> None:
    with pytest.raises(UsageError, match="delete the folder"):
        withdraw(park.write(), "r1")


def test_a_row_that_may_be_theirs_must_be_mended_first(trio: Any) -> None:
    folder = trio.write()
    with (folder / "manifest.csv").open("a") as handle:
        handle.write("am2.npz,r2\n")
    with pytest.raises(CorpusError, match="mend it first"):
        withdraw(folder, "r2")


def test_the_command_says_what_is_left_to_do(trio: Any, capsys: pytest.CaptureFixture[str]) -> None:
    folder = trio.write()
    status, out, _ = run(capsys, "withdraw", str(folder), "r10")
    assert status == 0
    for part in (
        "one person taken out, 6 rows",
        "STILL THERE: am10.npz",
        "STILL THERE: pm.csv, which holds others'",
        "To be renewed",
        "keyassay baseline FILE --withdraw 2",
    ):
        assert part in out
    assert "numbered one less" not in out  # nobody comes after r10
