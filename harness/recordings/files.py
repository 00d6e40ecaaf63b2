"""Files below a corpus's folder, and nowhere else."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import MutableMapping
from io import BufferedReader
from pathlib import Path

from harness.errors import CorpusError

__all__ = ["EscapeError", "locate", "open_below", "sha256"]


class EscapeError(CorpusError):
    """A path leaves the folder of its manifest; never forgiven, even where a missing file is."""


def locate(folder: Path, name: str, resolved: MutableMapping[str, bool] | None = None) -> str:
    """Return the path of a regular file that lies below `folder` after every link is followed.

    Parameters
    ----------
    folder : Path
        Without links in it.
    name : str
        Relative path, already free of `..`.
    resolved : mutable mapping, optional
        Remembers which parent folders lie below `folder`, for the next call.

    Raises
    ------
    EscapeError
        If a link leads out of the folder.
    CorpusError
        If there is no such file, or it is not a regular one.
    """
    path = os.path.join(folder, name)
    parent = os.path.dirname(path)
    known = {} if resolved is None else resolved
    if parent not in known:
        known[parent] = Path(os.path.realpath(parent)).is_relative_to(folder)
    try:
        mode = os.lstat(path).st_mode
        inside = known[parent]
        if stat.S_ISLNK(mode):
            real = os.path.realpath(path)
            inside = inside and Path(real).is_relative_to(folder)
            mode = os.stat(real).st_mode if inside else mode
    except OSError as error:
        raise CorpusError(f"must name a file that is there, got {name!a}: {error.strerror}") from None
    if not inside:
        raise EscapeError(
            f"must stay below the manifest's folder, got {name!a}, which a link leads out of it"
        )
    if not stat.S_ISREG(mode):
        raise CorpusError(f"must name a regular file, got {name!a}, which is none")
    return path


def open_below(folder: Path, name: str) -> BufferedReader:
    """Open a file below `folder` for reading bytes; errors as `locate`."""
    path = locate(folder, name)
    try:
        return open(path, "rb")
    except OSError as error:
        raise CorpusError(f"must be readable, got {error.strerror}") from None


def sha256(handle: BufferedReader) -> str:
    """Return the SHA-256 (hex) of the bytes that follow in an open file."""
    return hashlib.file_digest(handle, "sha256").hexdigest()
