"""After a withdrawal everything that still holds the person is named."""

from __future__ import annotations

from pathlib import Path

from harness.cli.withdrawing import _told
from harness.recordings.withdrawing import Withdrawal

DONE = Withdrawal(
    rows=4,
    as_attacker=1,
    pseudonym=3,
    renumbered=2,
    left=9,
    deleted=("gone.npz",),
    kept=("own.npz",),
    shared=("both.npz",),
    mentions=("notes.csv",),
)


def said(files: bool) -> str:
    return "\n".join(_told(DONE, Path("corpus"), files))


def test_what_was_deleted_and_what_is_still_there_are_told_apart() -> None:
    told = said(files=True)
    assert "deleted: gone.npz" in told
    assert "STILL THERE: own.npz, recordings of this person alone (could not be deleted)" in told
    assert "STILL THERE: both.npz, which holds others' recordings too" in told
    assert "STILL THERE: notes.csv has rows of this person" in told
    assert "2 people after them are numbered one less" in told
    assert "the person has the number 3" in told


def test_files_that_nobody_asked_to_delete_are_left_to_the_reader() -> None:
    assert "own.npz, recordings of this person alone (delete it by hand)" in said(files=False)
