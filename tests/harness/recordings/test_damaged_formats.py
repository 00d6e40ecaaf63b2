"""Damaged EDF, WFDB and Parquet files, and what files say of people: one sentence with file and place."""

from __future__ import annotations

import os
import sys
import tempfile
import warnings
from collections.abc import Callable
from pathlib import Path

import edfio
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recorded_files import capture, edf, interrupted, manifest, record, refused, signal

from harness.contracts import Array
from harness.errors import CorpusError
from harness.recordings import open_corpus

# --- damage ----------------------------------------------------------------------------------------------


def sound(folder: Path, two: Array) -> None:
    edf(folder / "r.edf", [signal(two[0], "EMG", physical_dimension="uV")])


def rewritten(at: int, new: bytes) -> Callable[[Path], object]:
    def damage(path: Path) -> None:
        raw = bytearray(path.read_bytes())
        raw[at : at + len(new)] = new
        path.write_bytes(bytes(raw))

    return damage


PHYSICAL, DIGITAL = 256 + 16 + 80 + 8, 256 + 16 + 80 + 8 + 16
DAMAGE: dict[str, tuple[Callable[[Path], object], tuple[str, ...]]] = {
    "truncated": (lambda p: p.write_bytes(p.read_bytes()[:-100]), ("cut off", "bytes")),
    "cut inside the header": (lambda p: p.write_bytes(p.read_bytes()[:300]), ("byte 512", "cut off")),
    "cut inside the first line": (lambda p: p.write_bytes(p.read_bytes()[:100]), ("EDF header",)),
    "longer than declared": (lambda p: p.write_bytes(p.read_bytes() + b"x"), ("more follows",)),
    "0 bytes": (lambda p: p.write_bytes(b""), ("0 bytes",)),
    "2 GB of nothing": (lambda p: os.truncate(p, 2**31), ("more follows",)),
    "not EDF at all": (lambda p: p.write_bytes(b"PK" * 300), ("EDF header", "PK")),
    "never closed": (rewritten(236, b"-1      "), ("number of records", "'-1'", "close")),
    "no signals": (rewritten(252, b"0   "), ("number of signals", "byte 252")),
    "many signals": (rewritten(252, b"9999"), ("number of signals", "9999")),
    "duration of nothing": (rewritten(244, b"0       "), ("duration of a record", "byte 244")),
    "duration not a number": (rewritten(244, b"\xff\xfe      "), ("duration of a record",)),
    "digital range of nothing": (rewritten(DIGITAL, b"32767   "), ("'EMG'", "32767 to 32767")),
    "physical range of nothing": (rewritten(PHYSICAL, b"5       5       "), ("'EMG'", "physical 5 to 5")),
    "calibration in words": (rewritten(PHYSICAL, b"low     "), ("'EMG'", "four numbers")),
}  # fmt: skip


@pytest.mark.parametrize("name", DAMAGE)
def test_damaged_edf(tmp_path: Path, two: Array, name: str) -> None:
    sound(tmp_path, two)
    damage, places = DAMAGE[name]
    damage(tmp_path / "r.edf")
    text = refused(manifest(tmp_path, "r.edf"))
    assert "line 2: r.edf" in text
    assert [p for p in places if p not in text] == [], text


@pytest.mark.parametrize("suffix", ["edf", "bdf", "hea", "parquet", "csv", "npz"])
@pytest.mark.parametrize("size", [0, 2**31])
def test_nothing_and_two_gigabytes_of_it(tmp_path: Path, suffix: str, size: int) -> None:
    with (tmp_path / f"r.{suffix}").open("wb") as handle:
        handle.truncate(size)
    text = refused(manifest(tmp_path, f"r.{suffix}", unit="uV", rate="100"))
    assert f"line 2: r.{suffix} must" in text


