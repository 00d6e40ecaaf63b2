"""Symbols from single heartbeat intervals."""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Integral
from typing import ClassVar

import numpy as np

from harness.contracts import Array, Capture, Witness
from schemes import gf2
from schemes.quantisers.checks import ascending, number

__all__ = ["IntervalBits"]


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalBits:
    """Chosen Gray bits of heartbeat intervals, counted in cells.

    An interval is ⌊interval / cell⌋ modulo 2^(highest kept bit + 1), Gray-coded; of that label the
    bits `kept` (0 = finest) make the symbol. The finest bit is the first that two sensors of one
    heart disagree on, the coarsest are the first that a camera sees.

    An attempt is acquired if it has enough intervals, all of them between `plausible_s`.
    """

    units: ClassVar[frozenset[str]] = frozenset({"s"})

    cell_s: float = 0.004
    kept: tuple[int, ...] = (1, 2, 3, 4)
    plausible_s: tuple[float, float] = (0.3, 2.0)

    def __post_init__(self) -> None:
        number("cell_s", self.cell_s, positive=True)
        kept = self.kept
        whole = all(isinstance(bit, Integral) for bit in kept)
        if not whole or not 1 <= len(kept) <= 8 or list(kept) != sorted({b for b in kept if 0 <= b <= 30}):
            raise ValueError(f"`kept` must be 1 to 8 ascending bit numbers from 0 to 30, got {kept}")
        ascending("plausible_s", self.plausible_s)
        number("plausible_s", self.plausible_s[0], positive=True)

    @property
    def labels(self) -> Array:
        """Gray code: with consecutive bits kept, neighbours differ in one bit, also where they wrap."""
        return gf2.gray(2 ** len(self.kept), len(self.kept))

    def quantise(self, capture: Capture, count: int) -> Witness:
        """Symbols (attempts, count) of the first `count` intervals, with the intervals as features.

        Raises
        ------
        ValueError
            If the capture is not an event series in seconds.
        """
        if capture.rate_hz is not None or capture.unit != "s":
            got = f"{capture.rate_hz} Hz and {capture.unit!r}"
            raise ValueError(
                f"intervals need a capture without a sampling rate, in the unit 's', got {got}"
            )
        events = capture.samples[:, 0, :count]
        intervals = np.zeros((len(events), count))
        intervals[:, : events.shape[1]] = np.nan_to_num(events, posinf=0.0, neginf=0.0)
        low, high = self.plausible_s
        acquired: Array = np.all((intervals >= low) & (intervals <= high), axis=1)
        cells = np.floor(np.clip(intervals, 0.0, high) / self.cell_s).astype(np.int64)
        cells %= 2 << self.kept[-1]
        gray = cells ^ (cells >> 1)
        symbols = np.zeros_like(gray)
        bit = np.zeros_like(gray)
        for kept in reversed(self.kept):  # undo the Gray code, so that symbols are ordered as the cells are
            bit ^= gray >> kept & 1
            symbols = symbols << 1 | bit
        return Witness(
            symbols=symbols.astype(np.uint8),
            alphabet=2 ** len(self.kept),
            acquired=acquired,
            features=intervals[..., None],
        )

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) how long the first `count` intervals last."""
        return np.asarray(np.nansum(capture.samples[:, 0, :count], axis=1))
