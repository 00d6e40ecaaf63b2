"""From a file's numbers to one attempt's capture: channels, cut, unit, and soundness."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError
from harness.recordings.manifest import Row
from harness.recordings.readers import Recording
from harness.recordings.roster import Piece
from harness.recordings.units import SAMPLED, canonical

__all__ = ["cut", "rate_of"]

RATE_TOLERANCE = 1e-3  # a nominal rate and the sensor's clock differ by far less
MAX_JITTER = 0.5  # in samples; a lost sample makes a step of 2


def cut(recording: Recording, piece: Piece) -> tuple[Array, float | None]:
    """Return what one attempt has in `recording`, and its rate.

    Parameters
    ----------
    recording : Recording
    piece : Piece
        Which channels, from when to when, in which unit.

    Returns
    -------
    samples : float64, shape (channels, samples)
        In the canonical unit.
    rate_hz : float or None
        None: an event series.

    Raises
    ------
    CorpusError
        If the channels or the time asked for are not there, nothing is left, or a number is not finite.
    """
    row = piece.row
    picked = _channels(recording, piece.channels)
    samples = recording.samples if picked is None else recording.samples[picked]
    if 0 in samples.shape:
        raise CorpusError(f"must hold samples, got a zero-length capture of shape {samples.shape}")
    rate = rate_of(recording, row)
    factor = canonical(row.signal, row.unit)[1]
    start, stop = _span(recording, row, samples, rate)
    with np.errstate(over="ignore", invalid="ignore"):
        samples = samples[:, start:stop].astype(np.float64) * factor
    if samples.shape[1] == 0:
        raise CorpusError("must hold samples between start_s and stop_s, got a zero-length capture")
    finite = np.isfinite(samples)
    if not finite.all():
        channel, sample = (int(k) for k in np.argwhere(~finite)[0])
        found = recording.samples[channel if picked is None else picked[channel], start + sample]
        place = recording.place(channel if picked is None else picked[channel], start + sample)
        raise CorpusError(f"must hold finite samples, got {found:g} at {place}")
    return samples, rate


def _channels(recording: Recording, wanted: Sequence[str] | None) -> list[int] | None:
    if wanted is None:
        return None
    columns = {name: k for k, name in enumerate(recording.names or ())}
    picked = []
    for label in wanted:
        if label in columns:
            picked.append(columns[label])
        elif recording.names is None and int(label) < len(recording.samples):
            picked.append(int(label))
        else:
            known = f"rows 0 to {len(recording.samples) - 1}"
            if recording.names is not None:
                known = ", ".join(ascii(name) for name in recording.names[:8])
            raise CorpusError(f"must hold the channel {label!a}, got {known}")
    return sorted(picked)


def rate_of(recording: Recording, row: Row) -> float | None:
    """Return the rate in hertz from the manifest or the time stamps; None: an event series.

    Steps between time stamps must lie within half of their mean, so that no sample is missing. The
    rate they give is rounded to a whole number if one lies within a thousandth, else to
    four digits, so that a clock's jitter does not give every attempt a rate of its own.
    """
    time_s = recording.time_s
    if time_s is None:
        if row.rate_hz is None and row.signal in SAMPLED:
            raise CorpusError(
                f"must have a column time_s, or the manifest a `rate_hz`, for {row.signal}, got neither"
            )
        return row.rate_hz
    if row.signal == "intervals":
        raise CorpusError("must not have a column time_s for intervals, which are events, got one")
    if not np.isfinite(time_s).all():
        sample = int(np.argmin(np.isfinite(time_s)))
        raise CorpusError(
            f"must hold finite time stamps, got {time_s[sample]:g} at line {sample + 2}, column 'time_s'"
        )
    if len(time_s) < 2:
        if row.rate_hz is None:
            raise CorpusError(
                f"must have two time stamps or more in time_s to give a rate, got {len(time_s)}"
            )
        return row.rate_hz
    span = float(time_s[-1] - time_s[0])
    if not 1e-6 < span < 1e9:
        raise CorpusError(f"must have rising time stamps in seconds in time_s, got a span of {span:g} s")
    rate = (len(time_s) - 1) / span
    steps = np.diff(time_s) * rate
    if (np.abs(steps - 1) > MAX_JITTER).any():
        line = int(np.argmax(np.abs(steps - 1) > MAX_JITTER)) + 3
        raise CorpusError(
            f"must have even time stamps in time_s, got {time_s[line - 2]:g} s at line {line} "
            f"after {time_s[line - 3]:g} s, at {rate:g} Hz on average"
        )
    if row.rate_hz is not None:
        if abs(row.rate_hz / rate - 1) > RATE_TOLERANCE:
            raise CorpusError(
                f"must have time stamps that agree with rate_hz {row.rate_hz:g}, got {rate:g} Hz"
            )
        return row.rate_hz
    whole = float(round(rate))
    return whole if whole and abs(whole / rate - 1) <= RATE_TOLERANCE else float(f"{rate:.4g}")


def _span(recording: Recording, row: Row, samples: Array, rate: float | None) -> tuple[int, int]:
    """Return the first sample and the one after the last, from start_s and stop_s."""
    length = samples.shape[1]
    if row.start_s is None and row.stop_s is None:
        return 0, length
    if rate is None:
        if row.signal != "intervals" or len(samples) != 1:
            raise CorpusError(
                "must have a rate to be cut by start_s and stop_s, got an event series; cut the file"
            )
        end = np.cumsum(samples[0].astype(np.float64)) * canonical(row.signal, row.unit)[1]
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
