"""EDF, BDF, WFDB and Parquet: what other packages write is read back, and headers are judged."""

from __future__ import annotations

import tempfile
import warnings
from pathlib import Path
from typing import Any

import edfio
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import wfdb
from hypothesis import given, settings
from hypothesis import strategies as st
from recorded_files import RATE, bdf, capture, edf, interrupted, manifest, record, refused, signal

from harness.contracts import Array
from harness.recordings import open_corpus

SAMPLES = st.integers(1, 4).flatmap(
    lambda seconds: st.lists(
        st.floats(-3000, 3000, width=32), min_size=int(RATE) * seconds, max_size=int(RATE) * seconds
    )
)


@settings(max_examples=30, deadline=None)
@given(values=SAMPLES, unit=st.sampled_from([("uV", 1.0), ("mV", 1e3), ("V", 1e6), ("nV", 1e-3)]))
def test_edf_comes_back_within_half_a_step(values: list[float], unit: tuple[str, float]) -> None:
    samples = np.array(values)
    samples[:2] = 40.0, -40.0  # neither constant nor of an amplitude that nobody has
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made = signal(samples, "EMG", physical_dimension=unit[0])
        edf(folder / "r.edf", [made])
        corpus = open_corpus(manifest(folder, "r.edf"))
        found = corpus.block(corpus.sittings()[0], frozenset({"device-b:emg"}))["device-b:emg"].capture
        assert (found.rate_hz, found.unit) == (RATE, "uV")
        np.testing.assert_allclose(found.samples[0, 0], made.data * unit[1], rtol=1e-12, atol=1e-9)
        step = np.diff(made.physical_range)[0] / 65535
        assert np.abs(found.samples[0, 0] / unit[1] - samples).max() <= step * 0.5001 + 1e-9


def test_bdf_has_finer_steps(tmp_path: Path, two: Array) -> None:
    bdf(
        tmp_path / "r.bdf",
        [
            signal(x, n, kind=edfio.BdfSignal, physical_dimension="uV")
            for x, n in zip(two, "ab", strict=True)
        ],
    )
    found = capture(manifest(tmp_path, "r.bdf", channel="a|b"), "device-b")
    np.testing.assert_allclose(found.samples[0, 0], two[1], atol=1e-4)
    assert np.abs(found.samples[0, 0] - two[1]).max() > 0


@settings(max_examples=30, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    fmt=st.sampled_from(["16", "24", "32", "212"]),
    unit=st.sampled_from([("uV", 1.0), ("mV", 1e3)]),
)
def test_wfdb_comes_back_as_the_package_reads_it(seed: int, fmt: str, unit: tuple[str, float]) -> None:
    samples = np.random.default_rng(seed).normal(scale=50, size=(2, 331))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        record(folder, samples, [unit[0]] * 2, ["left", "right one"], fmt=fmt)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            true = wfdb.rdrecord(str(folder / "rec")).p_signal.T
        corpus = open_corpus(manifest(folder, "rec.hea", channel="right one|left"))
        block = corpus.block(corpus.sittings()[0], frozenset({"device-a:emg", "device-b:emg"}))
        np.testing.assert_allclose(block["device-a:emg"].capture.samples[0, 0], true[1] * unit[1])
        np.testing.assert_allclose(block["device-b:emg"].capture.samples[0, 0], true[0] * unit[1])
        assert block["device-a:emg"].capture.rate_hz == RATE
        assert np.abs(true - samples).max() < 1


@settings(max_examples=30, deadline=None)
@given(
    values=st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=50),
    kind=st.sampled_from([pa.float64(), pa.float32(), pa.int32()]),
)
def test_parquet_comes_back_exactly(values: list[float], kind: Any) -> None:
    column = np.array(values).astype(kind.to_pandas_dtype())
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        pq.write_table(
            pa.table({"x": pa.array(column, kind), "y": pa.array(-column, kind)}), folder / "t.parquet"
        )
        corpus = open_corpus(manifest(folder, "t.parquet", unit="uV", rate="100", channel="y|x"))
        found = corpus.block(corpus.sittings()[0], frozenset({"device-a:emg"}))["device-a:emg"].capture
        np.testing.assert_array_equal(found.samples[0, 0], -column.astype(float))


