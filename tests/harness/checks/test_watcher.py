"""What a watcher makes of single events, asked in place: where they come from nothing can be traced."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from harness.checks.written_files import Watcher


@pytest.mark.parametrize(
    ("mode", "flags", "noted"),
    [
        ("r", None, False),
        ("w", None, True),
        ("a+", None, True),
        (None, os.O_RDONLY, False),
        (None, os.O_CREAT | os.O_WRONLY, True),
    ],
)
def test_files_opened_to_be_written_are_noted(
    tmp_path: Path, mode: str | None, flags: int | None, noted: bool
) -> None:
    watcher = Watcher()
    watcher.see("open", (str(tmp_path / "note"), mode, flags))
    assert bool(watcher.touched) is noted


def test_databases_are_noted_unless_they_are_in_memory(tmp_path: Path) -> None:
    watcher = Watcher()
    for place in (":memory:", ""):
        watcher.see("sqlite3.connect", (place,))
    assert not watcher.touched
    watcher.see("sqlite3.connect", (str(tmp_path / "keys.db"),))
    assert len(watcher.touched) == 1


def test_folders_are_noted_unless_they_were_there(tmp_path: Path) -> None:
    watcher = Watcher()
    watcher.see("os.mkdir", (str(tmp_path), 0o777, -1))
    assert not watcher.touched
    watcher.see("os.mkdir", (str(tmp_path / "new"), 0o777, -1))
    folder = os.open(tmp_path, os.O_RDONLY)
    try:
        watcher.see("os.mkdir", ("below", 0o777, folder))
    finally:
        os.close(folder)
    assert [Path(name).name for name in watcher.touched] == ["new", "below"]
