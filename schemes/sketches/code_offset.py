"""The code-offset sketch: the witness, hidden behind a random codeword.

References
----------
Juels and Wattenberg, A fuzzy commitment scheme, ACM CCS 1999.
Dodis, Ostrovsky, Reyzin and Smith, SIAM J. Comput. 38 (2008) 97-139.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array, Helper, Linear
from schemes import gf2
from schemes.codes import Code
from schemes.sketches.contract import require_systematic

__all__ = ["CodeOffset"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeOffset:
    """Publishes the witness XOR a random codeword; the secret is that codeword's message."""

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
        """Secret (attempts, blocks * k), and "offset" (attempts, blocks, n) uint8."""
        message = rng.integers(0, 2, (*bits.shape[:2], self.k), dtype=np.uint8)
        return message.reshape(len(bits), -1), {"offset": self.code.encode(message) ^ bits}

    def recover(self, bits: Array, helper: Helper) -> tuple[Array, Array]:
        """Decode the offset as seen from B's own bits."""
        message, corrected = self.code.decode(helper["offset"] ^ bits)
        return message.reshape(len(bits), -1), corrected

    def linear(self, helper: Helper, positions: Array) -> Linear:
        """Witness and offset differ by a codeword, so their syndromes are equal."""
        offset = helper["offset"]
        return Linear(
            positions=positions,
            parity=self.code.parity,
            syndrome=gf2.product(offset, self.code.parity.T),
            secret_map=np.eye(self.k, self.n, dtype=np.uint8),
            secret_offset=offset[..., : self.k],
        )
