"""Captures out of the files that hold them: each file is opened once, each array read once."""

from __future__ import annotations

import hashlib
import os
from collections import defaultdict
from collections.abc import Iterable, Iterator, MutableMapping
from io import BufferedReader
from pathlib import Path, PurePosixPath

from harness.errors import CorpusError
from harness.recordings.files import locate, open_below, sha256
from harness.recordings.piece import Piece
from harness.recordings.pieces import Cut, cut
from harness.recordings.readers import FORMATS
from harness.recordings.recording import Beside, Recording, Source
from harness.recordings.wfdb_header import read_record_header

__all__ = ["beside", "content_digest", "each_cut", "open_source"]


def each_cut(
    folder: Path,
    label: str,
    pieces: Iterable[Piece],
    *,
    digests: MutableMapping[str, str] | None = None,
) -> Iterator[tuple[Piece, Cut | CorpusError]]:
    """Yield every capture, or one sentence on why there is none.

    Parameters
    ----------
    folder, label
        Of the manifest, and how messages call it.
    pieces
        In any order; they are read file by file.
    digests
        If given, gets the SHA-256 (hex) of each file that could be read.
    """
    by_file: dict[str, list[Piece]] = defaultdict(list)
    for piece in pieces:
        by_file[piece.row.file].append(piece)
    for name in sorted(by_file):
        group = sorted(by_file[name], key=_order)
        try:
            with open_below(folder, name) as handle:
                source = open_source(folder, name, handle)
                if digests is not None:
                    digests[name] = content_digest(folder, name, handle)
                for piece, found in _cuts(source, group):
                    yield piece, _placed(found, label, piece) if isinstance(found, CorpusError) else found
        except CorpusError as error:
            for piece in group:
                yield piece, _placed(error, label, group[0])
        except OSError as error:
            row = group[0].row
            told = CorpusError(
                f"{label} line {row.line}, `file`: {name} must be readable, got {error.strerror}"
            )
            for piece in group:
                yield piece, told


def _order(piece: Piece) -> tuple[str, tuple[str, ...], int]:
    return piece.row.array or "", piece.channels or (), piece.row.line


def _cuts(source: Source, group: Iterable[Piece]) -> Iterator[tuple[Piece, Cut | CorpusError]]:
    recording: Recording | CorpusError | None = None
    before: tuple[object, object] | None = None
    for piece in group:
        wanted = piece.row.array, piece.channels
        found: Cut | CorpusError
        try:
            if wanted != before:
                before, recording = wanted, None  # the one before goes before the next comes
                recording = source.read(*wanted)
            found = cut(recording, piece) if isinstance(recording, Recording) else _again(recording)
        except CorpusError as error:
            found = error
            recording = recording or error
        yield piece, found


def _again(error: CorpusError | None) -> CorpusError:
    return error or CorpusError("must be readable")


def _placed(error: CorpusError, label: str, piece: Piece) -> CorpusError:
    return CorpusError(f"{label} line {piece.row.line}: {piece.row.file} {error}")


def open_source(folder: Path, name: str, handle: BufferedReader) -> Source:
    """Return the reader of an open file.

    Raises
    ------
    CorpusError
        If it is empty, or not what its name says.
    """
    if handle.seek(0, os.SEEK_END) == 0:
        raise CorpusError("must hold a recording, got an empty file of 0 bytes")
    handle.seek(0)
    return FORMATS[PurePosixPath(name).suffix.lower()].open(handle, beside(folder, name))


def beside(folder: Path, name: str) -> Beside:
    """Return what finds files in the same folder as `name`, and nowhere else."""
    return lambda other: locate(folder, str(PurePosixPath(name).parent / other))


def content_digest(folder: Path, name: str, handle: BufferedReader) -> str:
    """Return the SHA-256 (hex) of a file; of a WFDB record also of the files that its header names."""
    handle.seek(0)
    own = sha256(handle)
    if PurePosixPath(name).suffix.lower() != ".hea":
        return own
    total = hashlib.sha256(bytes.fromhex(own))
    find = beside(folder, name)
    try:
        for file in dict.fromkeys(line.file for line in read_record_header(handle, find).lines):
            with open(find(file), "rb") as samples:
                total.update(bytes.fromhex(sha256(samples)))
    except CorpusError:
        return own  # a damaged record that nobody reads; whoever reads it is told
    return total.hexdigest()
