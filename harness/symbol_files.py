"""A file of bits or symbols, as whoever recorded a source hands it over."""

from __future__ import annotations

import io
import math
import re
import warnings
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Literal

import numpy as np

from harness.contracts import Array
from harness.errors import UsageError

__all__ = ["KINDS", "WIDEST", "SymbolFile", "read_symbols"]

Kind = Literal["bits", "integers", "bytes", "array"]
KINDS: tuple[Kind, ...] = ("bits", "integers", "bytes", "array")
WIDEST = 8
"""Bits of a symbol at most: SP 800-90B (2018) assesses no wider ones."""

_MOST = 1 << 27  # bytes of a file, or of an array in one
_SPACE = b" \t\r\n\v\f"
_PRINTABLE = bytes(range(32, 127)) + _SPACE
_LONGEST = 18  # digits of a number that is looked at; more cannot be a symbol
_BROKEN = (OSError, EOFError, ValueError, NotImplementedError, RuntimeError, zipfile.BadZipFile, zlib.error)


@dataclass(frozen=True, slots=True, kw_only=True)
class SymbolFile:
    """Symbols, and how they were read."""

    symbols: Array  # (n,) or (restarts, n) uint8
    bits: int  # of a symbol
    alphabet: int  # symbols that there are: all of so many bits if that was told, else up to the greatest
    kind: Kind


def read_symbols(
    path: Path, *, kind: str | None = None, array: str | None = None, bits: int | None = None
) -> SymbolFile:
    """Read bits or symbols from a file.

    Parameters
    ----------
    path : Path
        Text: characters 0 and 1, or whole numbers between spaces, commas, semicolons or line ends. Raw
        bytes. A NumPy file (.npy) or archive (.npz) of whole numbers; objects are never unpickled. What it
        is shows from its content, never from its name.
    kind : str, optional
        One of `KINDS`, where the content could be either.
    array : str, optional
        Which array of an archive that has several.
    bits : int, optional
        Of a symbol, 1 to 8. Raw bytes are cut into symbols of so many, the first bit weighing most: 1, 2,
        4 or 8 (if not told). Other kinds have the fewest that hold the largest symbol, or as many as told.

    Raises
    ------
    UsageError
        In one sentence: whatever is wrong with the file, with its place in it.
    """
    if path.is_dir() or not path.is_file():
        what = "a folder" if path.is_dir() else "none" if not path.exists() else "something else"
        raise UsageError(f"FILE must be a file of bits or symbols, got {what} at {path}")
    if bits is not None and not 1 <= bits <= WIDEST:
        raise UsageError(f"symbols must have 1 to {WIDEST} bits, got {bits}")
    try:
        size = path.stat().st_size
        if size > _MOST:
            raise UsageError(f"FILE must have at most {_MOST} bytes, got {size}: assess a part of it")
        data = path.read_bytes()
    except OSError as error:
        raise UsageError(f"FILE must be readable, got {error.strerror} at {path}") from None
    found = _kind(data) if kind is None else kind
    if found not in KINDS:
        raise UsageError(f"the kind of file must be one of {', '.join(KINDS)}, got {found}")
    if array is not None and found != "array":
        raise UsageError(f"only a NumPy archive has arrays to choose from, but FILE was read as {found}")
    if found == "bits":
        return _sized(_bits(data), bits, "bits")
    if found == "integers":
        return _sized(_integers(data), bits, "integers")
    if found == "array":
        return _sized(_array(data, array), bits, "array")
    return _raw(data, bits)


def _kind(data: bytes) -> Kind:
    if data.startswith((b"\x93NUMPY", b"PK\x03\x04", b"PK\x05\x06")):
        return "array"
    text = data.removeprefix(b"\xef\xbb\xbf")
    if text.translate(None, _PRINTABLE):
        return "bytes"
    return "integers" if text.translate(None, b"01" + _SPACE) else "bits"


def _bits(data: bytes) -> Array:
    text = data.removeprefix(b"\xef\xbb\xbf").translate(None, _SPACE)
    other = text.translate(None, b"01")
    if other:
        place = text.index(other[:1]) + 1
        raise UsageError(f"bits must be characters 0 and 1, got {chr(other[0])!a} as character {place}")
    return np.frombuffer(text, np.uint8) - ord("0")


def _integers(data: bytes) -> Array:
    tokens = data.removeprefix(b"\xef\xbb\xbf").replace(b",", b" ").replace(b";", b" ").split()
    longest = max(map(len, tokens), default=0)
    if longest <= _LONGEST:
        try:
            return np.array(tokens, dtype=f"S{max(longest, 1)}").astype(np.int64)
        except ValueError:
            pass
    whole = re.compile(rb"[+-]?\d+")
    for place, token in enumerate(tokens, 1):
        shown = ascii(token[:20].decode("latin-1")) + ("..." if len(token) > 20 else "")
        if not whole.fullmatch(token):
            raise UsageError(f"symbols must be whole numbers, got {shown} as number {place}")
        if len(token) > _LONGEST:
            raise UsageError(
                f"symbols must have at most {WIDEST} bits and stand apart, got {shown} as number {place}: "
                "put spaces or commas between symbols"
            )
    raise UsageError("symbols must be whole numbers, got others")


