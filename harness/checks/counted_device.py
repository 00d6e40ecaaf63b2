"""A device that counts how often it was asked and how often it refused."""

from __future__ import annotations

from harness.contracts import Array, Capture, Device, Helper
from harness.device import QueriesSpent

__all__ = ["CountedDevice"]


class CountedDevice:
    """Passes questions on."""

    def __init__(self, device: Device) -> None:
        self._device = device
        self.asked = self.refused = 0

    def __call__(self, helper: Helper, capture: Capture | None = None) -> Array:
        self.asked += 1
        try:
            return self._device(helper, capture)
        except QueriesSpent:
            self.refused += 1
            raise
