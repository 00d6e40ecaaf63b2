"""Scheme-blind detectors: leaks that nobody disclosed or listed, from keys and helper data alone.

Each is one small module with one question, and answers with a `Detection`. Under the null hypothesis keys
are independent of everything, and uniform.
"""

from harness.detectors.detection import Detection
from harness.detectors.evidence import Evidence, Generated, evidence
from harness.detectors.family import SLUGS, adjusted, detect, detections
from harness.detectors.generating import generations

__all__ = [
    "SLUGS",
    "Detection",
    "Evidence",
    "Generated",
    "adjusted",
    "detect",
    "detections",
    "evidence",
    "generations",
]