def _raw(data: bytes, bits: int | None) -> SymbolFile:
    width = WIDEST if bits is None else bits
    if WIDEST % width:
        raise UsageError(f"raw bytes are cut into symbols of 1, 2, 4 or 8 bits, got {width}")
    flat = np.unpackbits(np.frombuffer(data, np.uint8)).reshape(-1, width)
    return _sized(np.packbits(flat, axis=1)[:, 0] >> (8 - width), width, "bytes")


def _array(data: bytes, name: str | None) -> Array:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            if data.startswith(b"\x93NUMPY"):
                if name is not None:
                    raise UsageError("a NumPy file holds one array: leave `--array` out")
                return _plain(io.BytesIO(data), len(data))
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                member = archive.getinfo(f"{_chosen(archive, name)}.npy")
                with archive.open(member) as stream:
                    return _plain(stream, member.file_size)
    except UsageError:
        raise
    except (*_BROKEN, Warning) as error:
        raise UsageError(
            f"FILE must be a whole NumPy file or archive, got one that cannot be read: {error}"
        ) from None


def _chosen(archive: zipfile.ZipFile, name: str | None) -> str:
    names = [n.removesuffix(".npy") for n in archive.namelist() if n.endswith(".npy")]
    known = ", ".join(ascii(n)[1:-1] for n in names[:5]) or "none"
    if name is None and len(names) != 1:
        raise UsageError(f"`--array` must name one array of the archive, which holds {known}")
    if name is not None and name not in names:
        raise UsageError(f"`--array` must name an array of the archive, got {name}; it holds {known}")
    return names[0] if name is None else name


def _plain(stream: IO[bytes], size: int) -> Array:
    """An array of plain numbers; how much is read is known before it is."""
    version = np.lib.format.read_magic(stream)
    headers = {
        (1, 0): np.lib.format.read_array_header_1_0,
        (2, 0): np.lib.format.read_array_header_2_0,
    }
    if version not in headers:
        raise UsageError(f"a NumPy array must have format version 1 or 2, got {version}")
    shape, fortran, dtype = headers[version](stream)
    if dtype.hasobject or dtype.kind not in "iubf" or dtype.shape:
        raise UsageError(f"an array must hold whole numbers, got type {ascii(str(dtype))[:60]}")
    if len(shape) not in (1, 2) or min(shape, default=0) < 0:
        raise UsageError(f"an array must be (symbols,) or (restarts, symbols), got shape {str(shape)[:60]}")
    wanted = math.prod(shape) * dtype.itemsize
    there = size - stream.tell()
    if wanted > _MOST or wanted > there:
        raise UsageError(
            f"an array must have at most {_MOST} bytes and no more than are there, got shape "
            f"{str(shape)[:60]} of {dtype} where {there} bytes are"
        )
    flat = np.frombuffer(stream.read(wanted), dtype)
    return flat.reshape(shape, order="F" if fortran else "C")


def _sized(values: Array, bits: int | None, kind: Kind) -> SymbolFile:
    if values.size < 2:
        raise UsageError(f"FILE must hold at least two symbols, got {values.size}")
    flat = values.ravel()
    if values.dtype.kind == "f":
        # NaN equals nothing, and infinity is above every width
        broken = np.flatnonzero(flat != np.rint(flat))
        if broken.size:
            place = int(broken[0])
            raise UsageError(f"symbols must be whole numbers, got {flat[place]:g} as number {place + 1}")
    if flat.min() < 0:
        place = int(np.argmax(flat < 0))
        raise UsageError(f"symbols must be 0 or more, got {flat[place]:g} as number {place + 1}")
    most = 2 ** (WIDEST if bits is None else bits) - 1
    if flat.max() > most:
        place = int(np.argmax(flat > most))
        limit, advice = f"of {bits} bits", "allow more bits"
        if most == 2**WIDEST - 1:
            limit = f"of {WIDEST} bits, the widest that the standard assesses"
            advice = "quantise more coarsely, or cut each into bytes"
        raise UsageError(
            f"symbols must be at most {most} ({limit}), got {flat[place]:g} as number {place + 1}: {advice}"
        )
    greatest = max(1, int(flat.max()))
    width = greatest.bit_length() if bits is None else bits
    alphabet = greatest + 1 if bits is None else 2**bits
    return SymbolFile(symbols=values.astype(np.uint8), bits=width, alphabet=alphabet, kind=kind)
