"""A commitment whose symbols B reads with the help of what A publishes about its features."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol, runtime_checkable

import numpy as np

from harness.contracts import Array, Helper, Linear, Witness
from schemes.commitment import Commitment

__all__ = ["Assistance", "Assisted"]


@runtime_checkable
class Assistance(Protocol):
    """What A publishes about its features, and how symbols are read with it."""

    def measured(self, symbols: int) -> int:
        """Symbols that the quantiser has to give, if `symbols` are read."""
        ...

    def publish(self, witness: Witness, symbols: int) -> tuple[Witness, Helper]:
        """Device A: its symbols as they are read (attempts, symbols), and arrays (attempts, ...)."""
        ...

    def read(self, witness: Witness, helper: Helper) -> Witness:
        """Device B: its symbols (attempts, symbols)."""
        ...

    def reread(self, witness: Witness, helper: Helper) -> Witness:
        """The whole witness read with help, as `harness.optional_parts.Assisting` has it."""
        ...

    def places(self, helper: Helper, positions: Array, bits: int) -> Array:
        """(1 or attempts, blocks, n) in the whole witness, of positions (1, blocks, n) in what is read."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Assisted:
    """Takes the place of a `Commitment` in a scheme; the witness has to bring its features.

    What the sketch says of A's symbols stays disclosed, at their places in the whole witness. What the
    assistance says of them beyond that is nothing if the features are distributed as assumed, and is in
    no `Linear` if they are not.
    """

    commitment: Commitment
    assistance: Assistance

    def __post_init__(self) -> None:
        self.assistance.measured(self.commitment.symbols)

    @property
    def labels(self) -> Array:
        """(alphabet, bits) uint8: symbol -> witness bits."""
        return self.commitment.labels

    @property
    def key_bits(self) -> int:
        return self.commitment.key_bits

    @property
    def secret_bits(self) -> int:
        return self.commitment.secret_bits

    @property
    def corrects(self) -> int:
        """Wrong bits, among those that are read, in every block."""
        return self.commitment.corrects

    @property
    def symbols(self) -> int:
        """Symbols that the quantiser has to give."""
        return self.assistance.measured(self.commitment.symbols)

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Device A: keys (attempts, key_bits) and everything that is published."""
        own, told = self.assistance.publish(witness, self.commitment.symbols)
        keys, helper = self.commitment.generate(own, rng=rng)
        return keys, {**told, **helper}

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        """Device B: keys, zero where not accepted, and accepted."""
        return self.commitment.reproduce(self.assistance.read(witness, helper), helper)

    def assisted(self, witness: Witness, helper: Helper) -> Witness:
        """Any whole witness, read with what A publishes about its features; A's own stays as it is."""
        return self.assistance.reread(witness, helper)

    def linear(self, helper: Helper) -> Linear:
        """What the sketch gives away of the whole witness."""
        told = self.commitment.linear(helper)
        places = self.assistance.places(helper, told.positions, self.labels.shape[1])
        return replace(told, positions=places)

    def finish(self, secret: Array, helper: Helper) -> Array:
        """Keys of secrets (attempts, blocks * k)."""
        return self.commitment.finish(secret, helper)
