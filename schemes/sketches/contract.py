"""What a secure sketch has to offer."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

import numpy as np

from harness.contracts import Array, Helper, Linear
from schemes.codes import Code

__all__ = ["Sketch", "require_systematic"]


@runtime_checkable
class Sketch(Protocol):
    """Witness bits come in blocks of `n`, each of which carries `k` secret bits."""

    @property
    def n(self) -> int: ...
    @property
    def k(self) -> int: ...

    def commit(self, bits: Array, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Device A: of bits (attempts, blocks, n) the secret (attempts, blocks * k), and what is public."""
        ...

    def recover(self, bits: Array, helper: Helper) -> tuple[Array, Array]:
        """Device B: secret (attempts, blocks * k), and (attempts, blocks) bool: block corrected."""
        ...

    def linear(self, helper: Helper, positions: Array) -> Linear:
        """What the published arrays say about the bits, which stand at `positions` of the witness."""
        ...


def require_systematic(code: Code) -> None:
    """Refuse a code whose messages are not the beginnings of its words.

    Raises
    ------
    ValueError
        If the generator is not [I | A].
    """
    if not np.array_equal(code.generator[:, : code.k], np.eye(code.k)):
        raise ValueError(f"`code` must be systematic, its generator [I | A], and {code.name} is not")
