"""The rate of a recording: from the manifest, the file's header, or its time stamps."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError
from harness.recordings.manifest import Row
from harness.recordings.recording import Recording
from harness.recordings.units import SAMPLED

__all__ = ["rate_of"]

RATE_TOLERANCE = 1e-3  # a nominal rate and the sensor's clock differ by far less
MAX_JITTER = 0.5  # in samples; a lost sample makes a step of 2


def rate_of(recording: Recording, row: Row) -> float | None:
    """Return the rate in hertz from manifest, header or time stamps; None: an event series.

    Steps between time stamps must lie within half of their mean, so that no sample is missing. The
    rate they give is rounded to a whole number if one lies within a thousandth, else to
    four digits, so that a clock's jitter does not give every attempt a rate of its own.
    """
    time_s = recording.time_s
    if recording.rate_hz is not None:
        return _stated(recording.rate_hz, row)
    if time_s is None:
        if row.rate_hz is None and row.signal in SAMPLED:
            raise CorpusError(
                f"must have a column time_s, or the manifest a `rate_hz`, for {row.signal}, got neither"
            )
        return row.rate_hz
    if row.signal == "intervals":
        raise CorpusError("must not have a column time_s for intervals, which are events, got one")
    _check_stamps(time_s, recording)
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
    _check_even(time_s, rate, recording)
    if row.rate_hz is not None:
        if abs(row.rate_hz / rate - 1) > RATE_TOLERANCE:
            raise CorpusError(
                f"must have time stamps that agree with rate_hz {row.rate_hz:g}, got {rate:g} Hz"
            )
        return row.rate_hz
    whole = float(round(rate))
    return whole if whole and abs(whole / rate - 1) <= RATE_TOLERANCE else float(f"{rate:.4g}")


def _stated(rate: float, row: Row) -> float:
    """The manifest's rate where it gives one, once it agrees with the header's."""
    if row.signal == "intervals":
        raise CorpusError(f"must not have a rate for intervals, which are events, got {rate:g} Hz")
    if row.rate_hz is None:
        return rate
    if abs(row.rate_hz / rate - 1) > RATE_TOLERANCE:
        raise CorpusError(
            f"must have one rate, but its header says {rate:g} Hz and the manifest {row.rate_hz:g} Hz"
        )
    return row.rate_hz


def _check_stamps(time_s: Array, recording: Recording) -> None:
    if not np.isfinite(time_s).all():
        sample = int(np.argmin(np.isfinite(time_s)))
        raise CorpusError(
            f"must hold finite time stamps, got {time_s[sample]:g} at {_at(recording, sample)}, "
            "column 'time_s'"
        )
    with np.errstate(over="ignore"):
        falling = np.flatnonzero(np.diff(time_s) <= 0)
    if len(falling):
        sample = int(falling[0]) + 1
        raise CorpusError(
            f"must have rising time stamps in time_s, got {time_s[sample]:g} s at {_at(recording, sample)} "
            f"after {time_s[sample - 1]:g} s"
        )
    if len(time_s) and time_s[0] < 0:
        raise CorpusError(
            f"must have time stamps from 0 s on in time_s, got {time_s[0]:g} s at {_at(recording, 0)}"
        )


def _check_even(time_s: Array, rate: float, recording: Recording) -> None:
    steps = np.abs(np.diff(time_s) * rate - 1)
    if (steps > MAX_JITTER).any():
        sample = int(np.argmax(steps > MAX_JITTER)) + 1
        raise CorpusError(
            f"must have even time stamps in time_s, got {time_s[sample]:g} s at {_at(recording, sample)} "
            f"after {time_s[sample - 1]:g} s, at {rate:g} Hz on average"
        )


def _at(recording: Recording, sample: int) -> str:
    return f"line {sample + 2}" if recording.lined else f"row {sample}"
