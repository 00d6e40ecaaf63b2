"""Keys from heartbeat intervals: Gray-coded intervals, code-offset sketch, HKDF."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array, Capture, Helper, Linear, Witness
from schemes.codes import Code
from schemes.commitment import Commitment, commitment
from schemes.extraction import Extraction
from schemes.quantisers import IntervalBits, Quantiser
from schemes.sketches import Sketch

__all__ = ["IntervalGray"]

_BITS = frozenset(range(31))  # 2.0 is one of them, 1.5 is not


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalGray:
    """Two sensors of one heart agree on a key; quantiser, sketch and extraction are replaceable.

    The defaults read the first 32 intervals, four bits of each, into one BCH block of 127 bits;
    the last bit stays unused, and so do later intervals. `code` serves a sketch given by name;
    `cell_s`, `kept` and `plausible_s` serve the default quantiser (see `IntervalBits`).
    """

    cell_s: float = 0.004
    kept: tuple[int, ...] = (1, 2, 3, 4)  # Gray bits of an interval, 0 = finest
    plausible_s: tuple[float, float] = (0.3, 2.0)  # an attempt with an interval outside is not acquired
    code: str | Code = "bch-127-64"
    blocks: int = 1
    key_bits: int = 64
    sketch: str | Sketch = "code-offset"
    extraction: str | Extraction = "hkdf"
    quantiser: Quantiser | None = None
    name: str = "interval-gray"
    signal: str = "intervals"

    def __post_init__(self) -> None:
        # a command line hands over one bit as a number, several as a list, and numbers as floats
        kept = tuple(np.atleast_1d(self.kept).tolist())
        object.__setattr__(self, "kept", tuple(int(bit) if bit in _BITS else bit for bit in kept))
        object.__setattr__(self, "plausible_s", tuple(np.atleast_1d(self.plausible_s).tolist()))
        self._commitment()

    @property
    def labels(self) -> Array:
        """(alphabet, bits) uint8: symbol -> witness bits."""
        return self._quantiser().labels

    def witness(self, capture: Capture) -> Witness:
        """Symbols (attempts, m), m being fixed by code, blocks and bits per interval."""
        if capture.signal != self.signal:
            raise ValueError(
                f"{self.name} must be given a capture of {self.signal!r}, got {capture.signal!r}"
            )
        return self._quantiser().quantise(capture, self._commitment().symbols)

    def sensing_seconds(self, capture: Capture) -> Array:
        """(attempts,) seconds of a capture that the witness needs."""
        return self._quantiser().seconds(capture, self._commitment().symbols)

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Device A: keys (attempts, key_bits) uint8, and what it publishes."""
        return self._commitment().generate(witness, rng=rng)

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        """Device B: keys, and accepted: acquired, and every block corrected."""
        return self._commitment().reproduce(witness, helper)

    @property
    def corrects(self) -> int:
        """Wrong bits in every block that are corrected whatever their places."""
        return self._commitment().corrects

    def linear(self, helper: Helper) -> Linear:
        """What the sketch says about the witness bits."""
        return self._commitment().linear(helper)

    def finish(self, secret: Array, helper: Helper) -> Array:
        """Keys of secrets (attempts, blocks * k)."""
        return self._commitment().finish(secret, helper)

    def _quantiser(self) -> Quantiser:
        return self.quantiser or IntervalBits(
            cell_s=self.cell_s, kept=self.kept, plausible_s=self.plausible_s
        )

    def _commitment(self) -> Commitment:
        return commitment(
            labels=self.labels,
            blocks=self.blocks,
            straddle=True,
            sketch=self.sketch,
            code=self.code,
            extraction=self.extraction,
            key_bits=self.key_bits,
        )
