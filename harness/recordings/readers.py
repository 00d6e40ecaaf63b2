"""Files of recordings, read defensively: what a file declares is judged before it is believed."""

from __future__ import annotations

import csv
import io
import lzma
import math
import struct
import tokenize
import warnings
import zipfile
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import BinaryIO, Protocol

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError

__all__ = ["DEFAULT_ARRAY", "READERS", "Recording", "Source"]

DEFAULT_ARRAY = "samples"
MAX_ARRAY_BYTES = 2**30
MAX_TEXT_BYTES = 2**28
MAX_MEMBERS = 2**18
# Noise of a sensor compresses a few times; thousands of times is a trap for the memory.
SUSPECT_BYTES, SUSPECT_RATIO = 2**26, 100
_BROKEN = (
    *(zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, lzma.LZMAError, struct.error),
    *(EOFError, KeyError, IndexError, NotImplementedError, OSError, OverflowError, RuntimeError),
    *(MemoryError, SyntaxError, TypeError, ValueError, Warning, tokenize.TokenError),
)


@dataclass(frozen=True, slots=True)
class Recording:
    """What one file, or one array of it, holds."""

    samples: Array  # (channels, samples) numbers as stored
    names: tuple[str, ...] | None = None  # of the channels; None: they go by their row number
    time_s: Array | None = None  # (samples,)

    def place(self, channel: int, sample: int) -> str:
        """Return where in the file a sample stands, in words."""
        if self.names is None:
            return f"channel {channel}, sample {sample}"
        return f"line {sample + 2}, column {self.names[channel]!a}"


class Source(Protocol):
    """An open file, from which arrays are read by name."""

    def read(self, array: str | None) -> Recording:
        """Return one array, or the file's only table.

        Raises
        ------
        CorpusError
            If the file is damaged; the sentence says where in the file.
        """
        ...


class NpzSource:
    """A NumPy archive: one array (channels, samples) for each stream; objects are never unpickled."""

    def __init__(self, handle: BinaryIO) -> None:
        try:
            self._zip = zipfile.ZipFile(handle)
            members = self._zip.infolist()
        except _BROKEN as error:
            raise CorpusError(f"must be a NumPy archive, but {_reason(error)}") from None
        self._members = {member.filename: member for member in members}
        if len(members) > MAX_MEMBERS or len(self._members) != len(members):
            raise CorpusError(
                f"must hold at most {MAX_MEMBERS} arrays, each once, got {len(members)} entries"
            )

    def read(self, array: str | None) -> Recording:
        name = DEFAULT_ARRAY if array is None else array
        member = self._members.get(f"{name}.npy")
        if member is None:
            known = ", ".join(ascii(key.removesuffix(".npy")) for key in list(self._members)[:5])
            raise CorpusError(f"must hold an array {name!a}, got {known or 'none at all'}")
        if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise CorpusError(
                f"array {name!a} must be stored or deflated, got compression method {member.compress_type}"
            )
        try:
            samples = self._array(name, member)
        except _BROKEN as error:
            raise CorpusError(f"must hold a readable array {name!a}, but {_reason(error)}") from None
        return Recording(samples=samples)

    def _array(self, name: str, member: zipfile.ZipInfo) -> Array:
        with self._zip.open(member) as stream:
            version = np.lib.format.read_magic(stream)
            read_header = {
                (1, 0): np.lib.format.read_array_header_1_0,
                (2, 0): np.lib.format.read_array_header_2_0,
            }.get(version)
            if read_header is None:
                raise CorpusError(f"array {name!a} must have format version 1 or 2, got {version}")
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                shape, fortran, dtype = read_header(stream)
            if dtype.hasobject:
                raise CorpusError(f"array {name!a} must hold plain numbers, got Python objects")
            if dtype.kind not in "iuf" or dtype.shape or dtype.itemsize > 16:
                raise CorpusError(
                    f"array {name!a} must hold real numbers, got type {ascii(str(dtype))[:60]}"
                )
            if len(shape) != 2 or min(shape) < 0:
                raise CorpusError(
                    f"array {name!a} must have the shape (channels, samples), got {str(shape)[:60]}"
                )
            size = math.prod(shape) * dtype.itemsize
            _check_size(name, size, member)
            if member.file_size != stream.tell() + size:
                raise CorpusError(
                    f"array {name!a} must hold the {size} bytes that its shape {shape} needs, "
                    f"got {member.file_size - stream.tell()}"
                )
            data = stream.read(size + 1)  # one more than there is: the checksum is judged at the end
        if len(data) != size:
            raise CorpusError(f"array {name!a} must hold {size} bytes, got {len(data)}: it is cut off")
        flat = np.frombuffer(data, dtype=dtype)
        return flat.reshape(shape, order="F" if fortran else "C")


def _check_size(name: str, size: int, member: zipfile.ZipInfo) -> None:
    if size > MAX_ARRAY_BYTES:
        raise CorpusError(
            f"array {name!a} must take at most {MAX_ARRAY_BYTES} bytes, got {size} declared; split it"
        )
    if size > SUSPECT_BYTES and size > SUSPECT_RATIO * max(member.compress_size, 1):
        raise CorpusError(
            f"array {name!a} must not expand more than {SUSPECT_RATIO} times, "
            f"got {member.compress_size} bytes that declare {size}"
        )


class CsvSource:
    """A table with a header, one column per channel, and optionally `time_s`."""

    def __init__(self, handle: BinaryIO) -> None:
        raw = handle.read(MAX_TEXT_BYTES + 1)
        if len(raw) > MAX_TEXT_BYTES:
            raise CorpusError(f"must be at most {MAX_TEXT_BYTES} bytes of text, got more; store it as NPZ")
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise CorpusError(f"must be UTF-8 text, got byte {error.start} undecodable") from None
        if "\r" in text:
            text = text.replace("\r\n", "\n").replace("\r", "\n")
        head, _, body = text.partition("\n")
        self._recording = _table(_column_names(head), body.rstrip())

    def read(self, array: str | None) -> Recording:
        return self._recording


def _column_names(head: str) -> list[str]:
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


def _reason(error: Exception | Warning) -> str:
    """Return what a library complained about, on one line."""
    text = " ".join(str(error).split()).rstrip(".")
    return (
        f"{type(error).__name__} says {ascii(text)[:120]}" if text else f"{type(error).__name__} was raised"
    )


READERS: Mapping[str, Callable[[BinaryIO], Source]] = {".npz": NpzSource, ".csv": CsvSource}
