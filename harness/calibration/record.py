"""A calibration as data, and the form of its `calibration.json`."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from harness.calibration.lines import (
    AlarmLine,
    Alarms,
    CaseLine,
    ChanceLine,
    CoverageLine,
    DetectionLine,
    RuleLine,
    Trial,
    Trouble,
    TruthLine,
    VerdictLine,
)

__all__ = ["VERSION", "Calibration", "CalibrationFile", "calibration_schema"]

VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """How far the harness can be trusted, as measured.

    `settings` holds the seed, the number of seeds and the command that makes it again; `trials` what all
    the rest is computed from. No time, path or worker count: the same seed gives the same bytes.
    """

    settings: Mapping[str, Any]
    versions: Mapping[str, str]
    verdicts: Sequence[VerdictLine]
    troubles: Sequence[Trouble]
    cases: Sequence[CaseLine]
    detection: Sequence[DetectionLine]
    alarms: Alarms | None
    sound: Sequence[AlarmLine]
    rules: Sequence[RuleLine]
    coverage: Sequence[CoverageLine]
    truths: Sequence[TruthLine]
    chance: Sequence[ChanceLine]
    trials: Sequence[Trial]

    @property
    def complete(self) -> bool:
        """Did every trial run, and was every truth measured?"""
        return not self.troubles

    @property
    def well(self) -> bool:
        """Is every promise kept that was put to the test?"""
        return all(line.holds is not False for line in self.verdicts)

    def verdict(self, id: str) -> VerdictLine:
        """The verdict of this name; KeyError if there is none."""
        return {line.id: line for line in self.verdicts}[id]

    def to_json(self) -> str:
        """The text of `calibration.json`: sorted keys, numbers that round-trip, NaN never."""
        content = {"version": VERSION, **asdict(self)}
        return json.dumps(content, indent=1, sort_keys=True, allow_nan=False) + "\n"

    @classmethod
    def from_json(cls, text: str) -> Calibration:
        """Read what `to_json` wrote.

        Raises
        ------
        ValueError
            If the text is no calibration of this version; says what was found.
        """
        try:
            found = CalibrationFile.model_validate_json(text)
        except ValidationError as error:
            first = error.errors()[0]
            place = ".".join(str(part) for part in first["loc"]) or "the file"
            got = repr(first["input"])[:60]
            raise ValueError(
                f"a calibration of version {VERSION} must be whole, got {got} at {place}: "
                f"{first['msg'].lower()}"
            ) from None
        return cls(**{field.name: getattr(found, field.name) for field in fields(cls)})


class CalibrationFile(BaseModel):
    """A whole calibration; unknown parts are refused, so that a newer file is not half understood."""

    model_config = ConfigDict(extra="forbid", strict=True, title="keyassay calibration")

    version: Literal[1]
    settings: dict[str, Any]
    versions: dict[str, str]
    verdicts: list[VerdictLine]
    troubles: list[Trouble]
    cases: list[CaseLine]
    detection: list[DetectionLine]
    alarms: Alarms | None
    sound: list[AlarmLine]
    rules: list[RuleLine]
    coverage: list[CoverageLine]
    truths: list[TruthLine]
    chance: list[ChanceLine]
    trials: list[Trial]


def calibration_schema() -> dict[str, Any]:
    """JSON Schema of `calibration.json`; the package holds it as `calibration.schema.json`."""
    return CalibrationFile.model_json_schema()
