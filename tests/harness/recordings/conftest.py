"""A small sound corpus, to be read as it is or damaged in one place."""

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest

SAMPLES = 40


class Park:
    """The corpus `park`: rider `r1`, sittings `am` and `pm`, two attempts each, NPZ and CSV."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        rng = np.random.default_rng(7)
        self.arrays = {
            f"{role}-{attempt}": rng.normal(size=(1, SAMPLES))
            for role in ("device-a", "device-b")
            for attempt in ("1", "2")
        }
        self.table = rng.normal(size=(SAMPLES, 2))
        self.npz("am.npz", self.arrays)
        self.text("pm.csv", self.csv(("left", "right"), self.table.tolist()))
        self.rows: list[dict[str, str]] = [
            self.row(file="am.npz", session="am", attempt=attempt, role=role, array=f"{role}-{attempt}")
            for attempt in ("1", "2")
            for role in ("device-a", "device-b")
        ]
        self.rows += [
            self.row(file="pm.csv", session="pm", attempt="1", role=role, channel=channel)
            for role, channel in (("device-a", "left"), ("device-b", "right"))
        ]

    @staticmethod
    def row(**cells: str) -> dict[str, str]:
        base = {
            "subject": "r1",
            "signal": "emg",
            "rate_hz": "100",
            "unit": "uV",
            "array": "",
            "channel": "",
        }
        return base | cells

    @staticmethod
    def csv(names: Sequence[str], lines: Sequence[Sequence[object]]) -> str:
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerows([names, *lines])
        return text.getvalue()

    def npz(self, name: str, arrays: Mapping[str, np.ndarray]) -> None:
        np.savez(self.folder / name, **arrays)  # type: ignore[arg-type]

    def text(self, name: str, content: str) -> None:
        (self.folder / name).write_text(content, encoding="utf-8", newline="")

    def edit(self, line: int, **cells: str) -> None:
        """Change cells of the row that stands at `line` of the manifest; the header is line 1."""
        self.rows[line - 2] |= cells

    def write(self) -> Path:
        columns = list(dict.fromkeys(column for row in self.rows for column in row))
        self.text(
            "manifest.csv", self.csv(columns, [[row.get(c, "") for c in columns] for row in self.rows])
        )
        return self.folder


@pytest.fixture
def park(tmp_path: Path) -> Park:
    return Park(tmp_path / "park")


@pytest.fixture
def two() -> np.ndarray:
    """Two channels, two seconds at 250 Hz, of an amplitude that muscles have."""
    return np.random.default_rng(0).normal(scale=80, size=(2, 500))
