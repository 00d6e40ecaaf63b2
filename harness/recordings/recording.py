"""What a reader hands over, whatever the kind of file, and what readers share."""

from __future__ import annotations

import difflib
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import import_module
from types import ModuleType
from typing import Protocol

from harness.contracts import Array
from harness.errors import CorpusError

__all__ = [
    "MAX_ARRAY_BYTES",
    "Beside",
    "Recording",
    "Source",
    "check_array_size",
    "needed",
    "picked",
    "reason_of",
]

MAX_ARRAY_BYTES = 2**30
NAMED = 8  # so many channels are named in a message

Beside = Callable[[str], str]
"""The path of a file beside the one that is read; refuses what does not lie below the manifest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """What one file, or one array of it, holds, and what its header states."""

    samples: Array  # (channels, samples) numbers as stored, or as the header calibrates them
    names: tuple[str, ...] | None = None  # of the channels; None: they go by their row number
    time_s: Array | None = None  # (samples,)
    lined: bool = False  # a text table: sample k stands in line k + 2
    rate_hz: float | None = None  # as the header states it
    effective_hz: float | None = None  # as its time marks make it
    units: tuple[str, ...] | None = None  # of each channel, as the header writes it; "" states none
    limits: Array | None = None  # (channels, 2) least and greatest value that the format can hold
    gaps: bool = False  # NaN stands for samples that the format declares missing
    person: Mapping[str, str] = field(default_factory=dict)  # fixed facts of whom it was recorded from

    def place(self, channel: int, sample: int) -> str:
        """Return where in the file a sample stands, in words."""
        if self.names is None:
            return f"channel {channel}, sample {sample}"
        if self.lined:
            return f"line {sample + 2}, column {self.names[channel]!a}"
        return f"channel {self.names[channel]!a}, sample {sample}"


class Source(Protocol):
    """An open file, from which channels are read by name."""

    def read(self, array: str | None, channels: Sequence[str] | None) -> Recording:
        """Return one array, or the file's only table; at least the channels asked for (None: all).

        Raises
        ------
        CorpusError
            If the file is damaged, or has no such channel; the sentence says where in the file.
        """
        ...


def picked(names: Sequence[str], wanted: Sequence[str] | None) -> list[int]:
    """Return the places of channels, in the file's order.

    Raises
    ------
    CorpusError
        If a channel is not there, or its name stands there more than once.
    """
    if wanted is None:
        return list(range(len(names)))
    found = []
    for label in wanted:
        count = list(names).count(label)
        if count == 0:
            raise CorpusError(_absent(label, names))
        if count > 1:
            raise CorpusError(f"must hold the channel {label!a} once, got it {count} times; rename them")
        found.append(list(names).index(label))
    return sorted(found)


def _absent(label: str, names: Sequence[str]) -> str:
    shown = ", ".join(ascii(name) for name in names[:NAMED])
    if len(names) > NAMED:
        shown += f" and {len(names) - NAMED} more"
    near = difflib.get_close_matches(label.lower(), [n.lower() for n in names], n=1, cutoff=0.3)
    hint = ""
    if near:
        close = next(n for n in names if n.lower() == near[0])
        hint = f"; the nearest is {close!a}, to be named in the manifest's `channel`"
    return f"must hold the channel {label!a}, got {shown or 'none'}{hint}"


def check_array_size(size: int) -> None:
    """Refuse to spread out more than fits beside everything else."""
    if size > MAX_ARRAY_BYTES:
        raise CorpusError(
            f"must take at most {MAX_ARRAY_BYTES} bytes once read, got {size} declared; "
            "split it, or name the channels that are needed"
        )


def needed(module: str, extra: str) -> ModuleType:
    """Return an optional package that reads a format.

    Raises
    ------
    CorpusError
        If it is not installed; the sentence holds the command that does it.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what a package deprecates is its makers' business
            return import_module(module)
    except ImportError:
        raise CorpusError(
            f"needs the package {module.partition('.')[0]}, which is not installed; "
            f"run pip install 'keyassay[{extra}]'"
        ) from None


def reason_of(error: Exception | Warning) -> str:
    """Return what a library complained about, on one line."""
    text = " ".join(str(error).split()).rstrip(".")
    return (
        f"{type(error).__name__} says {ascii(text)[:120]}" if text else f"{type(error).__name__} was raised"
    )
