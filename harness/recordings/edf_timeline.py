"""Where the records of an EDF file stand in time: gaps are left open, overlaps refused."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError
from harness.recordings.edf_header import Header

__all__ = ["Timeline", "placed", "timeline"]


@dataclass(frozen=True, slots=True)
class Timeline:
    """Of one rate: where each record's samples go."""

    starts: Array  # (records,) int, place of each record's first sample
    length: int  # samples, gaps included
    gaps: bool
    effective_hz: float | None


def timeline(onsets: Array | None, header: Header, size: int) -> Timeline:
    """Return where records of `size` samples stand.

    A record that begins within half a sample of the end of the one before follows it; a later one leaves
    a gap of whole samples, so that a gap's length is wrong by half a sample at most.

    Raises
    ------
    CorpusError
        If a record begins before the one before ends, or late in a file that declares no interruption.
    """
    rate = size / header.seconds
    if onsets is None or len(onsets) < 2:
        return Timeline(np.arange(header.records) * size, header.records * size, False, None)
    late = (np.diff(onsets) - header.seconds) * rate  # samples
    back = np.flatnonzero(late < -0.5)
    if len(back):
        k = int(back[0]) + 1
        raise CorpusError(
            f"record {k} must begin after the one before ends at {onsets[k - 1] + header.seconds:g} s, "
            f"got {onsets[k]:g} s"
        )
    jumps = late > 0.5
    if jumps.any() and not header.interrupted:
        k = int(np.argmax(jumps)) + 1
        raise CorpusError(
            f"record {k} must begin at {onsets[k - 1] + header.seconds:g} s, as the header declares the "
            f"recording continuous, got {onsets[k]:g} s"
        )
    starts = np.zeros(header.records, np.int64)
    run = np.concatenate([[0], np.cumsum(jumps)])  # which unbroken run a record belongs to
    end = 0
    for which in range(int(run[-1]) + 1):
        members = np.flatnonzero(run == which)
        first = max(round(float(onsets[members[0]]) * rate), end)
        starts[members] = first + np.arange(len(members)) * size
        end = first + len(members) * size
    return Timeline(starts, end, bool(jumps.any()), _effective(onsets, run, size))


def _effective(onsets: Array, run: Array, size: int) -> float | None:
    """Rate that the onsets give over the longest unbroken run of records."""
    members = np.flatnonzero(run == np.argmax(np.bincount(run)))
    span = float(onsets[members[-1]] - onsets[members[0]])
    return (len(members) - 1) * size / span if span > 0 else None


def placed(samples: Array, size: int, line: Timeline) -> Array:
    """Return samples with the gaps between records as NaN."""
    if not line.gaps:
        return samples
    spread = np.full(line.length, np.nan)
    for start, record in zip(line.starts.tolist(), samples.reshape(-1, size), strict=True):
        spread[start : start + size] = record
    return spread
