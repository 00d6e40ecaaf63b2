"""Keys that depend on when and how they were made, as everybody may see."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, named, signs
from harness.detectors.order import session_rank
from harness.detectors.tails import least_rows
from harness.detectors.tied import strongest_ties

__all__ = ["key_circumstances"]


def key_circumstances(data: Evidence) -> Detection:
    """Key bits that go with the number of the session or attempt, the time sensing took, or B's answer."""
    slug, k = "key-circumstances", data.key_bits
    numbers: list[Array] = []
    names: list[str] = []
    for name, number in (("session", session_rank(data)), ("attempt", data.local)):
        digits = [number >> b & 1 for b in range(int(number.max(initial=0)).bit_length())]
        numbers += [number, *digits]
        names += [f"the number of the {name}"] * (1 + len(digits))
    if data.seconds is not None:
        numbers.append(data.seconds)
        names.append("the time that sensing took")
    if data.accepted is not None:
        numbers.append(data.accepted)
        names.append("whether B accepted")
    every = np.stack(numbers, axis=1).astype(float)
    if (np.ptp(every, axis=0) == 0).all():
        return untested(slug, "all attempts are alike: one session of one attempt of each person")
    need = least_rows(every.shape[1] * k)
    if data.attempts < need:
        return untested(slug, f"{need} attempts could show it, and there are {data.attempts}")
    tie = strongest_ties([every], signs(data.keys), data.subject)
    text = "no key bit goes with the number of the session or attempt, with time, or with B's answer"
    if tie.heard:
        what = " and ".join(dict.fromkeys(names[i] for i in tie.columns))
        text = f"{named(tie.positions)} told by {what} {tie.told}"
    return found(slug, tie.p, text, bits=tie.bits, attempts=data.attempts, subjects=data.subjects)
