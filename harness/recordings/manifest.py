"""The manifest of a recorded corpus: one row per stream of an attempt, every cell checked."""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Iterator, Sequence
from pathlib import PurePosixPath
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from harness.contracts import DEVICE_A, DEVICE_B
from harness.errors import CorpusError
from harness.recordings.cells import Day, File, Label, OptionalLabel, Rate, Seconds, Unit, Word, shown
from harness.recordings.readers import FORMATS, Format
from harness.recordings.units import CANONICAL, SAMPLED, canonical

__all__ = [
    "OPTIONAL",
    "OWNERS",
    "REQUIRED",
    "Row",
    "each_row",
    "parse_manifest",
    "row_schema",
    "shown",
]

REQUIRED = ("file", "subject", "session", "attempt", "role", "signal", "rate_hz", "unit")
OPTIONAL = (
    *("array", "channel", "start_s", "stop_s"),
    *("attacker", "device", "day", "condition", "group", "excluded_reason"),
)
OWNERS = (DEVICE_A, DEVICE_B)


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
    unit: Unit
    array: OptionalLabel = None
    channel: OptionalLabel = None
    start_s: Seconds = None
    stop_s: Seconds = None
    attacker: OptionalLabel = None
    device: OptionalLabel = None
    day: Day = None
    condition: OptionalLabel = None
    group: OptionalLabel = None
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
    def format(self) -> Format:
        """What its kind of file states by itself."""
        return FORMATS[self.suffix]

    @property
    def canonical_unit(self) -> str:
        """The unit in which its samples are handed over."""
        return CANONICAL.get(self.signal) or self.unit or ""

    @property
    def try_(self) -> tuple[str, str, str]:
        """The attempt to which the row belongs."""
        return self.subject, self.session, self.attempt


def row_schema() -> dict[str, Any]:
    """Return the JSON Schema of a row as a CSV reader gives it: every cell is text."""
    made = Row.model_json_schema()
    made["properties"].pop("line")
    made["required"] = list(REQUIRED)
    made["title"] = "Row of a manifest"
    made["description"] = "One stream of an attempt, or one channel of it; cells as text, empty if unset."
    for column in OPTIONAL:
        made["properties"][column]["default"] = ""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}


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
    rows: list[Row] = []
    for found in each_row(raw, name=name):
        if isinstance(found, CorpusError):
            raise found
        rows.append(found)
    if not rows:
        raise CorpusError(f"{name}: must have one row per stream of an attempt below its header, got none")
    return rows


def each_row(raw: bytes, *, name: str) -> Iterator[Row | CorpusError]:
    """Yield every row, or each of its violations in its place; one that ends all reading is raised."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise CorpusError(
            f"{name} line {line}: must be UTF-8 text, got byte {error.start} undecodable"
        ) from None
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    before = 0  # a quoted cell may hold line ends: a row starts after the last line of the one before
    try:
        header = next(reader, [])
        _check_header(header, name)
        before = reader.line_num
        for cells in reader:
            if cells:
                yield from _row(header, cells, before + 1, name)
            before = reader.line_num
    except csv.Error as error:
        raise CorpusError(f"{name} line {before + 1}: must be well-formed CSV, but {error}") from None


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


def _row(header: Sequence[str], cells: Sequence[str], line: int, name: str) -> Iterator[Row | CorpusError]:
    if len(cells) != len(header):
        yield CorpusError(
            f"{name} line {line}: must have {len(header)} cells as the header has, got {len(cells)}"
        )
        return
    found: dict[str, Any] = {column: cell.strip() for column, cell in zip(header, cells, strict=True)}
    try:
        row = Row(line=line, **found)
    except ValidationError as error:
        for violation in error.errors(include_url=False, include_context=False):
            column = str(violation["loc"][0])
            message = violation["msg"].removeprefix("Value error, ")
            yield CorpusError(f"{name} line {line}, `{column}`: {message}, got {shown(found.get(column))}")
        return
    wrong = _contradictions(row)
    yield from (CorpusError(f"{name} line {line}, `{column}`: {message}") for column, message in wrong)
    if not wrong:
        yield row


def _contradictions(row: Row) -> list[tuple[str, str]]:
    """Return (column, sentence) where cells that are each fine do not go together."""
    found = []
    try:
        if row.unit is not None:
            canonical(row.signal, row.unit)
        elif not row.format.header:
            found.append(("unit", f"must be stated for a {row.suffix} file, got an empty cell"))
        elif row.signal not in CANONICAL:
            found.append(("unit", f"must be stated for {shown(row.signal)}, got an empty cell"))
    except CorpusError as error:
        found.append(("unit", str(error)))
    if row.format.numbered:
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
