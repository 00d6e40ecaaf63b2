"""Text tables: a header, one column per channel, and optionally `time_s`."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from typing import BinaryIO

import numpy as np

from harness.errors import CorpusError
from harness.recordings.recording import Beside, Recording

__all__ = ["CsvSource", "column_names"]

MAX_TEXT_BYTES = 2**28


class CsvSource:
    """A table with a header, one column per channel, and optionally `time_s`."""

    def __init__(self, handle: BinaryIO, beside: Beside) -> None:
        size = handle.seek(0, os.SEEK_END)
        if size > MAX_TEXT_BYTES:
            raise CorpusError(
                f"must be at most {MAX_TEXT_BYTES} bytes of text, got {size}; store it as NPZ or Parquet"
            )
        handle.seek(0)
        raw = handle.read(MAX_TEXT_BYTES)
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise CorpusError(f"must be UTF-8 text, got byte {error.start} undecodable") from None
        if "\r" in text:
            text = text.replace("\r\n", "\n").replace("\r", "\n")
        head, _, body = text.partition("\n")
        self._recording = _table(column_names(head), body.rstrip())

    def read(self, array: str | None, channels: Sequence[str] | None) -> Recording:
        return self._recording


def column_names(head: str) -> list[str]:
    """Return the names of the columns in the first line of a table, each once."""
    try:
        names = [name.strip() for name in next(csv.reader([head], strict=True), [])]
    except csv.Error as error:
        raise CorpusError(f"line 1 must be a header of column names, but {error}") from None
    if not names or "" in names or len(set(names)) != len(names):
        raise CorpusError("line 1 must be a header that names every column, each once")
    return names


def _table(names: list[str], body: str) -> Recording:
    shape = (body.count("\n") + 1 if body else 0, len(names))
    table = np.empty(shape)
    if body:
        try:
            table = np.loadtxt(io.StringIO(body), delimiter=",", comments=None, ndmin=2)
        except (ValueError, OverflowError) as error:
            raise _unreadable(names, body, str(error)) from None
        if table.shape != shape:  # blank lines are dropped silently; here they are lost samples
            raise _unreadable(
                names, body, f"{table.shape[0]} of {shape[0]} lines hold {len(names)} numbers"
            )
    channels = [k for k, name in enumerate(names) if name != "time_s"]
    if not channels:
        raise CorpusError("line 1 must name at least one channel beside time_s, got none")
    return Recording(
        lined=True,
        samples=table.T[channels],
        names=tuple(names[k] for k in channels),
        time_s=table[:, names.index("time_s")] if "time_s" in names else None,
    )


def _unreadable(names: list[str], body: str, reason: str) -> CorpusError:
    for line, text in enumerate(body.split("\n"), start=2):
        cells = text.split(",")
        if len(cells) != len(names):
            return CorpusError(
                f"line {line} must hold {len(names)} numbers as the header does, got {len(cells)}"
            )
        for name, cell in zip(names, cells, strict=True):
            try:
                float(cell.strip().strip('"'))
            except ValueError:
                return CorpusError(f"line {line}, column {name!a} must be a number, got {ascii(cell)[:60]}")
    return CorpusError(f"must be a table of numbers, but {ascii(reason)[:120]}")