def test_a_null_is_a_gap_and_a_nan_is_an_error(tmp_path: Path) -> None:
    pq.write_table(pa.table({"x": [1.0, None, 3.0, -4.0]}), tmp_path / "t.parquet")
    found = capture(manifest(tmp_path, "t.parquet", unit="uV", rate="100"))
    np.testing.assert_array_equal(found.samples[0, 0], [1, np.nan, 3, -4])
    pq.write_table(pa.table({"x": [1.0, np.nan, 3.0]}), tmp_path / "t.parquet")
    assert "nan at row 1, column 'x'" in refused(tmp_path)


def test_time_stamps_of_a_parquet_table_give_the_rate(tmp_path: Path) -> None:
    table = pa.table({"time_s": np.arange(100) / 200, "x": np.arange(100.0)})
    pq.write_table(table, tmp_path / "t.parquet")
    assert capture(manifest(tmp_path, "t.parquet", unit="uV")).rate_hz == 200


# --- units, rates and channels: header against manifest -----------------------------------------------


def with_unit(folder: Path, two: Array, unit: str, *, stated: str) -> Path:
    edf(folder / "r.edf", [signal(two[0], "EMG", physical_dimension=unit)])
    return manifest(folder, "r.edf", unit=stated)


@pytest.mark.parametrize(
    ("header", "stated", "scale"),
    [("", "mV", 1e3), ("counts", "mV", 1e3), ("mV", "mV", 1e3), ("\u00b5V", "", 1.0)],
)
def test_the_manifest_states_what_the_header_does_not(
    tmp_path: Path, two: Array, header: str, stated: str, scale: float
) -> None:
    edf(tmp_path / "r.edf", [signal(two[0], "EMG", physical_dimension="#@" if header else "")])
    raw = (tmp_path / "r.edf").read_bytes()
    (tmp_path / "r.edf").write_bytes(raw.replace(b"#@      ", header.encode("latin-1").ljust(8)))
    found = capture(manifest(tmp_path, "r.edf", unit=stated))
    assert np.abs(found.samples[0, 0] / scale - two[0]).max() < 0.01


@pytest.mark.parametrize(
    ("header", "stated", "places"),
    [
        ("mV", "uV", ("'mV'", "'uV'", "header", "manifest", "'EMG'")),
        ("g", "uV", ("'g'", "'uV'")),
        ("", "", ("must have a unit of emg", "''", "`unit`")),
        ("volts", "", ("'volts'", "`unit`")),
        ("MV", "", ("'MV'", "`unit`")),  # a megavolt is no millivolt
    ],
)
def test_units_are_never_guessed(
    tmp_path: Path, two: Array, header: str, stated: str, places: tuple[str, ...]
) -> None:
    text = refused(with_unit(tmp_path, two, header, stated=stated))
    assert [p for p in places if p not in text] == [], text


def test_channels_of_one_capture_keep_their_own_units(tmp_path: Path, two: Array) -> None:
    edf(
        tmp_path / "r.edf",
        [signal(two[0], "a", physical_dimension="uV"), signal(two[1] / 1e3, "b", physical_dimension="mV")],
    )
    found = capture(manifest(tmp_path, "r.edf"))
    np.testing.assert_allclose(found.samples[0], two, atol=0.1)


def test_header_and_manifest_contradict_in_rate(tmp_path: Path, two: Array) -> None:
    edf(tmp_path / "r.edf", [signal(two[0], "EMG", physical_dimension="uV")])
    text = refused(manifest(tmp_path, "r.edf", rate="256"))
    assert "250 Hz" in text
    assert "256 Hz" in text


