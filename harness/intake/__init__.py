"""The intake check: what a corpus holds, how sound it is, and what it can and cannot test."""

from harness.intake.inspecting import inspect
from harness.intake.record import Inspection

__all__ = ["Inspection", "inspect"]
