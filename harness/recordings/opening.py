"""From a path to a recorded corpus."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from pathlib import Path

from harness.errors import CorpusError
from harness.recordings.corpus import MANIFEST, RecordedCorpus
from harness.recordings.files import EscapeError, locate
from harness.recordings.manifest import Row, parse_manifest
from harness.recordings.provenance import kind_of_data
from harness.recordings.roster import roster

__all__ = ["assembled", "open_corpus", "read_manifest"]

MAX_MANIFEST_BYTES = 2**28


def open_corpus(path: str | Path) -> RecordedCorpus:
    """Open a recorded corpus, checking its manifest and that the files are there.

    What stands in the files is checked when it is read; `RecordedCorpus.check` reads it all.

    Parameters
    ----------
    path : str or Path
        A manifest CSV, or a folder that holds `manifest.csv`.

    Raises
    ------
    CorpusError
        On the first violation: one sentence with file, line and column.
    """
    folder, label, raw = read_manifest(path)
    rows = parse_manifest(raw, name=label)
    corpus = assembled(folder, label, raw, rows)
    _check_files(corpus, rows)
    return corpus


def read_manifest(path: str | Path) -> tuple[Path, str, bytes]:
    """Return the folder of a manifest, how messages call it, and its bytes; errors as `open_corpus`."""
    path = Path(path)
    try:
        manifest = path / MANIFEST if path.is_dir() else path
        folder = Path(os.path.realpath(manifest.parent))
        if path.is_dir() and Path(os.path.realpath(manifest)).parent != folder and manifest.is_symlink():
            raise CorpusError(f"{MANIFEST} must lie in its own folder, got a link that leaves it")
        label = f"{folder.name}/{manifest.name}"
        if not manifest.is_file():
            what = f"no {MANIFEST} in it" if path.is_dir() else "no such file"
            raise CorpusError(f"{path} must be a manifest or a folder that holds {MANIFEST}, got {what}")
        with manifest.open("rb") as handle:
            raw = handle.read(MAX_MANIFEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CorpusError(f"{str(path)!a} must be a readable manifest or folder, got: {reason}") from None
    if len(raw) > MAX_MANIFEST_BYTES:
        raise CorpusError(
            f"{label} must take at most {MAX_MANIFEST_BYTES} bytes, got more; split the corpus"
        )
    return folder, label, raw


def assembled(folder: Path, label: str, raw: bytes, rows: Sequence[Row]) -> RecordedCorpus:
    """Return the corpus of these rows of a manifest, whether or not their files are there."""
    people = roster(rows, name=label)
    kind_of_data(folder)
    return RecordedCorpus(
        name=folder.name,
        _folder=folder,
        _label=label,
        _manifest=hashlib.sha256(raw).hexdigest(),
        _files=tuple(sorted({row.file for row in rows})),
        _roster=people,
    )


def _check_files(corpus: RecordedCorpus, rows: Sequence[Row]) -> None:
    needed = {piece.row.file for piece in corpus.pieces()}
    first: dict[str, Row] = {}
    for row in rows:
        first.setdefault(row.file, row)
    resolved: dict[str, bool] = {}
    for name, row in first.items():
        try:
            locate(corpus._folder, name, resolved)
        except CorpusError as error:
            if name in needed or isinstance(error, EscapeError):
                raise CorpusError(f"{corpus._label} line {row.line}, `file`: {error}") from None
