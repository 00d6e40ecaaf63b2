"""Schemes written in TOML: parts put together by name, or a program to run.

Parts (see `schemes.composed` for what may be left out, and `schemes.quantisers.QUANTISERS`,
`schemes.sketches.SKETCHES`, `schemes.codes.CODES`, `schemes.extraction.EXTRACTIONS` for the names)::

    name = "my-levels"
    signal = "emg"
    key_bits = 128
    summary = "Levels of the muscle envelope under a Golay code."

    [quantiser]
    kind = "level"
    window_s = 0.2

    [sketch]
    kind = "code-offset"
    code = "golay-24-12"
    blocks = 11

    [extraction]
    kind = "hkdf"

A program (see `schemes.commanded` for what it reads and writes)::

    name = "vendor"
    signal = "emg"
    key_bits = 128
    alphabet = 4
    symbols = 132

    [command]
    run = ["python3", "vendor.py"]
    limit_s = 60
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from harness.errors import UsageError
from schemes.commanded import Commanded, commanded
from schemes.composed import Agreed, Committed, composed

__all__ = ["MOST_BYTES", "scheme_file"]

MOST_BYTES = 256 * 1024
"""Size of a scheme file at most; they are written by hand."""


def scheme_file(path: Path) -> Callable[..., Agreed | Commanded | Committed]:
    """What makes the scheme of a TOML file; takes other values of its parameters, by dotted name.

    Raises
    ------
    UsageError
        If the file cannot be read or is no TOML. What does not fit together is said by what is returned,
        as a ValueError of one sentence.
    """
    tree = _read(path)
    summary = tree.pop("summary", "")

    def made(**changes: Any) -> Agreed | Commanded | Committed:
        if not isinstance(summary, str):
            raise ValueError(f"`summary` must be a sentence in quotes, got {summary!r}")
        if "command" in tree:
            return commanded(tree, folder=path.resolve().parent, summary=summary, **changes)
        return composed(tree, summary=summary, **changes)

    made.__doc__ = str(summary) or "A scheme written in TOML."
    return made


def _read(path: Path) -> dict[str, Any]:
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise UsageError(f"a scheme file must be readable, got {path}: {error.strerror}") from None
    if len(raw) > MOST_BYTES:
        raise UsageError(f"a scheme file must hold at most {MOST_BYTES} bytes, got more in {path}")
    try:
        return tomllib.loads(raw.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise UsageError(
            f"a scheme file must be UTF-8, got another byte at {error.start} of {path}"
        ) from None
    except (ValueError, RecursionError) as error:
        said = " ".join(str(error).split())[:200]
        raise UsageError(f"a scheme file must be TOML, got something else in {path}: {said}") from None
