"""A stranger's scheme: written against the contract alone, nothing published, nothing disclosed."""

from dataclasses import dataclass

import numpy as np

from harness.contracts import Witness


@dataclass(frozen=True)
class MedianBits:
    """Each device compares its own samples with their median."""

    key_bits: int = 8
    name: str = "median-bits"
    signal: str = "value"

    def witness(self, capture):
        x = capture.samples[:, 0, : self.key_bits]
        bits = (x > np.median(x, axis=1, keepdims=True)).astype(np.uint8)
        return Witness(symbols=bits, alphabet=2, acquired=np.ptp(x, axis=1) > 0)

    def generate(self, witness, *, rng):
        return witness.symbols.copy(), {}

    def reproduce(self, witness, helper):
        return witness.symbols.copy(), witness.acquired.copy()
