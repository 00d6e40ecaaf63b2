"""Schemes that tell of their helper data, small enough to be counted by hand."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from harness.contracts import Array, Helper, Linear, Witness
from schemes.commitment import Commitment, commitment

LABELS = np.array([[0, 0], [0, 1], [1, 1], [1, 0]], np.uint8)


@dataclass(frozen=True, slots=True)
class Open:
    """Two blocks of Hamming (7, 4), three whole symbols each, the key is the secret; it has no B."""

    inner: Commitment = field(
        default_factory=lambda: commitment(
            labels=LABELS, blocks=2, straddle=False, sketch="code-offset", code="hamming-7-4",
            extraction="identity", key_bits=8,
        )
    )  # fmt: skip
    name: str = "open"
    signal: str = "force"
    key_bits: int = 8

    @property
    def labels(self) -> Array:
        return LABELS

    def linear(self, helper: Helper) -> Linear:
        return self.inner.linear(helper)

    def finish(self, secret: Array, helper: Helper) -> Array:
        return self.inner.finish(secret, helper)


class Decoding(Open):
    """It has a B, which decodes."""

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return self.inner.reproduce(witness, helper)


@dataclass(frozen=True, slots=True)
class Grips(Decoding):
    """A whole scheme."""

    name: str = "grips"

    def witness(self, capture: object) -> Witness:
        raise NotImplementedError

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return self.inner.generate(witness, rng=rng)
