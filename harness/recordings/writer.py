"""Store captures in the recorded format: one NPZ for each sitting, and a manifest."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Mapping
from itertools import groupby
from pathlib import Path

import numpy as np

from harness.contracts import Array, Corpus, Sensed, Sitting
from harness.errors import CorpusError
from harness.recordings.corpus import MANIFEST
from harness.recordings.manifest import OPTIONAL, REQUIRED

__all__ = ["write_arrays", "write_corpus", "write_manifest"]

# A fixed date in the archive: the same samples give the same bytes, and so the same digest.
_EPOCH = (1980, 1, 1, 0, 0, 0)


def write_corpus(folder: Path, corpus: Corpus, *, condition: str = "") -> None:
    """Store any corpus in the recorded format.

    Captures come back equal, bit for bit, with two limits of the format: people, sessions
    and attempts are numbered anew from 0, and `Capture.seconds` is not stored.

    Parameters
    ----------
    folder : Path
        New or empty; made if it is not there.
    corpus : Corpus
    condition : str
        What to write into the column of that name.

    Raises
    ------
    CorpusError
        If the folder is not empty, or a capture has a gap, which the format cannot hold.
    """
    if folder.exists() and any(folder.iterdir()):
        raise CorpusError(f"{folder.name} must be an empty folder to write a corpus into, got files in it")
    folder.mkdir(parents=True, exist_ok=True)
    rows: list[Mapping[str, object]] = []
    for sitting in corpus.sittings():
        name = f"subject-{sitting.subject}-session-{sitting.session}.npz"
        arrays: dict[str, Array] = {}
        for stream, sensed in sorted(corpus.block(sitting, sitting.streams).items()):
            for cells, samples in _captures(sitting, stream, sensed):
                array = f"{stream.replace(':', '.')}.{len(arrays)}"
                arrays[array] = samples
                rows.append({"file": name, "array": array, "condition": condition, **cells})
        write_arrays(folder / name, arrays)
    write_manifest(folder, rows)


def _captures(
    sitting: Sitting, stream: str, sensed: Sensed
) -> Iterable[tuple[Mapping[str, object], Array]]:
    """Yield the manifest's cells and the samples of every row, its padding taken off."""
    role, _, signal = stream.partition(":")
    capture = sensed.capture
    rows = zip(sensed.attempt.tolist(), sensed.attacker.tolist(), capture.samples, strict=True)
    for (attempt, attacker), group in groupby(rows, key=lambda row: row[:2]):
        for k, (_, _, samples) in enumerate(group):
            length = int(np.flatnonzero(~np.isnan(samples).all(axis=0)).max(initial=-1)) + 1
            if not length or not np.isfinite(samples[:, :length]).all():
                raise CorpusError(
                    f"{stream} of subject {sitting.subject}, session {sitting.session}, attempt {attempt} "
                    "must be finite up to the padding at its end to be written, got a gap"
                )
            yield (
                {
                    "subject": sitting.subject,
                    "session": sitting.session,
                    "attempt": attempt,
                    "role": role,
                    "signal": signal,
                    "rate_hz": "" if capture.rate_hz is None else repr(float(capture.rate_hz)),
                    "unit": capture.unit,
                    "attacker": "" if attacker < 0 else attacker,
                    "device": k or "",
                },
                samples[:, :length],
            )


def write_arrays(path: Path, arrays: Mapping[str, Array]) -> None:
    """Write named arrays (channels, samples) as an NPZ whose bytes depend on nothing else."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as archive:
        for name, array in arrays.items():
            buffer = io.BytesIO()
            np.lib.format.write_array(buffer, np.ascontiguousarray(array), allow_pickle=False)
            archive.writestr(zipfile.ZipInfo(f"{name}.npy", date_time=_EPOCH), buffer.getvalue())


def write_manifest(folder: Path, rows: Iterable[Mapping[str, object]]) -> None:
    """Write `manifest.csv`; columns that no row fills are left out."""
    rows = list(rows)
    used = {column for row in rows for column, cell in row.items() if cell not in ("", None)}
    columns = [*REQUIRED, *(column for column in OPTIONAL if column in used)]
    with (folder / MANIFEST).open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, columns, restval="", extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
