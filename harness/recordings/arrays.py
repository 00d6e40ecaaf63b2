"""NumPy archives, read defensively: what a file declares is judged before it is believed."""

from __future__ import annotations

import lzma
import math
import struct
import tokenize
import warnings
import zipfile
import zlib
from collections.abc import Sequence
from typing import BinaryIO

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError
from harness.recordings.recording import MAX_ARRAY_BYTES, Beside, Recording, reason_of

__all__ = ["DEFAULT_ARRAY", "NpzSource"]

DEFAULT_ARRAY = "samples"
MAX_MEMBERS = 2**18
# Noise of a sensor compresses a few times; thousands of times is a trap for the memory.
SUSPECT_BYTES, SUSPECT_RATIO = 2**26, 100
_BROKEN = (
    *(zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, lzma.LZMAError, struct.error),
    *(EOFError, KeyError, IndexError, NotImplementedError, OSError, OverflowError, RuntimeError),
    *(MemoryError, SyntaxError, TypeError, ValueError, Warning, tokenize.TokenError),
)


class NpzSource:
    """A NumPy archive: one array (channels, samples) for each stream; objects are never unpickled."""

    def __init__(self, handle: BinaryIO, beside: Beside) -> None:
        try:
            self._zip = zipfile.ZipFile(handle)
            members = self._zip.infolist()
        except _BROKEN as error:
            raise CorpusError(f"must be a NumPy archive, but {reason_of(error)}") from None
        self._members = {member.filename: member for member in members}
        if len(members) > MAX_MEMBERS or len(self._members) != len(members):
            raise CorpusError(
                f"must hold at most {MAX_MEMBERS} arrays, each once, got {len(members)} entries"
            )

    @property
    def arrays(self) -> list[str]:
        """Names of the arrays, in the file's order."""
        return [name.removesuffix(".npy") for name in self._members]

    def read(self, array: str | None, channels: Sequence[str] | None) -> Recording:
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
            raise CorpusError(f"must hold a readable array {name!a}, but {reason_of(error)}") from None
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
