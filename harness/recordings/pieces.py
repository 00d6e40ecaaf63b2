"""From a file's numbers to one attempt's capture: channels, cut, unit, and soundness."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError
from harness.recordings.manifest import Row
from harness.recordings.piece import Piece
from harness.recordings.rates import rate_of
from harness.recordings.recording import Recording, picked
from harness.recordings.units import factor

__all__ = ["Cut", "cut"]


@dataclass(frozen=True, slots=True)
class Cut:
    """What one attempt has in a recording."""

    samples: Array  # float64 (channels, samples) in the canonical unit; NaN: a declared gap
    rate_hz: float | None  # None: an event series
    effective_hz: float | None  # as the file's time marks make it; None: it has none
    limits: Array | None  # (channels, 2) least and greatest value that the format can hold
    start_s: float  # of the first sample, in the time of the file
    person: Mapping[str, str]  # fixed facts that the file states of whom it was recorded from


def cut(recording: Recording, piece: Piece) -> Cut:
    """Return what one attempt has in `recording`.

    Parameters
    ----------
    recording : Recording
    piece : Piece
        Which channels, from when to when, in which unit.

    Raises
    ------
    CorpusError
        If the channels or the time asked for are not there, nothing is left, header and manifest
        contradict, or a number is not finite.
    """
    row = piece.row
    places = _channels(recording, piece.channels)
    samples = recording.samples if places is None else recording.samples[places]
    if 0 in samples.shape:
        raise CorpusError(f"must hold samples, got a zero-length capture of shape {samples.shape}")
    rate = rate_of(recording, row)
    scale = _scale(recording, row, places)
    start, stop = _span(recording, row, samples, rate, scale)
    with np.errstate(over="ignore", invalid="ignore"):
        values = samples[:, start:stop].astype(np.float64) * scale
    if values.shape[1] == 0:
        raise CorpusError("must hold samples between start_s and stop_s, got a zero-length capture")
    _check_sound(recording, row, values, places, start)
    limits = recording.limits
    if limits is not None:
        limits = (limits if places is None else limits[places]) * scale
    zero = 0.0 if recording.time_s is None else float(recording.time_s[0])
    begin = 0.0 if rate is None else zero + start / rate
    return Cut(values, rate, _effective(recording), limits, begin, recording.person)


def _channels(recording: Recording, wanted: Sequence[str] | None) -> list[int] | None:
    if wanted is None:
        return None
    if recording.names is not None:
        return picked(recording.names, wanted)
    for label in wanted:
        if int(label) >= len(recording.samples):
            raise CorpusError(
                f"must hold the channel {label!a}, got rows 0 to {len(recording.samples) - 1}"
            )
    return sorted(map(int, wanted))


def _scale(recording: Recording, row: Row, places: Sequence[int] | None) -> Array:
    """(channels, 1): what takes each channel to the canonical unit."""
    count = len(recording.samples)
    chosen = range(count) if places is None else places
    found = []
    for k in chosen:
        try:
            found.append(factor(row.signal, recording.units[k] if recording.units else None, row.unit))
        except CorpusError as error:
            name = "" if recording.names is None else f"channel {recording.names[k]!a} "
            raise CorpusError(f"{name}{error}") from None
    return np.array(found)[:, np.newaxis]


def _check_sound(
    recording: Recording, row: Row, values: Array, places: Sequence[int] | None, start: int
) -> None:
    missing = np.isnan(recording.samples) if recording.gaps else None
    sound = np.isfinite(values)
    if missing is not None:
        gap = (missing if places is None else missing[places])[:, start : start + values.shape[1]]
        if gap.all(axis=1).any():
            raise CorpusError("must hold samples in every channel, got one that is a gap throughout")
        sound = sound | gap
    events = row.signal == "intervals"
    if sound.all() and not (events and (values <= 0).any()):
        return
    channel, sample = (int(k) for k in np.argwhere(~sound if not sound.all() else values <= 0)[0])
    stored = channel if places is None else places[channel]
    value, place = recording.samples[stored, start + sample], recording.place(stored, start + sample)
    what = "positive intervals" if sound.all() else "finite samples"
    raise CorpusError(f"must hold {what}, got {value:g} at {place}")


def _effective(recording: Recording) -> float | None:
    time_s = recording.time_s
    if time_s is None or len(time_s) < 2:
        return recording.effective_hz
    return float((len(time_s) - 1) / (time_s[-1] - time_s[0]))


def _span(
    recording: Recording, row: Row, samples: Array, rate: float | None, scale: Array
) -> tuple[int, int]:
    """Return the first sample and the one after the last, from start_s and stop_s."""
    length = samples.shape[1]
    if row.start_s is None and row.stop_s is None:
        return 0, length
    if rate is None:
        if row.signal != "intervals" or len(samples) != 1:
            raise CorpusError(
                "must have a rate to be cut by start_s and stop_s, got an event series; cut the file"
            )
        end = np.cumsum(samples[0].astype(np.float64)) * scale[0]
        begin = np.concatenate([[0.0], end[:-1]])
        inside = (begin >= (row.start_s or 0.0)) & (end <= (np.inf if row.stop_s is None else row.stop_s))
        kept = np.flatnonzero(inside)
        return (int(kept[0]), int(kept[-1]) + 1) if len(kept) else (0, 0)
    zero = 0.0 if recording.time_s is None else float(recording.time_s[0])
    start = 0 if row.start_s is None else round((row.start_s - zero) * rate)
    stop = length if row.stop_s is None else round((row.stop_s - zero) * rate)
    if start < 0 or stop > length:
        raise CorpusError(
            f"must cover start_s and stop_s, got a recording from {zero:g} to {zero + length / rate:g} s"
        )
    return start, stop
