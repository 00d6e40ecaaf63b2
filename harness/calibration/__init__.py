"""The harness measured: which planted flaws it finds, how often it cries wolf, whether intervals cover."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from harness.calibration.model import Control, Flaw, Truth

if TYPE_CHECKING:
    from harness.calibration.calibrating import calibrate
    from harness.calibration.record import Calibration

__all__ = ["Calibration", "Control", "Flaw", "Truth", "calibrate"]

_HOMES = {"calibrate": "calibrating", "Calibration": "record"}


def __getattr__(name: str) -> Any:
    # imported on first use, so that whoever writes a control does not load the harness
    if name in _HOMES:
        return getattr(import_module(f"harness.calibration.{_HOMES[name]}"), name)
    raise AttributeError(f"module 'harness.calibration' has no attribute {name!r}")