@settings(max_examples=60, deadline=None)
@given(edits=st.lists(st.tuples(st.integers(0, 900), st.integers(0, 255)), min_size=1, max_size=6))
@pytest.mark.parametrize("kind", ["edf", "wfdb", "parquet"])
def test_any_bytes_changed_are_read_or_refused(kind: str, edits: list[tuple[int, int]]) -> None:
    samples = np.random.default_rng(1).normal(scale=50, size=(2, 250))
    with tempfile.TemporaryDirectory() as name, warnings.catch_warnings():
        warnings.simplefilter("error")
        folder = Path(name)
        if kind == "edf":
            interrupted(folder / "r.edf", np.tile(samples, 2), ["0", "0.5", "1.7", "2.2"])
        elif kind == "wfdb":
            record(folder, samples, ["uV", "uV"], ["a", "b"])
        else:
            pq.write_table(pa.table({"a": samples[0], "b": samples[1]}), folder / "r.parquet")
        file = {"edf": "r.edf", "wfdb": "rec.hea", "parquet": "r.parquet"}[kind]
        raw = bytearray((folder / file).read_bytes())
        for at, byte in edits:
            raw[at if kind == "edf" else -1 - at % len(raw)] = byte
        (folder / file).write_bytes(bytes(raw))
        stated = {"unit": "uV", "rate": "100"} if kind == "parquet" else {}
        try:
            corpus = open_corpus(manifest(folder, file, channel="a|b", **stated))
            corpus.check()
            for sensed in corpus.block(corpus.sittings()[0], frozenset({"device-a:emg"})).values():
                assert not np.isinf(sensed.capture.samples).any()
            corpus.digest()
        except CorpusError as error:
            sentence = str(error)
        else:
            sentence = ""
        assert "\n" not in sentence
        assert name not in sentence


# --- a WFDB header names other files ---------------------------------------------------------------------


@pytest.mark.parametrize(
    "named",
    [
        "../rec.dat",
        "/etc/passwd",
        "sub/rec.dat",
        "http://example.org/rec.dat",
        "..",
        "C:rec.dat",
        "sub\\rec.dat",
        "~",
    ],
)
def test_a_header_names_files_beside_it_only(tmp_path: Path, two: Array, named: str) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    record(tmp_path, two, ["uV", "uV"], ["a", "b"])
    record(folder, two, ["uV", "uV"], ["a", "b"])
    path = folder / "rec.hea"
    path.write_text(path.read_text().replace("rec.dat", named))
    assert "line 2 must name a file beside the header" in refused(manifest(folder, "rec.hea"))


def test_a_header_whose_file_is_a_link_that_leaves(tmp_path: Path, two: Array) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    record(tmp_path, two, ["uV", "uV"], ["a", "b"])
    record(folder, two, ["uV", "uV"], ["a", "b"])
    (folder / "rec.dat").unlink()
    (folder / "rec.dat").symlink_to(tmp_path / "rec.dat")
    assert "a link leads out of it" in refused(manifest(folder, "rec.hea"))


@pytest.mark.parametrize(
    ("old", "new", "places"),
    [
        ("rec 2 250 500", "rec/2 2 250 500", ("one segment",)),
        ("rec 2 250 500", "rec 3 250 500", ("line 1", "got 3 for 2")),
        ("rec 2 250 500", "rec 2 0 500", ("positive rate",)),
        ("rec 2 250 500", "rec 2 250 5000", ("30000 bytes", "cut off")),
        ("rec 2 250 500", "rec 2 250 99999999999", ("length",)),
        ("rec.dat 24", "rec.dat 516", ("uncompressed", "'516'")),
        ("rec.dat", "gone.dat", ("'gone.dat'",)),
    ],
)
def test_damaged_wfdb(tmp_path: Path, two: Array, old: str, new: str, places: tuple[str, ...]) -> None:
    record(tmp_path, two, ["uV", "uV"], ["a", "b"])
    path = tmp_path / "rec.hea"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    told = refused(manifest(tmp_path, "rec.hea"))
    assert [p for p in places if p not in told] == [], told


def test_a_signal_without_gain_is_not_calibrated(tmp_path: Path, two: Array) -> None:
    record(tmp_path, two, ["uV", "uV"], ["a", "b"])
    path = tmp_path / "rec.hea"
    lines = path.read_text().splitlines()
    words = lines[1].split()
    lines[1] = " ".join([words[0], words[1], "0", *words[3:]])
    path.write_text("\n".join(lines) + "\n")
    assert "line 2 must state a gain" in refused(manifest(tmp_path, "rec.hea"))


