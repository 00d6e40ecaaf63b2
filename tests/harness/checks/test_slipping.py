"""What slips past a quick look is caught, and by the check whose promise it breaks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from contract_breakers import slipping

from fixtures.controls import Channel
from harness import check_scheme
from harness.checks.outcomes import Outcome


def one(scheme: Any, people: Channel, check: str) -> Outcome:
    return check_scheme(scheme, corpus=people, only=[check])[0]


def left_in(place: Path, people: Channel) -> Outcome:
    scheme = slipping.KeyInAFile()
    scheme.place = str(place)
    return one(scheme, people, "files-untouched")


@pytest.mark.parametrize("folder", ["keyassay-check-1", "__pycache__", "plain"])
def test_a_key_in_a_file_is_found_whatever_its_folder_is_called(
    folder: str, few: Channel, tmp_path: Path
) -> None:
    assert left_in(tmp_path / folder, few).status == "broken"


@pytest.mark.skipif(not Path("/dev/shm").is_dir(), reason="there is no memory that files can be kept in")
def test_a_key_in_memory_is_found(few: Channel) -> None:
    try:
        found = one(slipping.KeyInMemory(), few, "files-untouched")
    finally:
        Path("/dev/shm/key.npy").unlink(missing_ok=True)
    assert found.status == "broken"
    assert "'key.npy' made" in found.sentence


@pytest.mark.parametrize("kind", [slipping.StartsAProgram, slipping.RunsAShell])
def test_a_program_is_started_openly_or_not_at_all(kind: Any, few: Channel) -> None:
    found = one(kind(), few, "files-untouched")
    assert found.status == "broken"
    assert found.got == "true"
    scheme = kind()
    scheme.whole_batches = True
    assert one(scheme, few, "files-untouched").status == "held"
