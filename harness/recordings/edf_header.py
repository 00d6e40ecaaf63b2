"""What an EDF or BDF header declares, held against the size of its file before it is believed.

Offsets and widths of the fields: Kemp et al., Electroencephalogr. Clin. Neurophysiol. 82 (1992)
391–393, and Kemp and Olivan, Clin. Neurophysiol. 114 (2003) 1755–1761 for EDF+ (from memory; the
tests hold them against files that another implementation writes).
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError

__all__ = ["FREE_TEXT", "Header", "read_header", "record_onsets"]

MAX_BYTES = 2**31
MAX_SIGNALS = 2**12
FREE_TEXT = "patient identification"
_FIXED, _PER_SIGNAL = 256, 256
_BEFORE_SAMPLES = 16 + 80 + 8 + 8 + 8 + 8 + 8 + 80  # bytes a signal, of the fields before its samples
_WIDTH = {"EDF": 2, "BDF": 3}
_FIRST = {"EDF": b"0       ", "BDF": b"\xffBIOSEMI"}
_ONSET = re.compile(rb"([+-][0-9]{1,12}(?:\.[0-9]{0,12})?)[\x14\x15]")


@dataclass(frozen=True, slots=True)
class Header:
    """Layout of the data records."""

    records: int
    seconds: float  # of one record
    sizes: tuple[int, ...]  # samples of each signal in one record, annotations included
    width: int  # bytes a sample
    annotations: int | None  # place of the signal that carries the records' onsets
    interrupted: bool  # declared as such
    person: Mapping[str, str]

    @property
    def start(self) -> int:
        """Byte at which the first record begins."""
        return _FIXED + _PER_SIGNAL * len(self.sizes)

    @property
    def record_bytes(self) -> int:
        """Bytes of one record."""
        return sum(self.sizes) * self.width


def read_header(handle: BinaryIO, kind: str) -> Header:
    """Return the layout that a file declares.

    Raises
    ------
    CorpusError
        If it is no such file, or its size is not what the header makes it.
    """
    size = handle.seek(0, os.SEEK_END)
    handle.seek(0)
    fixed = handle.read(_FIXED)
    if len(fixed) < _FIXED or not fixed.startswith(_FIRST[kind]):
        raise CorpusError(f"must begin with the {_FIXED} bytes of an {kind} header, got {fixed[:8]!a}")
    if size > MAX_BYTES:
        raise CorpusError(f"must be at most {MAX_BYTES} bytes, got {size}; split the recording")
    signals = _whole(fixed[252:256], "number of signals", 252, 1, MAX_SIGNALS)
    own = _FIXED + _PER_SIGNAL * signals
    _whole(fixed[184:192], f"bytes of a header of {signals} signals", 184, own, own)
    records = _whole(fixed[236:244], "number of records", 236, 0, 2**31)
    seconds = _number(fixed[244:252], "duration of a record", 244)
    head = handle.read(_PER_SIGNAL * signals)
    if size < own:
        raise CorpusError(
            f"must hold the header of {signals} signals up to byte {own}, got {size} bytes: it is cut off"
        )
    at = _BEFORE_SAMPLES * signals
    sizes = tuple(
        _whole(head[at + 8 * k : at + 8 * k + 8], "samples of a record", _FIXED + at + 8 * k, 1, 2**28)
        for k in range(signals)
    )
    labels = [head[16 * k : 16 * k + 16].strip() for k in range(signals)]
    marked = [k for k, label in enumerate(labels) if label == f"{kind} Annotations".encode()]
    version = fixed[192:197]
    made = Header(
        records=records,
        seconds=seconds,
        sizes=sizes,
        width=_WIDTH[kind],
        annotations=marked[0] if marked and version[3:4] == b"+" else None,
        interrupted=version == f"{kind}+D".encode(),
        person=_person(fixed[8:88], plus=version[3:4] == b"+"),
    )
    declared = made.start + records * made.record_bytes
    if size != declared:
        what = "it is cut off" if size < declared else "more follows than was declared"
        raise CorpusError(
            f"must be {declared} bytes, as a header of {records} records of {made.record_bytes} bytes "
            f"declares, got {size}: {what}"
        )
    if made.interrupted and made.annotations is None:
        raise CorpusError("must say when each of its interrupted records begins, got no annotations")
    return made


def record_onsets(handle: BinaryIO, header: Header) -> Array | None:
    """Return when each record begins, (records,) in seconds from the first; None where nothing says it.

    Raises
    ------
    CorpusError
        If a record of a file that has onsets states none.
    """
    if header.annotations is None or header.records == 0:
        return None
    offset = sum(header.sizes[: header.annotations]) * header.width
    found = np.empty(header.records)
    for k in range(header.records):
        handle.seek(header.start + k * header.record_bytes + offset)
        read = handle.read(min(32, header.sizes[header.annotations] * header.width))
        onset = _ONSET.match(read)
        if onset is None:
            raise CorpusError(f"record {k} must begin with its onset, got {read[:12]!a}")
        found[k] = float(onset[1])
    return np.asarray(found - found[0])


def _whole(raw: bytes, what: str, at: int, low: int, high: int) -> int:
    text = raw.decode("latin-1").strip()
    if not re.fullmatch(r"[+-]?[0-9]{1,8}", text) or not low <= int(text) <= high:
        hint = "; close the recording properly" if text == "-1" else ""
        raise CorpusError(
            f"header byte {at}: {what} must be a number from {low} to {high}, got {text!a}{hint}"
        )
    return int(text)


def _number(raw: bytes, what: str, at: int) -> float:
    text = raw.decode("latin-1").strip()
    try:
        value = float(text) if "_" not in text else math.nan
    except ValueError:
        value = math.nan
    if not 0 < value < 1e6:
        raise CorpusError(f"header byte {at}: {what} must be positive, got {text!a}")
    return value


def _person(raw: bytes, *, plus: bool) -> dict[str, str]:
    """Facts that cannot change from one recording of a person to the next; X and blank state nothing."""
    words = raw.decode("latin-1").split()
    if not plus:  # free text: whoever wrote it may have written it otherwise the next time
        text = " ".join(words)
        return {FREE_TEXT: text} if text.strip("X ") else {}
    names = ("patient code", "sex", "birthdate")
    return {name: word for name, word in zip(names, words, strict=False) if word != "X"}
