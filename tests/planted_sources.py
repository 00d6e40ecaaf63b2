"""Sources and schemes whose leak is known by arithmetic, for attacks that listen or remember."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from harness.contracts import Array, Capture, Helper, Linear, Sensed, Sitting, Witness
from harness.streams import stream
from schemes.commitment import Commitment, commitment

ROLES = ("device-a", "device-b")


@dataclass(frozen=True, slots=True, kw_only=True)
class SymbolSource:
    """Symbols that come again `back` places on, or are moved at random; both devices see the same."""

    subjects: int = 20
    sessions: int = 1
    attempts: int = 10
    seed: int = 0
    symbols: int = 144
    alphabet: int = 3
    stay: float = 0.9
    back: int = 1
    name: str = "symbol-source"
    data: str = "simulated"

    def sittings(self) -> Sequence[Sitting]:
        return [
            Sitting(
                subject=s,
                session=t,
                attempts=self.attempts,
                streams=frozenset(f"{role}:value" for role in ROLES),
            )
            for s in range(self.subjects)
            for t in range(self.sessions)
        ]

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        rng = stream(self.seed, "symbols", sitting.subject, sitting.session)
        moved = rng.random((self.attempts, self.symbols)) >= self.stay
        by = np.where(moved, rng.integers(1, self.alphabet, moved.shape), 0)
        by[:, : self.back] = rng.integers(0, self.alphabet, (self.attempts, self.back))
        values = np.empty(by.shape)
        for first in range(self.back):
            values[:, first :: self.back] = np.cumsum(by[:, first :: self.back], axis=1) % self.alphabet
        capture = Capture(samples=values[:, None], rate_hz=1.0, signal="value", unit="1")
        rows = np.arange(self.attempts)
        return {
            name: Sensed(capture=capture, attempt=rows, attacker=np.full(self.attempts, -1))
            for name in sorted(streams & sitting.streams)
        }

    def describe(self) -> Mapping[str, Any]:
        return {"control": asdict(self)}

    def digest(self) -> str:
        return hashlib.sha256(repr(self).encode()).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class SymbolCommitment:
    """Three symbols in two bits, whole ones in every block of a code, committed without extraction."""

    blocks: int = 12
    name: str = "symbol-commitment"
    signal: str = "value"
    labels: Array = field(
        default_factory=lambda: np.array([[0, 0], [0, 1], [1, 1]], np.uint8), compare=False
    )

    @property
    def key_bits(self) -> int:
        return 12 * self.blocks

    def _commitment(self) -> Commitment:
        return commitment(
            labels=self.labels,
            blocks=self.blocks,
            straddle=False,
            sketch="code-offset",
            code="golay-24-12",
            extraction="identity",
            key_bits=self.key_bits,
        )

    def witness(self, capture: Capture) -> Witness:
        symbols = capture.samples[:, 0].astype(np.uint8)
        return Witness(symbols=symbols, alphabet=3, acquired=np.ones(len(symbols), bool))

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return self._commitment().generate(witness, rng=rng)

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return self._commitment().reproduce(witness, helper)

    def linear(self, helper: Helper) -> Linear:
        return self._commitment().linear(helper)

    def finish(self, secret: Array, helper: Helper) -> Array:
        return self._commitment().finish(secret, helper)


@dataclass(frozen=True, slots=True, kw_only=True)
class RawSymbols:
    """The symbols' bits as they are."""

    key_bits: int = 32
    name: str = "raw-symbols"
    signal: str = "value"

    def witness(self, capture: Capture) -> Witness:
        symbols = capture.samples[:, 0].astype(np.uint8)
        return Witness(symbols=symbols, alphabet=2, acquired=np.ones(len(symbols), bool))

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return witness.symbols[:, : self.key_bits].copy(), {}

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return witness.symbols[:, : self.key_bits].copy(), witness.acquired.copy()


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedKeys:
    """A random key; a check value of `check_bits` for every `part` bits of it is published."""

    key_bits: int = 32
    part: int = 8
    check_bits: int = 32
    name: str = "checked-keys"
    signal: str = "value"

    @property
    def segments(self) -> Array:
        return np.arange(self.key_bits) // self.part

    def witness(self, capture: Capture) -> Witness:
        symbols = (capture.samples[:, 0] > 0).astype(np.uint8)
        return Witness(symbols=symbols, alphabet=2, acquired=np.ones(len(symbols), bool))

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        keys = rng.integers(0, 2, (len(witness.symbols), self.key_bits)).astype(np.uint8)
        salt = rng.integers(0, 256, (len(keys), 8)).astype(np.uint8)
        # for the owner's other device, which stands outside what is tested here
        pad = witness.symbols[:, : self.key_bits] ^ keys
        return keys, {"pad": pad, "salt": salt, "checks": self._checks(keys, salt)}

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        keys = witness.symbols[:, : self.key_bits] ^ helper["pad"]
        return keys, self.confirm(keys, helper).all(axis=1)

    def confirm(self, keys: Array, helper: Helper) -> Array:
        return np.asarray(self._checks(keys, helper["salt"]) == helper["checks"])

    def _checks(self, keys: Array, salt: Array) -> Array:
        parts = np.packbits(keys.reshape(len(keys), -1, self.part), axis=2)
        out = np.empty(parts.shape[:2], np.int64)
        for i, (row, grain) in enumerate(zip(parts, salt, strict=True)):
            for j, part in enumerate(row):
                digest = hashlib.blake2s(part.tobytes() + bytes([j]), key=grain.tobytes()).digest()
                out[i, j] = int.from_bytes(digest[:4], "big") & ((1 << self.check_bits) - 1)
        return out
