"""What the tests that know nothing of a scheme ask to be said."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from harness.detectors import Detection
from harness.randomness_rows import MEASURE as RANDOMNESS
from harness.results import Finding, Row
from harness.rules import BLIND, TO_HOLDERS

__all__ = ["detector_findings", "randomness_findings"]

Say = Callable[..., Finding]


def randomness_findings(rows: Sequence[Row], say: Say, *, level: float) -> Iterator[Finding]:
    """Tests that the keys in a row fail; each p-value is corrected for all of them already."""
    missed = {
        r.method: r.value
        for r in rows
        if r.measure == RANDOMNESS and r.value is not None and r.value <= level
    }
    if missed:
        yield say(
            "randomness-failed",
            "medium",
            f"The keys, one after the other, fail {len(missed)} of the tests of randomness: "
            f"{', '.join(missed)} (least corrected p = {min(missed.values()):.2g}).",
            p=missed,
        )


def detector_findings(
    detections: Sequence[Detection], say: Say, *, key_bits: int, level: float
) -> Iterator[Finding]:
    """What a scheme-blind detector hears; its p-value is corrected for all detectors already."""
    for found in detections:
        if found.p is None or found.p > level:
            continue
        given = f" It gives away at least {found.bits:.3g} of {key_bits} bits." if found.bits > 0 else ""
        yield say(
            f"{BLIND}{found.slug}",
            _severity(found, key_bits),
            f"{found.text[0].upper()}{found.text[1:]} (corrected p = {found.p:.2g}).{given}",
            p=found.p,
            bits=found.bits,
            side="attacker-at-least",
        )


def _severity(found: Detection, key_bits: int) -> str:
    """By the bits that are given away; what tells the person but no key bit is medium."""
    if found.bits >= key_bits / 2 and found.slug not in TO_HOLDERS:
        return "critical"
    return "high" if found.bits >= min(8, key_bits / 4) else "medium"
