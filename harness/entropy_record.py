"""The form of what `keyassay entropy --format json` prints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

__all__ = [
    "CheckRecord",
    "EntropyFile",
    "EstimateRecord",
    "HealthRecord",
    "IidRecord",
    "OrderRecord",
    "RestartRecord",
    "entropy_schema",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimateRecord:
    """One estimator on the symbols, or on the bits that they are written in."""

    method: str
    of: Literal["symbols", "bits"]
    value: float | None  # bits of min-entropy, of one symbol or of one bit; None: too few data
    ceiling: float | None  # about what it says of a perfect source of so many
    reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRecord:
    """One statistic among shuffled sequences; see `harness.estimators.entropy.permutations`."""

    name: str
    value: float
    above: int
    equal: int
    below: int
    rejected: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRecord:
    """One test beside the permutations."""

    name: str
    statistic: float | None
    p_value: float | None
    degrees: float | None
    rejected: bool | None  # None: too few data
    reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class IidRecord:
    """Does anything speak against independent, identically distributed symbols?"""

    outcome: Literal["rejected", "undecided", "not rejected"]
    rejecting: list[str]
    untested: list[str]
    permutations: int  # at most
    orders: list[OrderRecord]
    tests: list[CheckRecord]


@dataclass(frozen=True, slots=True, kw_only=True)
class RestartRecord:
    """Rows and columns of restarts."""

    restarts: int
    symbols: int
    full_size: bool  # False: an analogue of the standard's test
    row: float
    column: float
    row_count: int
    row_cutoff: int
    column_count: int
    column_cutoff: int
    sane: bool
    halved: bool
    passed: bool
    remark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthRecord:
    """Where health tests of a source with this entropy raise an alarm."""

    entropy: float
    false_alarm: float
    repetition_count: int
    window: int
    adaptive_proportion: int | None  # None: it could never alarm


class EntropyFile(BaseModel):
    """What was found of one file of symbols."""

    model_config = ConfigDict(extra="forbid", strict=True, title="keyassay entropy")

    version: Literal[1]
    read_as: Literal["bits", "integers", "bytes", "array"]
    symbols: int
    bits_per_symbol: int
    different_symbols: int
    seed: int
    estimates: list[EstimateRecord]
    literal: float  # bits a symbol: the least of the estimates of symbols
    bitstring: float | None  # bits a symbol, by the least estimate of bits; None: bits are the symbols
    assessed: float  # bits a symbol: the lesser of both, and of restarts
    decides: str  # the method, and of what
    side: Literal["defender-at-most"]
    iid: IidRecord | None  # None: not asked for
    restart: RestartRecord | None  # None: no restarts told
    health: HealthRecord | None  # None: no entropy, no cutoff
    remarks: list[str]


def entropy_schema() -> dict[str, Any]:
    """JSON Schema of the file."""
    return EntropyFile.model_json_schema()
