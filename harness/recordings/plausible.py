"""Are the amplitudes those of a body? A unit that is wrong by a thousand is seen here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError
from harness.recordings.manifest import Row

__all__ = ["RANGES", "Plausible", "amplitude"]

RANGES: Mapping[str, tuple[float, float]] = {
    "emg": (0.01, 1e5),
    "ecg": (1e-3, 50.0),
    "acceleration": (1e-4, 100.0),
    "intervals": (0.1, 10.0),
}
"""Least and greatest median amplitude of a stream in its canonical unit (assumption): an EMG amplifier's
own noise is some tenths of a microvolt, its range some tens of millivolts; a resting heart beats every
second. Wide enough for any body, and narrow enough for volts taken for microvolts."""


class _Seen(NamedTuple):
    row: Row
    values: list[float]


class Plausible:
    """Amplitudes of every stream; judged by their median, so that one dead sensor refuses nobody."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._seen: dict[str, _Seen] = {}

    def see(self, row: Row, samples: Array) -> None:
        """Take note of one capture in its canonical unit; a constant one says nothing."""
        found = amplitude(row.signal, samples)
        if row.signal in RANGES and found > 0:
            self._seen.setdefault(row.stream, _Seen(row, [])).values.append(found)

    def judge(self) -> None:
        """Refuse a stream whose median amplitude no body has.

        Raises
        ------
        CorpusError
            With the first line of the stream.
        """
        for sentence in self.complaints():
            raise CorpusError(sentence)

    def complaints(self) -> list[str]:
        """One sentence for each stream whose median amplitude no body has."""
        told = []
        for stream, (row, values) in self._seen.items():
            low, high = RANGES[row.signal]
            median = float(np.median(values))
            if not low <= median <= high:
                told.append(
                    f"{self._name} line {row.line}, `unit`: {stream} must have an amplitude of {low:g} to "
                    f"{high:g} {row.canonical_unit}, got {median:.3g} in the middle of its captures: "
                    "state the unit in which it was recorded"
                )
        return told


def amplitude(signal: str, samples: Array) -> float:
    """RMS about the mean of the largest channel; of intervals their median; 0 where nothing varies."""
    if signal == "intervals":
        return float(np.nanmedian(samples))
    with np.errstate(over="ignore", invalid="ignore"):
        found = float(np.nanstd(samples, axis=-1).max())
    return found if np.isfinite(found) else 0.0
