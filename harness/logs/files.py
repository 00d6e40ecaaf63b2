"""A table of finished exchanges as a file: NPZ arrays, or CSV with a column each.

One row is one exchange. Columns (arrays) are ``subject``, ``session``, ``witness_a``, ``witness_b``,
``key_a``, ``key_b``, ``accepted``, ``seconds``, ``helper:NAME`` for what was published and ``role:NAME``
for the symbols that an adversary of that role derived. In CSV a cell holds digits, one a symbol, or numbers
with spaces between; a key may be written as 0x… too. An empty witness is a failure to acquire, an empty key
was never made.
"""

from __future__ import annotations

import csv
import io
import re
import tokenize
import zipfile
import zlib
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError

__all__ = ["read_table"]

MOST_BYTES = 2**29  # of all arrays unpacked: symbols and keys are computed with as float64
MOST_TEXT = 2**27  # bytes of a CSV file, which are some ten times as many once they are read
_DAMAGED = (
    ValueError,
    OSError,
    EOFError,
    KeyError,
    MemoryError,
    RuntimeError,  # a password is asked for, or brackets nest too deeply
    SyntaxError,
    tokenize.TokenError,
    zipfile.BadZipFile,
    zlib.error,
)
"""What reading arrays out of a file that is none has been seen to raise."""
NONE = -1  # stands in a row of symbols that was left empty


def read_table(path: Path) -> tuple[Mapping[str, Array], int]:
    """Columns by name, row for row, and the number of the first row in the file's own counting.

    Raises
    ------
    CorpusError
        If the file cannot be read, is too large, or holds what is no table.
    """
    if not path.is_file():
        raise CorpusError(f"a log of exchanges must exist, found none at {path.name}")
    size, most = path.stat().st_size, MOST_BYTES if path.suffix == ".npz" else MOST_TEXT
    if not 0 < size <= most:
        raise CorpusError(f"{path.name} must have 1 to {most} bytes, got {size}")
    if path.suffix == ".npz":
        return _npz(path), 0
    return _csv(path), 2


def _npz(path: Path) -> dict[str, Array]:
    try:
        with zipfile.ZipFile(path) as archive:
            total = sum(entry.file_size for entry in archive.infolist())
        if total > MOST_BYTES:
            raise CorpusError(f"{path.name} must hold at most {MOST_BYTES} bytes, got {total}")
        with np.load(path, allow_pickle=False) as arrays:
            return {name: np.asarray(arrays[name]) for name in arrays.files}
    except _DAMAGED as error:
        raise CorpusError(f"{path.name} must be an NPZ file of plain arrays, got: {error}") from error


def _csv(path: Path) -> dict[str, Array]:
    try:
        text = path.read_text("utf-8-sig")
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise CorpusError(f"{path.name} must be a CSV file in UTF-8, got: {error}") from error
    blank = next((number for number, row in enumerate(rows, 1) if not row and number < len(rows)), None)
    if blank is not None and any(rows[blank:]):
        raise CorpusError(f"{path.name}, row {blank}: must not be empty")  # rows are named by their number
    rows = [row for row in rows if row]
    if len(rows) < 2:
        raise CorpusError(f"{path.name} must hold a header and at least one row, got {len(rows)} lines")
    header = [name.strip() for name in rows[0]]
    twice = sorted({name for name in header if header.count(name) > 1})
    if twice:
        raise CorpusError(f"{path.name} must name every column once, got {twice[0]!r} twice")
    for number, row in enumerate(rows[1:], 2):
        if len(row) != len(header):
            raise CorpusError(f"{path.name}, row {number}: must have {len(header)} cells, got {len(row)}")
    columns = {name: [row[i].strip() for row in rows[1:]] for i, name in enumerate(header)}
    return {name: _column(f"{path.name}, {name}", name, cells) for name, cells in columns.items()}


def _column(where: str, name: str, cells: list[str]) -> Array:
    if name in ("subject", "session"):
        return np.array(cells)
    if name in ("accepted", "seconds"):
        words = {"true": 1.0, "false": 0.0, "yes": 1.0, "no": 0.0}
        return np.array(
            [words[c.lower()] if c.lower() in words else _number(where, i, c) for i, c in enumerate(cells)]
        )
    read: Callable[[str, int, str], Array] = _key if name in ("key_a", "key_b") else _numbers
    parts = [read(where, i, cell) for i, cell in enumerate(cells)]
    widths = {len(p) for p in parts if len(p)}
    if len(widths) > 1:
        first = next(len(p) for p in parts if len(p))
        odd = next(i for i, p in enumerate(parts) if len(p) not in (0, first))
        raise CorpusError(
            f"{where}, row {odd + 2}: must hold {first} values as rows before it do, got {len(parts[odd])}"
        )
    width = widths.pop() if widths else 0
    none = np.full(width, float(NONE))
    return np.array([p if len(p) else none for p in parts], float).reshape(len(cells), width)


def _number(where: str, index: int, cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        raise CorpusError(f"{where}, row {index + 2}: must be a number, got {cell!r}") from None


def _numbers(where: str, index: int, cell: str) -> Array:
    if cell.isascii() and cell.isdigit():
        return np.frombuffer(cell.encode("ascii"), np.uint8) - ord("0")
    return np.array([_number(where, index, part) for part in cell.split()])


def _key(where: str, index: int, cell: str) -> Array:
    if cell.lower().startswith("0x"):
        digits = cell[2:].lower()
        if re.fullmatch("[0-9a-f]+", digits) is None:  # int() would take 0x_f, and sizes differ
            raise CorpusError(f"{where}, row {index + 2}: must be hexadecimal, got {cell!r}")
        octets = np.frombuffer(bytes.fromhex("0" * (len(digits) % 2) + digits), np.uint8)
        return np.unpackbits(octets)[4 * (len(digits) % 2) :]
    return _numbers(where, index, cell)
