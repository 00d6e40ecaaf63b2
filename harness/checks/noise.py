"""People of whom nothing is known: noise that both devices record, for signals that no corpus has."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from harness.contracts import DEVICE_A, DEVICE_B, Capture, Sensed, Sitting
from harness.streams import stream

__all__ = ["Noise"]

SHARE = 0.05  # of what a device records, in amplitude, is its own


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """White noise of unit variance, four thousand samples long; the second device's differs a little."""

    signals: tuple[str, str]  # what device A and device B read
    subjects: int = 4
    sessions: int = 2
    attempts: int = 2
    seed: int = 0
    samples: int = 4000
    rate_hz: float = 100.0
    name: str = "noise"
    data: str = "simulated"

    def sittings(self) -> Sequence[Sitting]:
        names = (DEVICE_A, self.signals[0]), (DEVICE_B, self.signals[1])
        streams = frozenset(f"{role}:{signal}" for role, signal in names)
        return [
            Sitting(subject=subject, session=session, attempts=self.attempts, streams=streams)
            for subject in range(self.subjects)
            for session in range(self.sessions)
        ]

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        return {name: self._sensed(sitting, name) for name in sorted(streams & sitting.streams)}

    def _sensed(self, sitting: Sitting, name: str) -> Sensed:
        role, _, signal = name.partition(":")
        shape = (self.attempts, 1, self.samples)
        common = stream(self.seed, "body", sitting.subject, sitting.session).standard_normal(shape)
        own = stream(self.seed, role, sitting.subject, sitting.session).standard_normal(shape)
        return Sensed(
            capture=Capture(samples=common + SHARE * own, rate_hz=self.rate_hz, signal=signal, unit="1"),
            attempt=np.arange(self.attempts),
            attacker=np.full(self.attempts, -1),
        )

    def describe(self) -> Mapping[str, Any]:
        return {"people": "none: noise"}

    def digest(self) -> str:
        return hashlib.sha256(repr(self).encode()).hexdigest()
