"""Small people for plug-ins that break promises."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest

from fixtures.controls import Channel
from harness.contracts import DEVICE_B


@pytest.fixture
def few() -> Channel:
    """Four people, two sessions of three attempts, a distant sensor with a tenth of the signs wrong."""
    return Channel(subjects=4, attempts=3, errors=((DEVICE_B, 0.0), ("remote", 0.1)))


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a plug-in leaves in the folder of temporary files goes with the test."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
