"""Large corpora: memory stays that of one file, and ten thousand attempts take seconds."""

import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from harness.recordings import open_corpus, write_arrays, write_manifest

ROLES = ("device-a", "device-b")


def row(file: str, subject: int, attempt: int, role: str, array: str) -> dict[str, object]:
    return {
        "file": file,
        "subject": subject,
        "session": 1,
        "attempt": attempt,
        "role": role,
        "signal": "emg",
        "rate_hz": 1000,
        "unit": "uV",
        "array": array,
    }


def one_archive_a_session(folder: Path, subjects: int, attempts: int, samples: int) -> None:
    rng = np.random.default_rng(3)
    rows = []
    for subject in range(subjects):
        arrays = {f"{role}-{k}": rng.normal(size=(1, samples)) for k in range(attempts) for role in ROLES}
        write_arrays(folder / f"{subject}.npz", arrays)
        rows += [
            row(f"{subject}.npz", subject, k, role, f"{role}-{k}")
            for k in range(attempts)
            for role in ROLES
        ]
    write_manifest(folder, rows)


def one_table_a_capture(folder: Path, subjects: int, attempts: int, samples: int) -> None:
    rng = np.random.default_rng(3)
    rows = []
    for subject in range(subjects):
        for k in range(attempts):
            for role in ROLES:
                name = f"{subject}-{k}-{role}.csv"
                lines = "\n".join(map(str, rng.normal(size=samples).round(3)))
                (folder / name).write_text(f"v\n{lines}\n")
                rows.append(row(name, subject, k, role, ""))
    write_manifest(folder, rows)


def test_checking_holds_one_array_and_a_block_holds_one_sitting(tmp_path: Path) -> None:
    one_archive_a_session(tmp_path, subjects=16, attempts=4, samples=20_000)
    array, sitting = 20_000 * 8, 4 * 20_000 * 8
    corpus = open_corpus(tmp_path)
    tracemalloc.start()
    try:
        base = tracemalloc.get_traced_memory()[0]
        corpus.check()
        peak = tracemalloc.get_traced_memory()[1] - base
        # raw bytes, their float64 copy, the scaled copy, the one before; a quarter megabyte of book-keeping
        assert peak < 6 * array + 2**18, peak
        tracemalloc.reset_peak()
        base = tracemalloc.get_traced_memory()[0]
        for one in corpus.sittings():
            corpus.block(one, frozenset({"device-a:emg"}))
        peak = tracemalloc.get_traced_memory()[1] - base
        # the rows and the padded array that they are copied into, of this sitting and the one before
        assert peak < 4 * sitting + 6 * array + 2**18, peak
    finally:
        tracemalloc.stop()
    assert 16 * 2 * sitting > 2 * (4 * sitting + 6 * array + 2**18)  # holding everything would be seen


@pytest.mark.slow
@pytest.mark.parametrize("store", [one_archive_a_session, one_table_a_capture])
def test_ten_thousand_attempts(
    tmp_path: Path, record_property: Callable[[str, object], None], store: Callable[..., None]
) -> None:
    """The times are reported, not judged: they are the machine's."""
    store(tmp_path, subjects=200, attempts=50, samples=500)
    marks = [time.perf_counter()]
    corpus = open_corpus(tmp_path)
    marks.append(time.perf_counter())
    corpus.check()
    marks.append(time.perf_counter())
    attempts = 0
    for sitting in corpus.sittings():
        attempts += len(corpus.block(sitting, sitting.streams)["device-b:emg"].attempt)
    marks.append(time.perf_counter())
    assert attempts == 10_000
    for what, seconds in zip(("open", "check", "read"), np.diff(marks), strict=True):
        record_property(f"seconds to {what}", round(float(seconds), 2))
        print(f"{store.__name__}: {seconds:.2f} s to {what}")
