"""The header of a WFDB record: judged here, and rewritten so that it names no file of its own choice.

Form of the lines: the header format of the WFDB Applications Guide (from memory; the tests hold it
against headers that another implementation writes).
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import PurePosixPath, PureWindowsPath
from typing import BinaryIO

from harness.errors import CorpusError
from harness.recordings.recording import Beside

__all__ = ["Line", "RecordHeader", "read_record_header"]

MAX_HEADER_BYTES = 2**20
MAX_LINE = 2**10
MAX_SIGNALS = 2**12
MAX_SAMPLES = 2**31
# Bytes a sample of the formats that are read; compressed ones and differences are not.
_BYTES = {
    "16": Fraction(2), "24": Fraction(3), "32": Fraction(4), "61": Fraction(2), "80": Fraction(1),
    "160": Fraction(2), "212": Fraction(3, 2), "310": Fraction(4, 3), "311": Fraction(4, 3),
}  # fmt: skip
_FORMAT = re.compile(
    r"(?P<code>[0-9]{1,4})(?:x(?P<frames>[0-9]{1,6}))?(?::(?P<skew>[0-9]{1,9}))?(?:\+(?P<offset>[0-9]{1,12}))?"
)
_GAIN = re.compile(
    r"(?P<gain>[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)(?:\([+-]?[0-9]+\))?(?:/(?P<unit>\S+))?",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Line:
    """One signal of a record."""

    number: int  # 1-based line of the header
    file: str
    code: str
    frames: int  # samples of it in one frame
    offset: int
    unit: str  # "" where the header states none
    name: str
    rest: str  # fields after the file's name, as they stand

    @property
    def bytes_per_sample(self) -> Fraction:
        """Bytes of one sample in its file."""
        return _BYTES[self.code]


@dataclass(frozen=True, slots=True)
class RecordHeader:
    """A record of one segment."""

    rate_hz: float  # frames in a second
    frames: int
    lines: tuple[Line, ...]
    record: str  # fields after the record's name, as they stand

    def renamed(self, name: str, files: Sequence[str]) -> str:
        """The same header for other names of record and files."""
        lines = [f"{file} {line.rest}" for file, line in zip(files, self.lines, strict=True)]
        return "\n".join([f"{name} {self.record}", *lines]) + "\n"


def read_record_header(handle: BinaryIO, beside: Beside) -> RecordHeader:
    """Return what a header declares, once every file that it names is there and large enough.

    Raises
    ------
    CorpusError
        With the line of the header.
    """
    size = handle.seek(0, os.SEEK_END)
    if size > MAX_HEADER_BYTES:
        raise CorpusError(f"must be a header of at most {MAX_HEADER_BYTES} bytes, got {size}")
    handle.seek(0)
    try:
        text = handle.read().decode("utf-8")
    except UnicodeDecodeError as error:
        raise CorpusError(f"must be UTF-8 text, got byte {error.start} undecodable") from None
    lines = [
        (number, line.strip())
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    long = [number for number, line in lines if len(line) > MAX_LINE]
    if long:
        raise CorpusError(f"line {long[0]} must have at most {MAX_LINE} characters, got more")
    if not lines:
        raise CorpusError("line 1 must name the record, got an empty header")
    made = _record(*lines[0])
    signals = lines[1:]
    words = made.record.split()
    if not words[0].isdigit() or int(words[0]) != len(signals) or not 0 < len(signals) <= MAX_SIGNALS:
        raise CorpusError(
            f"line {lines[0][0]} must declare as many signals as follow, got {words[0]} for {len(signals)}"
        )
    header = replace(made, lines=tuple(_signal(number, line) for number, line in signals))
    return _sized(header, beside)


def _record(number: int, line: str) -> RecordHeader:
    name, *fields = line.split()
    if "/" in name:
        raise CorpusError(
            f"line {number} must name a record of one segment, got {name[:40]!a}; list its segments"
        )
    if len(fields) < 2:
        raise CorpusError(f"line {number} must state number of signals and rate, got {line[:40]!a}")
    stated = fields[1].partition("/")[0].partition("(")[0]
    try:
        rate = float(stated)
    except ValueError:
        rate = 0.0
    if not 1e-3 <= rate <= 1e8:
        raise CorpusError(f"line {number} must state a positive rate, got {stated[:40]!a}")
    length = fields[2] if len(fields) > 2 else "0"
    if not re.fullmatch(r"[0-9]{1,10}", length) or int(length) > MAX_SAMPLES:
        raise CorpusError(
            f"line {number} must state a length of at most {MAX_SAMPLES} samples, got {length[:40]!a}"
        )
    return RecordHeader(rate_hz=rate, frames=int(length), lines=(), record=" ".join(fields))


def _signal(number: int, line: str) -> Line:
    file, _, rest = line.partition(" ")
    words = rest.split(None, 7)
    coded = _FORMAT.fullmatch(words[0]) if words else None
    if coded is None or coded["code"] not in _BYTES:
        got = words[0] if words else ""
        raise CorpusError(
            f"line {number} must name an uncompressed format ({', '.join(_BYTES)}), got {got[:40]!a}"
        )
    if (
        PurePosixPath(file).name != file
        or PureWindowsPath(file).name != file
        or file in ("..", "~")
        or not file.isprintable()
    ):
        raise CorpusError(f"line {number} must name a file beside the header, got {file[:60]!a}")
    gain = _GAIN.fullmatch(words[1]) if len(words) > 1 else None
    if gain is None or not 1e-30 < abs(float(gain["gain"])) < 1e30:
        got = words[1] if len(words) > 1 else ""
        raise CorpusError(f"line {number} must state a gain that calibrates the signal, got {got[:40]!a}")
    frames = int(coded["frames"] or 1)
    if frames < 1:
        raise CorpusError(f"line {number} must state a sample or more in each frame, got {frames}")
    return Line(
        number=number,
        file=file,
        code=coded["code"],
        frames=frames,
        offset=int(coded["offset"] or 0),
        unit=gain["unit"] or "",
        name=words[7].strip() if len(words) > 7 else "",
        rest=rest,
    )


def _sized(header: RecordHeader, beside: Beside) -> RecordHeader:
    """Check each file against what its signals need; a length not stated is taken from the files."""
    groups: dict[str, list[Line]] = {}
    for line in header.lines:
        groups.setdefault(line.file, []).append(line)
    frames = header.frames
    for file, lines in groups.items():
        first = lines[0]
        if any((x.code, x.offset) != (first.code, first.offset) for x in lines):
            raise CorpusError(f"line {first.number} must share format and offset with all of {file[:60]!a}")
        try:
            found = os.stat(beside(file)).st_size - first.offset
        except CorpusError as error:
            raise CorpusError(f"line {first.number} {error}") from None
        each = sum(x.frames for x in lines) * first.bytes_per_sample  # bytes a frame
        if not frames:
            frames = int(found / each)
        needed = -(-frames * each // 1)
        if found < needed:
            raise CorpusError(
                f"line {first.number}: {file[:60]!a} must hold {needed} bytes for {frames} frames, "
                f"got {found}: it is cut off"
            )
    if frames == 0:
        raise CorpusError("must hold samples, got a record of none")
    return replace(header, frames=frames)
