"""What a result says of a stratum's size and strength is said of the stratum, not of the whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import DEVICE_B, Sensed, Sitting
from harness.results import Audit


@dataclass(frozen=True)
class DullDay:
    """Signals of one sign only in the second session: that day's symbols hold nothing."""

    name: str = "dull-day"
    data: str = "simulated"

    def sittings(self) -> Sequence[Sitting]:
        return Channel(subjects=10, attempts=5, errors=((DEVICE_B, 0.02),)).sittings()

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        found = Channel(subjects=10, attempts=5, errors=((DEVICE_B, 0.02),)).block(sitting, streams)
        if sitting.session == 0:
            return found
        return {
            name: replace(sensed, capture=replace(sensed.capture, samples=np.abs(sensed.capture.samples)))
            for name, sensed in found.items()
        }

    def labels(self, sitting: Sitting, kind: str) -> Sequence[str | None]:
        return [f"day {sitting.session}" if kind == "day" else None] * sitting.attempts

    def describe(self) -> Mapping[str, Any]:
        return {}

    def digest(self) -> str:
        return "dull"


def of_day(day: int) -> Audit:
    scheme = SignCommitment(code="hamming-7-4", blocks=3)
    return audit(scheme, attacks="population", corpus=DullDay(), stratum=f"day=day {day}")


@pytest.fixture(scope="module")
def days() -> list[Audit]:
    return [of_day(0), of_day(1)]


def test_the_ledger_is_of_the_stratum(days: list[Audit]) -> None:
    found = []
    for result in days:
        (row,) = result.select(measure="bits-left", method="independent-record", unit="bit")
        found.append(row.value)
        assert row.attempts == 50
    assert found[0] is not None
    assert found[0] > 18  # of 24, seen in few attempts; both days together would hold 10
    assert found[1] == pytest.approx(0, abs=0.1)


def test_sizes_are_of_the_stratum(days: list[Audit]) -> None:
    for result in days:
        assert [result.corpus[n] for n in ("subjects", "sessions", "attempts")] == [10, 10, 50]
