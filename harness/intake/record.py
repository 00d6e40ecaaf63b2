"""What an intake check found, as data; text, page and file are made of it."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from harness.intake.alike import Alike
from harness.intake.clocks import Clock
from harness.intake.coverage import Coverage
from harness.intake.resolution import Resolution
from harness.intake.strata import Stratum
from harness.intake.streams import Quality

__all__ = ["Inspection", "Quality", "Remark", "Shift", "StreamReport", "Trace"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """A picture of one capture: lowest and highest value of each of its pieces."""

    place: str
    seconds: float
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamReport:
    """All captures of one stream."""

    stream: str
    unit: str
    channels: int
    captures: tuple[tuple[str, Quality], ...]  # place, measures
    trace: Trace | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """What synchronisation by the onset of activity does to one attempt."""

    place: str
    signal: str
    shift_s: float | None  # device-b is later by this much; None: no onset was seen in one of the two
    before: float  # correlation of the smooth envelopes
    after: float
    moves: tuple[tuple[int, float, float], ...] = ()  # line of the manifest, start_s and stop_s from now on


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Something to look at; `kind` is a slug."""

    kind: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """Everything that was found."""

    name: str
    data: str
    complaints: tuple[str, ...]  # what is damaged and was left out
    remarks: tuple[Remark, ...]
    counts: Mapping[str, Any]
    streams: tuple[StreamReport, ...]
    clocks: tuple[Clock, ...]
    alike: tuple[Alike, ...]
    compared: Mapping[str, int]  # pairs that were compared, captures that were not
    coverage: tuple[Coverage, ...]
    unread: Mapping[str, int]  # roles that no attack reads, attempts that have them
    schemes: Mapping[str, bool]  # can it run here?
    resolution: Resolution
    strata: tuple[Stratum, ...]
    shifts: Sequence[Shift] | None = None
    thresholds: Mapping[str, float] = field(default_factory=dict)

    def to_json(self) -> str:
        """All digits, as JSON text; what cannot be measured is null."""
        return json.dumps(_finite({"version": 1, **asdict(self)}), indent=1, allow_nan=False) + "\n"


def _finite(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(k): _finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
