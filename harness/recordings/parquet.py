"""Parquet tables: one column per channel, and optionally `time_s`; null is a declared gap."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, BinaryIO

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError
from harness.recordings.recording import Beside, Recording, check_array_size, needed, picked, reason_of

__all__ = ["ParquetSource"]

TIME = "time_s"
MAX_COLUMNS = 2**14
MAX_THRIFT = 2**26  # of the file's own description of itself


class ParquetSource:
    """A flat table of numbers; only the columns that are asked for are read."""

    def __init__(self, handle: BinaryIO, beside: Beside) -> None:
        self._arrow = needed("pyarrow", "parquet")
        reader = needed("pyarrow.parquet", "parquet")
        try:
            self._file = reader.ParquetFile(
                handle, thrift_string_size_limit=MAX_THRIFT, thrift_container_size_limit=MAX_THRIFT
            )
            schema = self._file.schema_arrow
        except (self._arrow.ArrowException, OSError, ValueError, MemoryError) as error:
            raise CorpusError(f"must be a Parquet table, but {reason_of(error)}") from None
        # a data frame's own row labels are no channel
        self._columns = {n: t for n, t in zip(schema.names, schema.types, strict=True) if not _label(n)}
        if len(self._columns) != sum(not _label(n) for n in schema.names):
            raise CorpusError("must name every column, each once, got one twice")
        if len(self._columns) > MAX_COLUMNS:
            raise CorpusError(f"must have at most {MAX_COLUMNS} columns, got {len(self._columns)}")

    @property
    def names(self) -> list[str]:
        """Columns, the time's included."""
        return list(self._columns)

    def read(self, array: str | None, channels: Sequence[str] | None) -> Recording:
        names = [n for n in self._columns if n != TIME]
        if not names:
            raise CorpusError(f"must have at least one channel beside {TIME}, got none")
        wanted = [names[k] for k in picked(names, channels)]
        timed = [TIME] if TIME in self._columns else []
        for name in [*wanted, *timed]:
            kind = self._columns[name]
            if not (self._arrow.types.is_integer(kind) or self._arrow.types.is_floating(kind)):
                raise CorpusError(f"column {name!a} must hold numbers, got type {ascii(str(kind))[:60]}")
        check_array_size(self._file.metadata.num_rows * (len(wanted) + 1) * 8)
        try:
            table = self._file.read(columns=[*wanted, *timed], use_threads=False)
        except (self._arrow.ArrowException, OSError, ValueError, MemoryError) as error:
            raise CorpusError(f"must hold readable columns, but {reason_of(error)}") from None
        time_s = self._numbers(table.column(TIME), TIME) if timed else None
        if time_s is not None and table.column(TIME).null_count:
            raise CorpusError(f"must hold a time in every row of {TIME}, got none in one")
        samples = [self._numbers(table.column(name), name) for name in wanted]
        return Recording(
            samples=np.array(samples),
            names=tuple(wanted),
            time_s=time_s,
            gaps=any(table.column(name).null_count for name in wanted),
        )

    def _numbers(self, column: Any, name: str) -> Array:
        numbers = np.asarray(column.cast(self._arrow.float64()).to_numpy(), dtype=np.float64)
        missing = np.asarray(column.is_null().to_numpy(), dtype=bool)
        bad = np.flatnonzero(np.isnan(numbers) & ~missing)
        if len(bad):  # a missing value is null here; a NaN is somebody's failed arithmetic
            raise CorpusError(f"must hold finite samples, got nan at row {bad[0]}, column {name!a}")
        return numbers


def _label(name: str) -> bool:
    return name.startswith("__index_level_")
