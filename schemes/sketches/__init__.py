"""Secure sketches: what device A publishes so that B can correct its witness to A's."""

from schemes.sketches.code_offset import CodeOffset
from schemes.sketches.contract import Sketch
from schemes.sketches.names import SKETCHES, sketch_named
from schemes.sketches.set_difference import SetDifference, set_difference
from schemes.sketches.syndrome import SyndromeSketch

__all__ = [
    "SKETCHES",
    "CodeOffset",
    "SetDifference",
    "Sketch",
    "SyndromeSketch",
    "set_difference",
    "sketch_named",
]
