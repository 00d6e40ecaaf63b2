"""A scheme, its later versions, and the people they run on: what a gate must tell apart."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fixtures.controls import Channel, SignCommitment
from harness.contracts import DEVICE_B, Array, Capture, Helper, Linear, Sensed, Sitting, Witness
from schemes.codes import code

LENGTH = 46
ERRORS = ((DEVICE_B, 0.04), ("remote", 0.2), ("earlier", 0.02))


@dataclass(frozen=True, slots=True, kw_only=True)
class FreshAndHabit:
    """Signs that are new in every attempt, then signs that a person always makes; half a second each."""

    subjects: int = 60
    sessions: int = 2
    attempts: int = 5
    seed: int = 0
    name: str = "fresh-and-habit"
    data: str = "simulated"

    def _parts(self) -> tuple[Channel, Channel]:
        size = {"subjects": self.subjects, "sessions": self.sessions, "attempts": self.attempts}
        # who holds an earlier recording has other fresh signs, and nearly the same habit
        fresh = Channel(length=LENGTH, errors=(*ERRORS[:2], ("earlier", 0.5)), seed=self.seed, **size)
        return fresh, Channel(length=LENGTH, errors=ERRORS, fresh=False, seed=self.seed + 1, **size)

    def sittings(self) -> Sequence[Sitting]:
        return self._parts()[0].sittings()

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        fresh, habit = (part.block(sitting, streams) for part in self._parts())
        return {name: replace(fresh[name], capture=_joined(fresh[name], habit[name])) for name in fresh}

    def describe(self) -> Mapping[str, Any]:
        return {"signs": "fresh, then habitual"}

    def digest(self) -> str:
        return hashlib.sha256(repr(self).encode()).hexdigest()


def _joined(fresh: Sensed, habit: Sensed) -> Capture:
    samples = np.concatenate([fresh.capture.samples, habit.capture.samples], axis=2)
    return Capture(samples=samples, rate_hz=2.0, signal="value", unit="1")


@dataclass(frozen=True, slots=True, kw_only=True)
class First(SignCommitment):
    """The version that the baseline was made of."""

    blocks: int = 2
    threshold: float = 0.0
    start: int = 0
    seconds: float = LENGTH / 2

    def witness(self, capture: Capture) -> Witness:
        values = capture.samples[:, 0, self.start :] - self.threshold
        kept = Capture(samples=values[:, None, :], rate_hz=2.0, signal="value", unit="1")
        return SignCommitment.witness(self, kept)

    def sensing_seconds(self, capture: Capture) -> Array:
        return np.full(len(capture.samples), self.seconds)


@dataclass(frozen=True, slots=True, kw_only=True)
class Biased(First):
    """Large values count as positive, whatever their sign."""

    def witness(self, capture: Capture) -> Witness:
        found = First.witness(self, capture)
        assert found.features is not None
        large = np.abs(found.features[:, :, 0]) > 1.2
        return replace(found, symbols=(found.symbols | large).astype(np.uint8))


@dataclass(frozen=True, slots=True, kw_only=True)
class OneParityMore(First):
    """Publishes, beside the sketch, the first message bit of every block."""

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        keys, helper = First.generate(self, witness, rng=rng)
        bits = keys.reshape(len(keys), self.blocks, -1)[:, :, 0]
        return keys, {**helper, "check": bits}

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return First.reproduce(self, witness, {k: v for k, v in helper.items() if k != "check"})

    def linear(self, helper: Helper) -> Linear:
        own = First.linear(self, {k: v for k, v in helper.items() if k != "check"})
        told = np.asarray(helper["check"]) ^ own.secret_offset[:, :, 0]
        return Linear(
            positions=own.positions,
            parity=np.concatenate([own.parity, own.secret_map[:1]]),
            syndrome=np.concatenate([own.syndrome, told[:, :, None]], axis=2),
            secret_map=own.secret_map,
            secret_offset=own.secret_offset,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class TruncatedSeed(First):
    """Draws a key from eight coins instead of twenty-four."""

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        keys, helper = First.generate(self, witness, rng=rng)
        lost = keys.copy()
        lost[:, 8:] = 0
        # the offset moves with the message: codeword of the difference, for a linear code
        blocks = lost.reshape(len(lost) * self.blocks, -1) ^ keys.reshape(len(keys) * self.blocks, -1)
        words = code(self.code).encode(blocks).reshape(len(keys), self.blocks, -1)
        return lost, {**helper, "offset": helper["offset"] ^ words}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rewritten(First):
    """The first version in other words: the same symbols by another way."""

    def witness(self, capture: Capture) -> Witness:
        values = capture.samples[:, 0, self.start :][:, : self._commitment.symbols]
        return Witness(
            symbols=np.where(values <= self.threshold, 0, 1).astype(np.uint8),
            alphabet=2,
            acquired=~np.isnan(values).any(axis=1),
            features=(values - self.threshold)[:, :, None],
        )
