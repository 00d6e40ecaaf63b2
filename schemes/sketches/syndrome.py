"""The syndrome sketch: the witness's own check bits.

References
----------
Dodis, Ostrovsky, Reyzin and Smith, SIAM J. Comput. 38 (2008) 97-139.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array, Helper, Linear
from schemes import gf2
from schemes.codes import Code
from schemes.sketches.contract import require_systematic

__all__ = ["SyndromeSketch"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SyndromeSketch:
    """Publishes the syndrome of the witness; the secret is its first k bits, which no check fixes."""

    code: Code

    def __post_init__(self) -> None:
        require_systematic(self.code)

    @property
    def n(self) -> int:
        return self.code.n

    @property
    def k(self) -> int:
        return self.code.k

    @property
    def corrects(self) -> int:
        return self.code.t

    def commit(self, bits: Array, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Secret (attempts, blocks * k), and "syndrome" (attempts, blocks, n - k) uint8; draws nothing."""
        secret = bits[..., : self.k].reshape(len(bits), -1)
        return secret, {"syndrome": gf2.product(bits, self.code.parity.T)}

    def recover(self, bits: Array, helper: Helper) -> tuple[Array, Array]:
        """Turn B's bits, by their check part, into a word whose errors are those between A and B."""
        word = np.array(bits)
        # as H = [Aᵀ | I], A's own bits would become a codeword with the same first k bits
        word[..., self.k :] ^= helper["syndrome"]
        message, corrected = self.code.decode(word)
        return message.reshape(len(bits), -1), corrected

    def linear(self, helper: Helper, positions: Array) -> Linear:
        """The syndrome as published; the secret is read off without an offset."""
        syndrome = helper["syndrome"]
        return Linear(
            positions=positions,
            parity=self.code.parity,
            syndrome=syndrome,
            secret_map=np.eye(self.k, self.n, dtype=np.uint8),
            secret_offset=np.zeros((*syndrome.shape[:2], self.k), np.uint8),
        )
