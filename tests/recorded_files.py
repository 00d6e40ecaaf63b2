"""Recordings in every format, written by the packages that own them, for tests of the readers."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import edfio
import numpy as np
import pytest

from harness.contracts import Array, Capture
from harness.errors import CorpusError
from harness.recordings import open_corpus

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import wfdb

RATE = 250.0


def signal(samples: Array, label: str, **more: Any) -> Any:
    kind = more.pop("kind", edfio.EdfSignal)
    least, most = samples.min(), samples.max()
    span = (float(np.floor(least)) - 1, float(np.ceil(most)) + 1)
    return kind(samples, more.pop("rate", RATE), label=label, physical_range=span, **more)


def edf(path: Path, signals: list[Any], **more: Any) -> None:
    edfio.Edf(signals, **more).write(path)


def bdf(path: Path, signals: list[Any]) -> None:
    edfio.Bdf(signals).write(path)


def record(folder: Path, samples: Array, units: list[str], names: list[str], **more: Any) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        wfdb.wrsamp(
            "rec",
            fs=RATE,
            units=units,
            sig_name=names,
            p_signal=samples.T,
            fmt=[more.pop("fmt", "24")] * len(names),
            write_dir=str(folder),
        )


def manifest(folder: Path, file: str, *, unit: str = "", rate: str = "", **cells: str) -> Path:
    columns = ["file", "subject", "session", "attempt", "role", "signal", "rate_hz", "unit", *cells]
    lines = [",".join(columns)]
    for role in ("device-a", "device-b"):
        own = [c.split("|")[role == "device-b"] if "|" in c else c for c in cells.values()]
        lines.append(",".join([file, "p", "s", "1", role, "emg", rate, unit, *own]))
    (folder / "manifest.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def capture(folder: Path, role: str = "device-a") -> Capture:
    corpus = open_corpus(folder)
    corpus.check()
    stream = f"{role}:emg"
    return corpus.block(corpus.sittings()[0], frozenset({stream}))[stream].capture


def refused(folder: Path) -> str:
    with pytest.raises(CorpusError) as caught:
        capture(folder)
    text = str(caught.value)
    assert "\n" not in text
    assert str(folder) not in text
    assert len(text) < 500
    return text


def interrupted(path: Path, two: Array, onsets: list[str], *, kind: bytes = b"EDF+D") -> None:
    """Two signals in records of half a second, with these onsets."""
    signals = [signal(x, n, physical_dimension="uV") for x, n in zip(two, "ab", strict=True)]
    edf(path, signals, annotations=[edfio.EdfAnnotation(0, None, "go")], data_record_duration=0.5)
    raw = bytearray(path.read_bytes())
    raw[192:197] = kind
    for k, onset in enumerate(onsets):
        plain = f"+{k * 0.5:g}\x14\x14".encode()
        at = raw.find(plain, 1024)
        assert at > 0
        room = raw.find(b"\x00", at) - at
        text = f"+{onset}\x14\x14".encode()
        rest = bytes(raw[at + len(plain) : at + room])
        raw[at : at + len(text) + len(rest)] = text + rest
    path.write_bytes(bytes(raw))
