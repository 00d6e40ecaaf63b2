"""Which kinds of file are read, by whom, and what each kind states by itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import BinaryIO

from harness.recordings.arrays import NpzSource
from harness.recordings.edf import BdfSource, EdfSource
from harness.recordings.parquet import ParquetSource
from harness.recordings.recording import Beside, Source
from harness.recordings.tables import CsvSource
from harness.recordings.wfdb_records import WfdbSource

__all__ = ["FORMATS", "Format"]


@dataclass(frozen=True, slots=True)
class Format:
    """How files of one kind are opened, and what the manifest need not say of them."""

    open: Callable[[BinaryIO, Beside], Source]
    numbered: bool = False  # channels go by row number, and arrays by name
    header: bool = False  # states rate and units


FORMATS: Mapping[str, Format] = {
    ".npz": Format(NpzSource, numbered=True),
    ".csv": Format(CsvSource),
    ".edf": Format(EdfSource, header=True),
    ".bdf": Format(BdfSource, header=True),
    ".hea": Format(WfdbSource, header=True),
    ".parquet": Format(ParquetSource),
}
"""By suffix. A WFDB record is named by its header, `.hea`."""
