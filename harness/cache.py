"""Captures of a corpus, rendered or read once, then memory-mapped by whoever needs them.

Samples that float32 holds exactly are stored so; nothing is ever rounded.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from harness import validate
from harness.contracts import Array, Capture, Corpus, Sensed, Sitting
from harness.errors import CorpusError

__all__ = ["CachedStream", "Captures", "one_kind", "render"]


@dataclass(frozen=True, slots=True)
class CachedStream:
    """One stream of one sitting on disk."""

    path: Path
    channels: int
    attempt: Array  # (rows,)
    attacker: Array  # (rows,)
    rate_hz: float | None
    signal: str
    unit: str
    seconds: Array | None

    def load(self, rows: Array | None = None) -> Capture:
        """The capture, or some rows of it, as float64."""
        stored = np.load(self.path, mmap_mode="r", allow_pickle=False)
        samples = np.asarray(stored if rows is None else stored[rows], np.float64)
        seconds = self.seconds if self.seconds is None or rows is None else self.seconds[rows]
        return Capture(
            samples=samples, rate_hz=self.rate_hz, signal=self.signal, unit=self.unit, seconds=seconds
        )


@dataclass(frozen=True, slots=True)
class Captures:
    """Every cached stream, by (index of sitting, "role:signal")."""

    sittings: Sequence[Sitting]
    streams: Mapping[tuple[int, str], CachedStream]

    def of(self, sitting: int, stream: str) -> CachedStream | None:
        return self.streams.get((sitting, stream))

    def signals(self, role: str) -> list[str]:
        """Kinds of signal that a role has anywhere in the corpus, sorted."""
        found = {s for sitting in self.sittings for s in sitting.streams}
        return sorted(s.partition(":")[2] for s in found if s.partition(":")[0] == role)


def render(
    corpus: Corpus, index: int, sitting: Sitting, streams: frozenset[str], folder: Path
) -> list[Any]:
    """Write the streams of one sitting below `folder`; returns ((index, stream), CachedStream) pairs."""
    block = corpus.block(sitting, streams & sitting.streams)
    written = []
    for number, name in enumerate(sorted(block)):
        sensed = _checked(
            f"{corpus.name}, subject {sitting.subject}, session {sitting.session}, {name}",
            block[name],
            sitting,
        )
        samples = sensed.capture.samples
        single = samples.astype(np.float32)
        exact = np.array_equal(single.astype(np.float64), samples, equal_nan=True)
        path = folder / f"{index}-{number}.npy"  # names are other people's words
        np.save(path, single if exact else samples, allow_pickle=False)
        stored = CachedStream(
            path=path,
            channels=samples.shape[1],
            attempt=sensed.attempt,
            attacker=sensed.attacker,
            rate_hz=sensed.capture.rate_hz,
            signal=sensed.capture.signal,
            unit=sensed.capture.unit,
            seconds=sensed.capture.seconds,
        )
        written.append(((index, name), stored))
    return written


def _checked(where: str, sensed: Sensed, sitting: Sitting) -> Sensed:
    validate.capture(where, sensed.capture)
    rows = sensed.capture.samples.shape[0]
    attempt = sensed.attempt
    if attempt.shape != (rows,) or sensed.attacker.shape != (rows,):
        raise CorpusError(
            f"{where}: each of {rows} rows must name its attempt and attacker, got "
            f"{attempt.shape} and {sensed.attacker.shape}"
        )
    if rows and (attempt.min() < 0 or attempt.max() >= sitting.attempts or (np.diff(attempt) < 0).any()):
        raise CorpusError(
            f"{where}: attempts must ascend within 0..{sitting.attempts - 1}, got "
            f"{attempt.min()}..{attempt.max()}"
        )
    return sensed


def one_kind(captures: Captures, stream: str) -> None:
    """Refuse a stream whose rate, unit or channels change between sittings: one Capture has one of each."""
    stored = [c for (_, name), c in captures.streams.items() if name == stream]
    kinds = {
        "rate": {"none" if c.rate_hz is None else f"{c.rate_hz:g} Hz" for c in stored},
        "unit": {c.unit for c in stored},
        "number of channels": {str(c.channels) for c in stored},
    }
    for what, found in kinds.items():
        if len(found) > 1:
            raise CorpusError(
                f"{stream} must have one {what} in all sessions, got {', '.join(sorted(found))}; "
                "audit them apart or convert them"
            )
