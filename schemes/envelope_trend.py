"""Keys from how a muscle's envelope rises and falls: trend symbols, code-offset sketch, HKDF."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array, Capture, Helper, Linear, Witness
from schemes.codes import Code
from schemes.commitment import Commitment, commitment
from schemes.extraction import Extraction
from schemes.quantisers import Quantiser, TrendSymbols
from schemes.sketches import Sketch

__all__ = ["EnvelopeTrend"]


@dataclass(frozen=True, slots=True, kw_only=True)
class EnvelopeTrend:
    """Two muscle sensors on one arm agree on a key; quantiser, sketch and extraction are replaceable.

    The defaults read 133 windows of 0.2 s, 26.6 s, for 132 symbols: twelve whole two-bit symbols
    in each of eleven Golay blocks. `code` serves a sketch given by name; `window_s` to
    `activity_uv` serve the default quantiser (see `TrendSymbols`).
    """

    window_s: float = 0.2
    thresholds: tuple[float, ...] = (-0.674, 0.0, 0.674)  # in robust standard deviations
    high_pass_hz: float = 20.0
    mains_hz: float = 50.0  # 0: no notch
    mains_harmonics: int = 1
    activity_uv: float = 10.0  # root mean square below which an attempt is not acquired
    code: str | Code = "golay-24-12"
    blocks: int = 11
    key_bits: int = 128
    sketch: str | Sketch = "code-offset"
    extraction: str | Extraction = "hkdf"
    quantiser: Quantiser | None = None
    name: str = "envelope-trend"
    signal: str = "emg"

    def __post_init__(self) -> None:
        # a command line hands over one threshold as a number, several as a list
        object.__setattr__(self, "thresholds", tuple(np.atleast_1d(self.thresholds).tolist()))
        self._commitment()

    @property
    def labels(self) -> Array:
        """(alphabet, bits) uint8: symbol -> witness bits."""
        return self._quantiser().labels

    def witness(self, capture: Capture) -> Witness:
        """Symbols (attempts, m), m being fixed by code and blocks."""
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
        return self.quantiser or TrendSymbols(
            window_s=self.window_s,
            thresholds=self.thresholds,
            high_pass_hz=self.high_pass_hz,
            mains_hz=self.mains_hz,
            mains_harmonics=self.mains_harmonics,
            activity_uv=self.activity_uv,
        )

    def _commitment(self) -> Commitment:
        return commitment(
            labels=self.labels,
            blocks=self.blocks,
            straddle=False,
            sketch=self.sketch,
            code=self.code,
            extraction=self.extraction,
            key_bits=self.key_bits,
        )
