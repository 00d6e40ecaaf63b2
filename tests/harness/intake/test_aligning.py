"""An aligned manifest: what moves, what stays, and that an audit reads it."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pytest
from recorded_bodies import write_people

from harness.errors import UsageError
from harness.intake import inspect
from harness.intake.aligning import aligned_manifest
from harness.recordings import open_corpus, write_arrays, write_manifest


def burst(start: float, seed: int) -> np.ndarray:
    samples = np.random.default_rng(seed).normal(size=(2, 6000))
    samples[:, int(start * 1000) : int(start * 1000) + 2000] *= 30
    return samples


def late(folder: Path, shift_s: float) -> Path:
    """One attempt of two channels: device-b sees activity later by the shift, a camera with device-a."""
    arrays = {"a": burst(1.5, 0), "b": burst(1.5 + shift_s, 1), "c": burst(1.5, 2)}
    write_arrays(folder / "r.npz", arrays)
    rows = [
        {"file": "r.npz", "array": array, "channel": channel, "subject": "p", "session": 1, "attempt": 1,
         "role": role, "signal": "emg", "rate_hz": 1000, "unit": "uV", "start_s": 0.25, "stop_s": 5.5}
        for array, role in (("a", "device-a"), ("b", "device-b"), ("c", "camera"))
        for channel in (0, 1)
    ]  # fmt: skip
    write_manifest(folder, rows)
    return folder


@pytest.mark.parametrize("shift_s", [0.3, -0.3])
def test_the_devices_begin_alike_and_an_adversary_stays_with_device_a(
    tmp_path: Path, shift_s: float
) -> None:
    folder = late(tmp_path, shift_s)
    shifts = inspect(folder, synchronise=True).shifts or ()
    assert shifts[0].shift_s == pytest.approx(shift_s, abs=0.02)
    text = aligned_manifest(folder, shifts)
    rows = list(csv.DictReader(io.StringIO(text)))
    starts = {row["role"]: float(row["start_s"]) for row in rows}
    assert starts["device-b"] - starts["device-a"] == pytest.approx(shift_s, abs=0.02)
    assert starts["camera"] == starts["device-a"]
    assert min(starts.values()) == 0.25
    lengths = {round(float(r["stop_s"]) - float(r["start_s"]), 3) for r in rows}
    assert lengths == {round(5.25 - abs(shifts[0].shift_s or 0), 3)}
    (folder / "aligned.csv").write_text(text)
    corpus = open_corpus(folder / "aligned.csv")
    corpus.check()
    again = inspect(folder / "aligned.csv", synchronise=True).shifts or ()
    assert again[0].shift_s == pytest.approx(0.0, abs=0.005)
    assert again[0].before == pytest.approx(shifts[0].after, abs=0.02)


def test_nothing_to_align_is_said(tmp_path: Path) -> None:
    write_arrays(tmp_path / "r.npz", {"a": np.random.default_rng(0).normal(size=(1, 3000))})
    rows = [
        {"file": "r.npz", "array": "a", "subject": "p", "session": 1, "attempt": 1, "role": role,
         "signal": "emg", "rate_hz": 1000, "unit": "uV"}
        for role in ("device-a", "device-b")
    ]  # fmt: skip
    write_manifest(tmp_path, rows)
    with pytest.raises(UsageError, match="nothing to align"):
        aligned_manifest(tmp_path, inspect(tmp_path, synchronise=True).shifts or ())


def test_the_original_is_not_touched(tmp_path: Path) -> None:
    folder = write_people(tmp_path, subjects=1, sessions=1, attempts=1)
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    inspect(folder, synchronise=True)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
