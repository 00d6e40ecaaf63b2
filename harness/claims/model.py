"""The form of a claims file: strict, so that a slip of the pen is refused rather than half understood."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    PlainValidator,
    StringConstraints,
    WithJsonSchema,
    model_validator,
)

from harness.contracts import EVIDENCE
from harness.plugins import nearest
from harness.potential import FACTORS, rating
from harness.vocabulary import MEASURES

__all__ = ["OFFLINE_BUDGET", "Claim", "Claims", "Potential", "Requirement", "Scoped", "Use"]

OFFLINE_BUDGET = 2**64
"""Guesses of an adversary who guesses off line: the largest budget that audits measure."""

_LARGEST_POWER = 1024

Slug: TypeAlias = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$")]
Name: TypeAlias = Annotated[str, StringConstraints(min_length=1, max_length=500)]
Text: TypeAlias = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=4000)]
Number: TypeAlias = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Count: TypeAlias = Annotated[int, Field(ge=1, le=10**9)]


def _measure(name: str) -> str:
    if name not in MEASURES:
        raise ValueError(f"must be a measure of the result table; {nearest(name[:80], list(MEASURES))}")
    return name


def _budget(value: Any) -> Any:
    """An integer, a power as text, or "use"."""
    if value is None or value == "use":
        return value
    if isinstance(value, str):
        power = re.fullmatch(r"2\^([0-9]{1,4})", value, re.ASCII)
        value = 1 << int(power[1]) if power and int(power[1]) <= _LARGEST_POWER else None
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 1 << _LARGEST_POWER:
        raise ValueError('must be a number of guesses, a power written as "2^40", or "use"')
    return value


Measure: TypeAlias = Annotated[str, AfterValidator(_measure)]
Budget: TypeAlias = Annotated[
    int | Literal["use"] | None,
    PlainValidator(_budget),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "integer", "minimum": 1},
                {"type": "string", "pattern": r"^2\^[0-9]{1,4}$"},
                {"const": "use"},
            ]
        }
    ),
]


class _Part(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class Use(_Part):
    """What the key is for: it decides which guesses count.

    `kind`: "raw", used as it is, and "confirmed", with a public confirmation value, are guessed off line;
    "password-authenticated" and "commit-open" give an adversary one guess in each run. `key`: "fresh" for
    every session, or one "lasting" key. `tries_per_session`, `sessions`: over the life of the key or the
    device.
    """

    kind: Literal["raw", "confirmed", "password-authenticated", "commit-open"]
    key: Literal["fresh", "lasting"]
    tries_per_session: Count | None = None
    sessions: Count | None = None

    @property
    def online(self) -> bool:
        return self.kind in ("password-authenticated", "commit-open")

    @property
    def guesses(self) -> int:
        """Guesses at one key."""
        if not self.online:
            return OFFLINE_BUDGET
        tries = self.tries_per_session or 1
        return tries * (self.sessions or 1) if self.key == "lasting" else tries

    @property
    def keys(self) -> int:
        """Keys that can be guessed at, one after the other, over the lifetime."""
        return (self.sessions or 1) if self.key == "fresh" else 1

    @model_validator(mode="after")
    def _consistent(self) -> Use:
        if not self.online and self.tries_per_session is not None:
            raise ValueError(
                f"`tries_per_session` means nothing for keys guessed off line ({self.kind}); leave it out"
            )
        counted = self.online or self.key == "fresh"
        if counted and self.sessions is None:
            raise ValueError("`sessions` must say how many there are in a lifetime")
        if not counted and self.sessions is not None:
            raise ValueError("`sessions` means nothing for a lasting key guessed off line; leave it out")
        return self


class Claim(_Part):
    """A threshold on one measure of the result table.

    One-sided: `confidence` is that of the limit which must keep the threshold. `attack` "all" means every
    attack of the audit that is not out of scope; without `scheme`, each scheme is judged. `budget` "use"
    means the guesses that the declared use allows over a lifetime.
    """

    id: Slug
    measure: Measure
    attack: Name | None = None
    scheme: Name | None = None
    budget: Budget = None
    method: Slug | None = None
    unit: Name | None = None
    at_most: Number | None = None
    at_least: Number | None = None
    confidence: Annotated[float, Field(gt=0.5, lt=1)] = 0.95
    evidence: tuple[Literal["counted", "exact", "modelled", "assumed"], ...] = Field(
        strict=False, default=EVIDENCE
    )
    requirement: Slug | None = None
    rationale: Text | None = None
    owner: Text | None = None

    @property
    def threshold(self) -> float:
        return self.at_most if self.at_most is not None else float(self.at_least or 0.0)

    @model_validator(mode="after")
    def _consistent(self) -> Claim:
        quantity = MEASURES[self.measure]
        if (self.at_most is None) == (self.at_least is None):
            raise ValueError("exactly one of `at_most` and `at_least` must be given")
        if quantity.units == ("probability",) and self.threshold > 1:
            raise ValueError(f"the threshold of a probability must lie in 0..1, got {self.threshold:g}")
        if not self.evidence or len(set(self.evidence)) < len(self.evidence):
            raise ValueError("`evidence` must name at least one kind, and none twice")
        if self.attack is not None and not quantity.attack:
            raise ValueError(f"`attack` must be absent: {self.measure} is about the owner's own runs")
        self._check_budget(quantity.budgeted)
        if self.unit is None and len(quantity.units) > 1:
            raise ValueError(f"`unit` must say which is meant: {' or '.join(quantity.units)}")
        if self.unit is not None and self.unit not in quantity.units:
            raise ValueError(f"`unit` of {self.measure} must be {' or '.join(quantity.units)}")
        if quantity.methods and self.method not in quantity.methods:
            raise ValueError(f"`method` must say which is meant: {', '.join(quantity.methods)}")
        if self.measure == "leakage-test" and not self._sound_test():
            raise ValueError(
                "a test shows no secrecy: claim that its p-value is `at_least` a level of at most "
                "1 - `confidence`, and the claim is refuted where it falls below"
            )
        return self

    def _check_budget(self, budgeted: bool) -> None:
        if self.budget is not None and not budgeted:
            raise ValueError(f"`budget` must be absent: {self.measure} does not depend on one")
        if self.budget == "use" and self.measure != "success-odds":
            raise ValueError('`budget` "use" belongs to success-odds')

    def _sound_test(self) -> bool:
        return self.at_least is not None and self.at_least <= 1 - self.confidence + 1e-12


class Requirement(_Part):
    """What somebody needs, in words; claims point at it."""

    id: Slug
    text: Text
    owner: Text | None = None


class Scoped(_Part):
    """A threat that is declared out of scope, and why."""

    threat: Name
    reason: Text


class Potential(_Part):
    """What an attack asks of whoever carries it out."""

    attack: Name
    elapsed_time: str
    expertise: str
    knowledge: str
    window: str
    equipment: str
    rationale: Text

    @property
    def rated(self) -> tuple[int, str]:
        """Sum of the factors, and its band."""
        return rating(**{name: getattr(self, name) for name in (*FACTORS, "rationale")})

    @model_validator(mode="after")
    def _consistent(self) -> Potential:
        for factor, steps in FACTORS.items():
            step = getattr(self, factor)
            if step not in steps:
                raise ValueError(f"`{factor}` must be one of {', '.join(steps)}; got {step[:40]!r}")
        return self


class Claims(_Part):
    """A whole claims file."""

    model_config = ConfigDict(title="keyassay claims")

    version: Annotated[int, Field(ge=1, le=1)]  # a literal would take true and 1.0 for 1
    presets: Annotated[tuple[Name, ...], Field(strict=False)] = ()
    use: Use | None = None
    claim: Annotated[tuple[Claim, ...], Field(strict=False)] = ()
    requirement: Annotated[tuple[Requirement, ...], Field(strict=False)] = ()
    out_of_scope: Annotated[tuple[Scoped, ...], Field(strict=False)] = ()
    potential: Annotated[tuple[Potential, ...], Field(strict=False)] = ()
    margins: dict[Measure, Annotated[float, Field(gt=0, allow_inf_nan=False)]] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _unique(self) -> Claims:
        named = {
            "claim": [c.id for c in self.claim],
            "requirement": [r.id for r in self.requirement],
            "out_of_scope": [s.threat for s in self.out_of_scope],
            "potential": [p.attack for p in self.potential],
            "presets": list(self.presets),
        }
        for part, names in named.items():
            twice = sorted({n for n in names if names.count(n) > 1})
            if twice:
                raise ValueError(f"each {part} must be there once, got {twice[0][:80]!r} twice")
        return self