def test_a_missing_channel_names_what_is_there_and_the_nearest(tmp_path: Path, two: Array) -> None:
    edf(
        tmp_path / "r.edf",
        [
            signal(x, n, physical_dimension="uV")
            for x, n in zip(two, ("EMG left", "EMG right"), strict=True)
        ],
    )
    text = refused(manifest(tmp_path, "r.edf", channel="emg-left|EMG right"))
    assert "'emg-left'" in text
    assert "'EMG left', 'EMG right'" in text
    assert "nearest is 'EMG left'" in text


def test_one_name_for_two_channels(tmp_path: Path, two: Array) -> None:
    edf(tmp_path / "r.edf", [signal(x, "EMG", physical_dimension="uV") for x in two])
    assert "'EMG' once, got it 2 times" in refused(manifest(tmp_path, "r.edf", channel="EMG"))


def test_native_rates_are_kept(tmp_path: Path, two: Array) -> None:
    slow = signal(two[1, :100], "slow", rate=50, physical_dimension="uV")
    edf(tmp_path / "r.edf", [signal(two[0], "fast", physical_dimension="uV"), slow])
    for role, name, rate in (("device-a", "fast", 250), ("device-b", "slow", 50)):
        folder = manifest(tmp_path, "r.edf", channel="fast|slow")
        assert capture(folder, role).rate_hz == rate, name
    text = refused(manifest(tmp_path, "r.edf"))
    assert "50, 250 Hz" in text
    assert "`channel`" in text


def test_cuts_are_in_seconds_of_the_file(tmp_path: Path, two: Array) -> None:
    edf(tmp_path / "r.edf", [signal(two[0], "EMG", physical_dimension="uV")])
    found = capture(manifest(tmp_path, "r.edf", start_s="0.4", stop_s="0.8"))
    np.testing.assert_allclose(found.samples[0, 0], two[0, 100:200], atol=0.01)


# --- gaps ------------------------------------------------------------------------------------------------


def test_gaps_between_records_are_never_closed_up(tmp_path: Path, two: Array) -> None:
    interrupted(tmp_path / "r.edf", two, ["0", "0.5", "1.7", "2.2"])
    found = capture(manifest(tmp_path, "r.edf", channel="b|a"))
    samples = found.samples[0, 0]
    assert len(samples) == round(2.7 * 250)
    assert np.isnan(samples[250:425]).all()
    np.testing.assert_allclose(samples[:250], two[1, :250], atol=0.01)
    np.testing.assert_allclose(samples[425:], two[1, 250:], atol=0.01)
    assert found.seconds is not None
    assert found.seconds[0] == pytest.approx(2.7)


def test_records_that_overlap_are_refused(tmp_path: Path, two: Array) -> None:
    interrupted(tmp_path / "r.edf", two, ["0", "0.5", "0.9", "1.5"])
    text = refused(manifest(tmp_path, "r.edf"))
    assert "record 2" in text
    assert "0.9 s" in text


def test_a_gap_in_a_recording_that_says_it_has_none(tmp_path: Path, two: Array) -> None:
    interrupted(tmp_path / "r.edf", two, ["0", "0.5", "1.7", "2.2"], kind=b"EDF+C")
    assert "record 2 must begin at 1 s" in refused(manifest(tmp_path, "r.edf"))


def test_a_gap_of_years_does_not_fill_the_memory(tmp_path: Path, two: Array) -> None:
    interrupted(tmp_path / "r.edf", two, ["0", "0.5", "1", "999999999"])
    assert "at most" in refused(manifest(tmp_path, "r.edf"))


def test_invalid_samples_of_wfdb_are_gaps(tmp_path: Path, two: Array) -> None:
    two[0, 40:60] = np.nan
    record(tmp_path, two, ["uV", "uV"], ["a", "b"], fmt="16")
    samples = capture(manifest(tmp_path, "rec.hea", channel="a|b")).samples[0, 0]
    np.testing.assert_array_equal(np.flatnonzero(np.isnan(samples)), np.arange(40, 60))
