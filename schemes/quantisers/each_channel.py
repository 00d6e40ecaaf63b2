"""Several channels of one capture, each read by itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from harness.contracts import Array, Capture, Witness
from schemes.quantisers.contract import Quantiser

__all__ = ["EachChannel"]


@dataclass(frozen=True, slots=True, kw_only=True)
class EachChannel:
    """Reads every channel by itself: symbol i is of channel i mod `channels`.

    Channels of one body resemble each other: two do not hold twice the entropy of one. Neighbouring symbols
    are of different channels, so that what measures dependence between neighbours sees it.

    Parameters
    ----------
    inner : Quantiser
        For one channel.
    channels : int
        The first so many of a capture are read; where a capture has fewer, no attempt is acquired.
    """

    inner: Quantiser
    channels: int = 2

    def __post_init__(self) -> None:
        if not isinstance(self.channels, int) or isinstance(self.channels, bool) or self.channels < 1:
            raise ValueError(f"`channels` must be a whole number of 1 or more, got {self.channels!r}")

    @property
    def labels(self) -> Array:
        """(alphabet, bits) uint8: those of one channel."""
        return self.inner.labels

    @property
    def units(self) -> Any:
        """Units that one channel may have."""
        return getattr(self.inner, "units", None)

    def channels_of(self, count: int) -> Array:
        """(count,) int: the channel of every symbol."""
        return np.arange(count) % self.channels

    def quantise(self, capture: Capture, count: int) -> Witness:
        """Symbols (attempts, count), acquired where every channel is."""
        each = -(-count // self.channels)
        held = capture.samples.shape[1]
        read = [
            self.inner.quantise(_channel(capture, min(c, held - 1)), each) for c in range(self.channels)
        ]
        symbols = np.stack([w.symbols for w in read], axis=2).reshape(len(capture.samples), -1)
        parts = [w.features for w in read if w.features is not None]
        features = None
        if len(parts) == self.channels:
            together = np.stack(parts, axis=2)  # (attempts, each, channels, f)
            features = together.reshape(len(symbols), each * self.channels, -1)[:, :count]
        acquired = np.logical_and.reduce([w.acquired for w in read])
        return Witness(
            symbols=symbols[:, :count],
            alphabet=read[0].alphabet,
            acquired=acquired & (held >= self.channels),
            features=features,
        )

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) seconds that one channel's share of the symbols needs."""
        return self.inner.seconds(capture, -(-count // self.channels))


def _channel(capture: Capture, channel: int) -> Capture:
    return replace(capture, samples=capture.samples[:, [channel]])
