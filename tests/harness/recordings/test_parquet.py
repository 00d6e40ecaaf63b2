"""Tables of columns: what they must hold, and what is said where they do not."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from harness.errors import CorpusError
from harness.recordings import parquet
from harness.recordings.parquet import ParquetSource


def source(**columns: Any) -> ParquetSource:
    held = io.BytesIO()
    pq.write_table(pa.table(columns), held)
    held.seek(0)

    def beside(name: str) -> str:
        raise AssertionError(f"a table has no other file, asked for {name}")

    return ParquetSource(held, beside)


def test_columns_are_channels_and_row_labels_are_none() -> None:
    table = source(a=[1, 2], time_s=[0.0, 0.5], b=[0.5, None], __index_level_0__=["x", "y"])
    assert table.names == ["a", "time_s", "b"]
    read = table.read(None, None)
    assert read.names == ("a", "b")
    np.testing.assert_array_equal(read.samples, [[1, 2], [0.5, np.nan]])
    np.testing.assert_array_equal(read.time_s, [0.0, 0.5])
    assert read.gaps
    assert not table.read(None, ["a"]).gaps


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ({"time_s": [0.0, 0.1]}, "at least one channel beside time_s"),
        ({"a": ["x", "y"]}, "column 'a' must hold numbers, got type 'string'"),
        ({"a": [1.0, 2.0], "time_s": [0.0, None]}, "a time in every row of time_s"),
        ({"a": [1.0, float("nan")]}, "got nan at row 1, column 'a'"),
    ],
)
def test_what_is_no_recording_is_said(columns: dict[str, Any], says: str) -> None:
    with pytest.raises(CorpusError, match=says):
        source(**columns).read(None, None)


def test_tables_of_too_many_columns_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parquet, "MAX_COLUMNS", 2)
    source(a=[1], b=[2])
    with pytest.raises(CorpusError, match="at most 2 columns, got 3"):
        source(a=[1], b=[2], c=[3])


def test_a_name_that_stands_twice_is_refused() -> None:
    held = io.BytesIO()
    pq.write_table(pa.Table.from_arrays([pa.array([1]), pa.array([2])], names=["a", "a"]), held)
    held.seek(0)
    with pytest.raises(CorpusError, match="each once, got one twice"):
        ParquetSource(held, lambda name: name)
