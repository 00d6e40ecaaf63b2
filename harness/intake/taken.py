"""One capture at a time out of any corpus, recorded or simulated, with what is known of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from harness.contracts import Array, Corpus

__all__ = ["Taken", "each_sitting"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """One capture, its padding taken off."""

    role: str
    signal: str
    unit: str
    subject: int
    session: int
    attempt: int
    attacker: int = -1
    samples: Array  # (channels, samples) in the canonical unit; NaN: a declared gap
    rate_hz: float | None
    effective_hz: float | None = None
    limits: Array | None = None
    line: int | None = None  # of the manifest
    origin: tuple[str, str] | None = None  # file and array: captures of one recording share a clock
    start_s: float = 0.0  # in that recording
    strata: Mapping[str, str] = field(default_factory=dict)  # day, device, condition, group

    @property
    def stream(self) -> str:
        """Role and signal."""
        return f"{self.role}:{self.signal}"

    @property
    def place(self) -> str:
        """Where it is found, without anybody's name."""
        who = f"subject {self.subject}, session {self.session}, attempt {self.attempt}"
        return who if self.line is None else f"line {self.line}: {who}"

    @property
    def seconds(self) -> float:
        """Time that it spans; of an event series the sum of its intervals."""
        if self.rate_hz is None:
            return float(np.nansum(self.samples[0])) if self.signal == "intervals" else 0.0
        return int(self.samples.shape[1]) / self.rate_hz


def each_sitting(corpus: Corpus) -> Iterator[list[Taken]]:
    """Yield the captures of every sitting of a corpus that has no manifest."""
    for sitting in corpus.sittings():
        found: list[Taken] = []
        for stream, sensed in sorted(corpus.block(sitting, sitting.streams).items()):
            capture = sensed.capture
            for row, attempt, attacker in zip(
                capture.samples, sensed.attempt.tolist(), sensed.attacker.tolist(), strict=True
            ):
                length = int(np.flatnonzero(~np.isnan(row).all(axis=0)).max(initial=-1)) + 1
                found.append(
                    Taken(
                        role=stream.partition(":")[0],
                        signal=capture.signal,
                        unit=capture.unit,
                        subject=sitting.subject,
                        session=sitting.session,
                        attempt=attempt,
                        attacker=attacker,
                        samples=row[:, :length],
                        rate_hz=capture.rate_hz,
                    )
                )
        yield found
