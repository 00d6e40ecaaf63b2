"""The manifest of a recorded corpus: one row per stream of an attempt, every cell checked."""

from __future__ import annotations

import csv
import difflib
import io
import math
import re
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import PurePosixPath, PureWindowsPath
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError

from harness.contracts import DEVICE_A, DEVICE_B
from harness.errors import CorpusError
from harness.recordings.readers import READERS
from harness.recordings.units import SAMPLED, canonical

__all__ = ["OPTIONAL", "OWNERS", "REQUIRED", "Row", "parse_manifest", "shown"]

REQUIRED = ("file", "subject", "session", "attempt", "role", "signal", "rate_hz", "unit")
OPTIONAL = (
    *("array", "channel", "start_s", "stop_s"),
    *("attacker", "device", "day", "condition", "excluded_reason"),
)
OWNERS = (DEVICE_A, DEVICE_B)
RESERVED = frozenset({"helper", "population", "history", "labels", "device"})  # words of Attack.sees
MAX_RATE_HZ, MIN_RATE_HZ, MAX_SECONDS = 1e8, 1e-3, 1e9
MAX_LABEL = 200
_WORD = re.compile(r"[a-z0-9][a-z0-9._-]{0,63}", re.ASCII)


def shown(value: object) -> str:
    """Return `value` quoted, on one line and cut to a readable length, for an error message."""
    text = ascii(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _file(cell: str) -> str:
    path = PurePosixPath(cell)
    if path.is_absolute() or PureWindowsPath(cell).drive or "\\" in cell:
        raise ValueError("must be a path relative to the manifest, with / between folders")
    if ".." in path.parts:
        raise ValueError("must stay below the manifest's folder, without `..`")
    if not path.name or not cell.isprintable():
        raise ValueError("must name a file")
    if path.suffix.lower() not in READERS:
        raise ValueError(f"must end in {' or '.join(READERS)}")
    return str(path)


def _label(cell: str) -> str:
    if not cell or len(cell) > MAX_LABEL or not cell.isprintable():
        raise ValueError(f"must be a printable label of 1 to {MAX_LABEL} characters")
    return cell


def _word(cell: str) -> str:
    if not _WORD.fullmatch(cell):
        raise ValueError("must be a word of lower-case letters, digits, `-`, `_` and `.`")
    if cell in RESERVED:
        raise ValueError(f"must not be one of the reserved words {', '.join(sorted(RESERVED))}")
    return cell


def _number(low: float, high: float, what: str) -> Callable[[str], float | None]:
    def parse(cell: str) -> float | None:
        if not cell:
            return None
        try:
            value = float(cell) if "_" not in cell else math.nan
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise ValueError(f"must be {what} from {low:g} to {high:g}, or empty")
        return value

    return parse


def _day(cell: str) -> int | date | None:
    if not cell:
        return None
    if re.fullmatch(r"[0-9]{1,9}", cell, re.ASCII):
        return int(cell)
    try:
        return date.fromisoformat(cell)
    except ValueError:
        raise ValueError("must be a day number or a date such as 2001-12-31") from None


def _optional(cell: str) -> str | None:
    return _label(cell) if cell else None


File = Annotated[str, BeforeValidator(_file)]
Label = Annotated[str, BeforeValidator(_label)]
Word = Annotated[str, BeforeValidator(_word)]
OptionalLabel = Annotated[str | None, BeforeValidator(_optional)]
Rate = Annotated[
    float | None, BeforeValidator(_number(MIN_RATE_HZ, MAX_RATE_HZ, "a positive number of hertz"))
]
Seconds = Annotated[float | None, BeforeValidator(_number(0, MAX_SECONDS, "a number of seconds"))]
Day = Annotated[int | date | None, BeforeValidator(_day)]


class Row(BaseModel):
    """One row of a manifest: one stream, or one channel of it, of one attempt."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid")

    line: int  # 1-based, in the manifest file
    file: File
    subject: Label
    session: Label
    attempt: Label
    role: Word
    signal: Word
    rate_hz: Rate
    unit: Label
    array: OptionalLabel = None
    channel: OptionalLabel = None
    start_s: Seconds = None
    stop_s: Seconds = None
    attacker: OptionalLabel = None
    device: OptionalLabel = None
    day: Day = None
    condition: OptionalLabel = None
    excluded_reason: OptionalLabel = None

    @property
    def stream(self) -> str:
        """Role and signal, as captures are keyed."""
        return f"{self.role}:{self.signal}"

    @property
    def suffix(self) -> str:
        """Kind of file, in lower case, with its dot."""
        return PurePosixPath(self.file).suffix.lower()

    @property
    def try_(self) -> tuple[str, str, str]:
        """The attempt to which the row belongs."""
        return self.subject, self.session, self.attempt


def parse_manifest(raw: bytes, *, name: str) -> list[Row]:
    """Return the rows of a manifest, each checked by itself.

    Parameters
    ----------
    raw : bytes
        The manifest file: UTF-8 CSV with a header.
    name : str
        How error messages call the file.

    Raises
    ------
    CorpusError
        On the first violation: one sentence with file, line and column.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise CorpusError(
            f"{name} line {line}: must be UTF-8 text, got byte {error.start} undecodable"
        ) from None
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows: list[Row] = []
    before = 0  # a quoted cell may hold line ends: a row starts after the last line of the one before
    try:
        header = next(reader, [])
        _check_header(header, name)
        before = reader.line_num
        for cells in reader:
            if cells:
                rows.append(_row(header, cells, before + 1, name))
            before = reader.line_num
    except csv.Error as error:
        raise CorpusError(f"{name} line {before + 1}: must be well-formed CSV, but {error}") from None
    if not rows:
        raise CorpusError(f"{name}: must have one row per stream of an attempt below its header, got none")
    return rows


def _check_header(header: Sequence[str], name: str) -> None:
    known = (*REQUIRED, *OPTIONAL)
    for column in header:
        if column not in known:
            near = difflib.get_close_matches(column.strip().lower(), known, n=1, cutoff=0.0)
            raise CorpusError(
                f"{name} line 1: column {shown(column)} is unknown, the nearest known one is `{near[0]}`; "
                "rename or remove it"
            )
        if header.count(column) > 1:
            raise CorpusError(f"{name} line 1: column `{column}` must stand there once, got it twice")
    for column in REQUIRED:
        if column not in header:
            raise CorpusError(f"{name} line 1: must have a column `{column}`, got none; add it")


def _row(header: Sequence[str], cells: Sequence[str], line: int, name: str) -> Row:
    if len(cells) != len(header):
        raise CorpusError(
            f"{name} line {line}: must have {len(header)} cells as the header has, got {len(cells)}"
        )
    found: dict[str, Any] = {column: cell.strip() for column, cell in zip(header, cells, strict=True)}
    try:
        row = Row(line=line, **found)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        column = str(first["loc"][0])
        message = first["msg"].removeprefix("Value error, ")
        raise CorpusError(
            f"{name} line {line}, `{column}`: {message}, got {shown(found.get(column))}"
        ) from None
    for column, message in _contradictions(row):
        raise CorpusError(f"{name} line {line}, `{column}`: {message}")
    return row


def _contradictions(row: Row) -> list[tuple[str, str]]:
    """Return (column, sentence) where cells that are each fine do not go together."""
    found = []
    try:
        canonical(row.signal, row.unit)
    except CorpusError as error:
        found.append(("unit", str(error)))
    if row.suffix == ".npz":
        if row.channel is not None and not re.fullmatch(r"[0-9]{1,9}", row.channel, re.ASCII):
            found.append(
                ("channel", f"must be a row number from 0 for an NPZ file, got {shown(row.channel)}")
            )
        if row.rate_hz is None and row.signal in SAMPLED:
            found.append(
                ("rate_hz", f"must be a positive number of hertz for {row.signal}, got an empty cell")
            )
    elif row.array is not None:
        found.append(("array", f"must be empty for a {row.suffix} file, got {shown(row.array)}"))
    if row.signal == "intervals" and row.rate_hz is not None:
        found.append(("rate_hz", f"must be empty for intervals, which are events, got {row.rate_hz:g}"))
    if row.stop_s is not None and row.stop_s <= (row.start_s or 0.0):
        found.append(("stop_s", f"must be greater than start_s, got {row.stop_s:g}"))
    if row.attacker is not None and row.role in OWNERS:
        found.append(("attacker", f"must be empty for {row.role}, the owner's, got {shown(row.attacker)}"))
    return found
