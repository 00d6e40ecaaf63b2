"""What the rest of the schemes expects of a quantiser."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

from harness.contracts import Array, Capture, Witness

__all__ = ["Quantiser"]


@runtime_checkable
class Quantiser(Protocol):
    """Turns every attempt of a capture into `count` symbols, whatever the capture's length.

    Row i of what it returns depends on row i of the capture alone. An attempt that is too short, has a
    gap or shows too little activity is not acquired, which is no error; its symbols are given all the
    same. A capture of the wrong kind is a ValueError; an optional attribute `units` names those that are
    right, for whoever would rather know beforehand.
    """

    @property
    def labels(self) -> Array:
        """(alphabet, bits) uint8: symbol -> witness bits."""
        ...

    def quantise(self, capture: Capture, count: int) -> Witness: ...

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) seconds of the capture that `count` symbols need."""
        ...
