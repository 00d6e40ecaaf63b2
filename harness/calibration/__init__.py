"""The harness measured: which planted flaws it finds, how often it cries wolf, whether intervals cover."""

from harness.calibration.model import Control, Flaw, Truth

__all__ = ["Control", "Flaw", "Truth"]
