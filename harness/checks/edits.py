"""What may happen to a capture: a gap, a spike, a steady value, an early end."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeAlias

import numpy as np

from harness.checks.outcomes import Breach
from harness.checks.search import below, strategies
from harness.contracts import Capture

__all__ = ["Edit", "each", "edited", "strategy", "told", "words"]

KINDS = ("gap", "steady", "spike", "ends")
Edit: TypeAlias = tuple[str, int, int]  # kind, start, length in samples


def strategy(samples: int) -> Any:
    """Up to four things that happen to a capture of so many samples."""
    st = strategies()
    one = st.tuples(below(len(KINDS)), below(samples), below(samples))
    made = one.map(lambda drawn: (KINDS[drawn[0]], drawn[1], drawn[2] + 1))
    return st.lists(made, min_size=1, max_size=4)


def each(samples: int) -> list[list[Edit]]:
    """Every kind once, at the very beginning."""
    return [[(kind, 0, max(1, samples // 2))] for kind in KINDS]


def edited(whole: Capture, made: Sequence[Edit]) -> Capture:
    """The capture after all of them, in row 0."""
    samples = np.array(whole.samples)
    row = samples[0]
    for kind, start, length in made:
        stop = min(start + length, row.shape[1])
        if kind == "gap":
            row[:, start:stop] = np.nan
        elif kind == "steady":
            row[:, start:stop] = row[:, start : start + 1]
        elif kind == "spike":
            row[:, start] = 1e6
        else:
            row[:, max(1, start) :] = np.nan
    return Capture(samples=samples, rate_hz=whole.rate_hz, signal=whole.signal, unit=whole.unit)


def words(made: Sequence[Edit]) -> str:
    """What happened, in words."""
    told = [
        f"{kind} at sample {start}" + (f" for {n}" if kind in ("gap", "steady") else "")
        for kind, start, n in made
    ]
    return f"after {' and '.join(told)}"


@contextmanager
def told(made: Sequence[Edit]) -> Iterator[None]:
    """Adds what happened to a breach."""
    try:
        yield
    except Breach as breach:
        got = f"{breach.got} {words(made)}"
        raise Breach(
            breach.place.member, breach.place.field, breach.expected, got, row=breach.place.row
        ) from breach