def test_a_wfdb_header_that_states_no_unit_states_none(tmp_path: Path, two: Array) -> None:
    """The format's own default is mV; a default is a guess."""
    record(tmp_path, two, ["mV", "mV"], ["a", "b"])
    path = tmp_path / "rec.hea"
    path.write_text(path.read_text().replace("/mV", ""))
    assert "must have a unit of emg" in refused(manifest(tmp_path, "rec.hea"))
    found = capture(manifest(tmp_path, "rec.hea", unit="uV"))
    np.testing.assert_allclose(found.samples[0], two, atol=0.01)


def test_the_digest_covers_the_files_that_a_header_names(tmp_path: Path, two: Array) -> None:
    record(tmp_path, two, ["uV", "uV"], ["a", "b"])
    folder = manifest(tmp_path, "rec.hea")
    before = open_corpus(folder).digest()
    raw = bytearray((folder / "rec.dat").read_bytes())
    raw[10] ^= 1
    (folder / "rec.dat").write_bytes(bytes(raw))
    assert open_corpus(folder).digest() != before


# --- people, amplitudes, extras, provenance --------------------------------------------------------------


def test_two_people_under_one_name(tmp_path: Path, two: Array) -> None:
    for file, code in (("a.edf", "K17"), ("b.edf", "K18")):
        edf(
            tmp_path / file,
            [signal(two[0], "EMG", physical_dimension="uV")],
            patient=edfio.Patient(code=code),
            annotations=[edfio.EdfAnnotation(0, None, "go")],
        )
    folder = manifest(tmp_path, "a.edf")
    capture(folder)
    path = folder / "manifest.csv"
    path.write_text(path.read_text().replace("a.edf,p,s,1,device-b", "b.edf,p,s,1,device-b"))
    text = refused(folder)
    assert "lines 2 and 3, `subject`" in text
    assert "'K17' and 'K18'" in text


@pytest.mark.parametrize(("scale", "stated"), [(1e-6, "uV"), (1.0, "V")])
def test_volts_are_not_taken_for_microvolts(tmp_path: Path, two: Array, scale: float, stated: str) -> None:
    np.savez(tmp_path / "r.npz", samples=two * scale)
    text = refused(manifest(tmp_path, "r.npz", unit=stated, rate="250"))
    assert "line 2, `unit`: device-a:emg must have an amplitude of 0.01 to 100000 uV" in text


def test_one_dead_sensor_refuses_nobody(tmp_path: Path, two: Array) -> None:
    np.savez(tmp_path / "r.npz", x=two, y=np.zeros((1, 500)))
    capture(manifest(tmp_path, "r.npz", unit="uV", rate="250", array="x|y", channel="0|0"))


@pytest.mark.parametrize(
    ("module", "suffix", "extra"),
    [("edfio", "edf", "edf"), ("wfdb", "hea", "wfdb"), ("pyarrow", "parquet", "parquet")],
)
def test_a_missing_package_is_one_sentence_with_its_command(
    tmp_path: Path, two: Array, monkeypatch: pytest.MonkeyPatch, module: str, suffix: str, extra: str
) -> None:
    (tmp_path / f"r.{suffix}").write_bytes(b"x")
    monkeypatch.setitem(sys.modules, module, None)
    text = refused(manifest(tmp_path, f"r.{suffix}", unit="uV", rate="250"))
    assert f"pip install 'keyassay[{extra}]'" in text


@pytest.mark.parametrize(
    ("content", "kind"),
    [(None, "recorded"), ('{"data": "simulated"}', "simulated"), ('{"data": "recorded"}', "recorded")],
)
def test_the_folder_says_whether_its_people_exist(
    tmp_path: Path, two: Array, content: str | None, kind: str
) -> None:
    sound(tmp_path, two)
    if content is not None:
        (tmp_path / "simulation.json").write_text(content)
    assert open_corpus(manifest(tmp_path, "r.edf")).data == kind


@pytest.mark.parametrize("content", ["", "[]", '{"data": "real"}', "{" * 10_000])
def test_provenance_that_nobody_understands(tmp_path: Path, two: Array, content: str) -> None:
    sound(tmp_path, two)
    (tmp_path / "simulation.json").write_text(content)
    assert "simulation.json must" in refused(manifest(tmp_path, "r.edf"))
