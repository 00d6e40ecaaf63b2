"""The cells of a manifest: what each may hold, and how a schema says so."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import date
from pathlib import PurePosixPath, PureWindowsPath
from typing import Annotated, Any

from pydantic import BeforeValidator, WithJsonSchema

from harness.recordings.readers import FORMATS

__all__ = ["Day", "File", "Label", "OptionalLabel", "Rate", "Seconds", "Unit", "Word", "shown"]

RESERVED = frozenset({"helper", "population", "history", "labels", "device"})  # words of Attack.sees
MAX_RATE_HZ, MIN_RATE_HZ, MAX_SECONDS = 1e8, 1e-3, 1e9
MAX_LABEL = 200
_WORD = re.compile(r"[a-z0-9][a-z0-9._-]{0,63}", re.ASCII)
_NUMBER = r"^\s*([+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?)?\s*$"


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
    if path.suffix.lower() not in FORMATS:
        *most, last = FORMATS
        raise ValueError(f"must end in {', '.join(most)} or {last}")
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


def _text(description: str, **more: Any) -> WithJsonSchema:
    """A cell is text in a file, whatever it means."""
    return WithJsonSchema({"type": "string", "description": description, **more})


_SUFFIXES = "|".join(f"{suffix[1:]}|{suffix[1:].upper()}" for suffix in FORMATS)
_SHORT: dict[str, Any] = {"minLength": 1, "maxLength": MAX_LABEL}

File = Annotated[
    str,
    BeforeValidator(_file),
    _text("path relative to the manifest, with / between folders, below it", pattern=rf"\.({_SUFFIXES})$"),
]
Label = Annotated[str, BeforeValidator(_label), _text("a printable label", **_SHORT)]
Word = Annotated[
    str,
    BeforeValidator(_word),
    _text(
        f"a word that is none of {', '.join(sorted(RESERVED))}",
        pattern=f"^{_WORD.pattern}$",
        **{"not": {"enum": sorted(RESERVED)}},
    ),
]
OptionalLabel = Annotated[
    str | None, BeforeValidator(_optional), _text("a printable label, or empty", maxLength=MAX_LABEL)
]
Unit = Annotated[
    str | None,
    BeforeValidator(_optional),
    _text("the unit of the samples; empty where the file's own header states it", maxLength=MAX_LABEL),
]
Rate = Annotated[
    float | None,
    BeforeValidator(_number(MIN_RATE_HZ, MAX_RATE_HZ, "a positive number of hertz")),
    _text(f"hertz from {MIN_RATE_HZ:g} to {MAX_RATE_HZ:g}, or empty", pattern=_NUMBER),
]
Seconds = Annotated[
    float | None,
    BeforeValidator(_number(0, MAX_SECONDS, "a number of seconds")),
    _text(f"seconds from 0 to {MAX_SECONDS:g}, or empty", pattern=_NUMBER),
]
Day = Annotated[
    int | date | None,
    BeforeValidator(_day),
    _text("a day number or an ISO date, or empty", pattern=r"^\s*([0-9]{1,9}|[0-9]{4}(-[0-9]{2}){2})?\s*$"),
]
