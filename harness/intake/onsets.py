"""Aligning the devices of an attempt by the onset of activity, where somebody asks for it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np

from harness.contracts import DEVICE_A, DEVICE_B, Array
from harness.intake.clocks import agreement
from harness.intake.envelopes import envelope
from harness.intake.record import Shift
from harness.intake.taken import Taken

__all__ = ["onset_s", "shifts"]

CUTOFF_HZ = 10.0
DIGITS = 6  # of a second: finer than a sample of any sensor on a body
HELD_S = 0.05  # an onset is held, a spike is not
REST_S = 0.2  # of rest must come before, or the onset was before the recording
CONTRAST = 3.0  # of activity above rest


def shifts(sitting: Sequence[Taken]) -> list[Shift]:
    """For each attempt and signal, how much later activity begins in the record of device-b."""
    attempts: dict[tuple[int, str], list[Taken]] = defaultdict(list)
    for taken in sitting:
        if taken.rate_hz is not None:
            attempts[taken.attempt, taken.signal].append(taken)
    found = []
    for captures in attempts.values():
        own = {taken.role: taken for taken in captures}
        if DEVICE_A not in own or DEVICE_B not in own:
            continue
        a, b = own[DEVICE_A], own[DEVICE_B]
        first, second = (onset_s(x.samples, x.rate_hz or 1.0) for x in (a, b))
        shift = None if first is None or second is None else second - first
        before, after = agreement(a, b, (0.0, shift or 0.0))
        found.append(
            Shift(
                place=a.place,
                signal=a.signal,
                shift_s=shift,
                before=before,
                after=after,
                moves=() if shift is None else tuple(_moves(captures, shift)),
            )
        )
    return found


def _moves(captures: Sequence[Taken], shift_s: float) -> Iterator[tuple[int, float, float]]:
    """Where each capture of an attempt is cut, so that both devices begin alike.

    Device-b is cut later by its shift. Where it is early, everything else is cut later: what an adversary
    recorded keeps its place beside device-a. All end earlier by the same time, so that none is the longer.
    """
    for taken in captures:
        late = max(shift_s, 0.0) if taken.role == DEVICE_B else max(-shift_s, 0.0)
        length = taken.seconds - abs(shift_s)
        if taken.line is not None and length > 0:
            start = taken.start_s + late
            yield taken.line, round(start, DIGITS), round(start + length, DIGITS)


def onset_s(samples: Array, rate_hz: float) -> float | None:
    """Seconds at which the envelope first rises halfway from rest to activity and stays there for 50 ms.

    None if activity does not stand out three times, or begins within the first 0.2 s.
    """
    values = envelope(samples, rate_hz, CUTOFF_HZ)
    rest, top = np.quantile(values, [0.1, 0.95])
    if rest < 0 or top < CONTRAST * max(rest, 1e-30):
        return None
    above = values > 0.5 * (rest + top)
    held = max(1, round(HELD_S * rate_hz))
    runs = np.convolve(above, np.ones(held, dtype=int), mode="valid") == held
    if not runs.any():
        return None
    first = float(np.argmax(runs)) / rate_hz
    return first if first >= REST_S else None
