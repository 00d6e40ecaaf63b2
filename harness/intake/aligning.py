"""A manifest in which the devices of each attempt are aligned, to be audited beside the original."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from harness.errors import UsageError
from harness.intake.record import Shift
from harness.recordings.manifest import Row, parse_manifest
from harness.recordings.opening import read_manifest

__all__ = ["aligned_manifest"]


def aligned_manifest(path: str | Path, shifts: Sequence[Shift]) -> str:
    """Return the manifest's text with `start_s` and `stop_s` as the shifts move them.

    All else stays as it is, attempts without an onset too.

    Raises
    ------
    UsageError
        If nothing is moved.
    CorpusError
        If the manifest is damaged.
    """
    moves = {line: (start, stop) for s in shifts for line, start, stop in s.moves}
    if not moves:
        raise UsageError("no attempt has an onset in both devices: there is nothing to align")
    _, label, raw = read_manifest(path)
    rows = {row.line: row for row in parse_manifest(raw, name=label)}
    moved = {_capture(rows[line]): where for line, where in moves.items()}  # every channel of a capture
    lines = csv.reader(io.StringIO(raw.decode("utf-8-sig"), newline=""))
    header = next(lines)
    columns = [*header, *(c for c in ("start_s", "stop_s") if c not in header)]
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    writer.writeheader()
    before = lines.line_num
    for cells in lines:
        number, before = before + 1, lines.line_num
        if not cells:
            continue
        made = dict(zip(header, cells, strict=True))
        where = moved.get(_capture(rows[number]))
        if where is not None:
            made["start_s"], made["stop_s"] = (repr(x) for x in where)
        writer.writerow(made)
    return out.getvalue()


def _capture(row: Row) -> tuple[str | None, ...]:
    return (*row.try_, row.role, row.signal, row.device, row.attacker)
