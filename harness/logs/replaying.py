"""A log behind the faces of a scheme and a corpus.

The scheme knows its layout and nothing of what happened: attacks are shown it. Exchanges, keys and what
adversaries derived are the corpus's. A one-way scheme's B has no more than its witness and the helper data,
so whoever has A's whole witness has the key: without a disclosure, guesses are ranked by A's whole witness.
An adversary with the scheme's decoder may get any amount more, so that nothing bounds odds from above.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from harness.contracts import DEVICE_A, DEVICE_B, Array, Capture, Sensed, Sitting, Witness
from harness.exchange import Honest, take
from harness.logs.table import Log

__all__ = ["Logged", "LoggedCorpus", "Replayable", "replayable"]

SIGNAL = "log"
_FORWARDED = (
    *("labels", "linear", "finish", "generate", "reproduce"),
    *("segments", "confirm", "channels", "assisted", "sharpen", "needed", "listed", "extraction"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """A scheme of which there is only a log: it reads symbols where others read signals."""

    name: str
    key_bits: int
    symbols: int
    alphabet: int
    one_way: bool = True  # B has no more than its witness and what A published
    signal: str = SIGNAL

    def witness(self, capture: Capture) -> Witness:
        """The symbols as they were written down; NaN where none were."""
        seen = capture.samples[:, 0, : self.symbols]
        there = np.asarray(np.isfinite(seen).all(axis=1))
        symbols = np.where(there[:, None], seen, 0.0)
        return Witness(symbols=symbols.astype(np.uint8), alphabet=self.alphabet, acquired=there)


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayable(Logged):
    """A log together with the scheme that made it; made by `replayable`."""

    inner: Any


def replayable(inner: Any, **layout: Any) -> Replayable:
    """A log of a known scheme: what that discloses can be attacked, and its B run again.

    It has those of the scheme's members that begin with a witness or with helper data, and no others: which
    optional parts of the contract a scheme has is known by its members.

    Parameters
    ----------
    inner : Scheme
    **layout
        As of `Logged`.
    """
    members = {name: _forwarded(inner, name) for name in _FORWARDED if hasattr(inner, name)}
    kind: Any = type("Replayable", (Replayable,), {"__doc__": Replayable.__doc__, **members})
    made: Replayable = kind(**layout, inner=inner)
    return made


def _forwarded(inner: Any, name: str) -> Any:
    if callable(getattr(inner, name)):

        def called(self: Replayable, *args: Any, **options: Any) -> Any:
            return getattr(self.inner, name)(*args, **options)

        return called
    return property(lambda self: getattr(self.inner, name))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoggedCorpus:
    """The people of a log, what both devices and every adversary made of each exchange, and the keys."""

    name: str
    file: str  # without its folder
    log: Log
    data: str = "recorded"

    def sittings(self) -> Sequence[Sitting]:
        """Every subject's sessions."""
        roles = (DEVICE_A, DEVICE_B, *self.log.derived)
        streams = frozenset(f"{role}:{SIGNAL}" for role in roles)
        return [
            Sitting(subject=s, session=t, attempts=len(self._rows(s, t)), streams=streams)
            for s, t in sorted(set(zip(self.log.subject.tolist(), self.log.session.tolist(), strict=True)))
        ]

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        """Symbols as captures."""
        rows = self._rows(sitting.subject, sitting.session)
        witnesses = {DEVICE_A: self.log.a, DEVICE_B: self.log.b, **self.log.derived}
        return {
            name: Sensed(
                capture=_written(take(witnesses[name.partition(":")[0]], rows), self.log.seconds[rows]),
                attempt=np.arange(len(rows)),
                attacker=np.full(len(rows), -1),
            )
            for name in sorted(streams & sitting.streams)
        }

    def finished(self, sitting: Sitting, index: int) -> Honest:
        """The exchanges of one sitting, as they were."""
        log, rows = self.log, self._rows(sitting.subject, sitting.session)
        return Honest(
            sitting=np.full(len(rows), index),
            local=np.arange(len(rows)),
            subject=log.subject[rows],
            session=log.session[rows],
            a=take(log.a, rows),
            b=take(log.b, rows),
            keys_a=log.keys_a[rows],
            keys_b=log.keys_b[rows],
            accepted=log.accepted[rows],
            helper={k: v[rows] for k, v in log.helper.items()},
            seconds=log.seconds[rows],
        )

    def describe(self) -> Mapping[str, Any]:
        """What the log holds, and what was taken for granted."""
        return {
            "source": self.file,
            "kind": "log of finished exchanges; nothing was run again",
            "roles": sorted(self.log.derived),
            "published": sorted(self.log.helper),
            "taken for granted": list(self.log.remarks),
        }

    def digest(self) -> str:
        """SHA-256 (hex) of the table."""
        return self.log.digest

    def _rows(self, subject: int, session: int) -> Array:
        return np.flatnonzero((self.log.subject == subject) & (self.log.session == session))


def _written(witness: Witness, seconds: Array) -> Capture:
    samples = np.where(witness.acquired[:, None], witness.symbols.astype(float), np.nan)
    return Capture(samples=samples[:, None, :], rate_hz=1.0, signal=SIGNAL, unit="1", seconds=seconds)
