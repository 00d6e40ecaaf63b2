"""A baseline: what a gate holds a candidate against, small enough to review and sealed with its own hash.

It holds the values of people under pseudonyms that pairing needs, and no signal, key or helper data.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from harness.errors import UsageError
from harness.margins import GATED, GATED_BUDGETS
from harness.results import Audit
from harness.verdicts import Metric

__all__ = ["Baseline", "Cell", "baseline_of", "cells_of", "file_hash", "parsed", "read_baseline", "without"]

_LARGEST = 64 * 2**20  # bytes of a file that is read at all

Finite = Annotated[float, Field(allow_inf_nan=False)]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Source(_Part):
    """The people that everything was measured on."""

    name: str
    digest: str
    data: Literal["recorded", "simulated"]
    subjects: int
    sessions: int
    attempts: int


class Scheme(_Part):
    """A scheme as it was, and what came of every attempt, as digests."""

    name: str
    key_bits: int
    digest: str | None = None
    parameters: dict[str, Any] = Field(default_factory=dict)
    outcomes: dict[str, Digest] = Field(default_factory=dict)
    uncovered: list[str] = Field(default_factory=list)


class Attack(_Part):
    """An attack as it was."""

    name: str
    source: str
    parameters: dict[str, Any] = Field(default_factory=dict)
    digest: str | None = None


class Cell(_Part):
    """One gated metric: whether it was measured, the mean over people, and their values.

    The mean stands there for whoever reviews a change of the file; what is compared are the values.
    """

    scheme: str
    attack: str | None
    measure: str
    budget: int | None
    status: Literal["measured", "untested", "not-applicable", "failed"]
    mean: Finite | None
    people: dict[
        Annotated[str, Field(pattern=r"^(0|[1-9][0-9]{0,17})$")],
        tuple[Finite, Annotated[int, Field(ge=1)]],
    ]


class Baseline(_Part):
    """A whole baseline."""

    keyassay_baseline: Literal[1] = 1
    reason: Annotated[str, Field(min_length=1)]
    corpus: Source
    seed: int
    schemes: list[Scheme]
    attacks: list[Attack]
    versions: dict[str, str]
    claims: Digest | None = None
    withdrawn: Annotated[int, Field(ge=0)] = 0
    cells: Annotated[list[Cell], Field(min_length=1)]

    @model_validator(mode="after")
    def _consistent(self) -> Baseline:
        names = [s.name for s in self.schemes]
        keys = [(c.scheme, c.attack, c.measure, c.budget) for c in self.cells]
        if len(set(names)) < len(names) or len(set(keys)) < len(keys):
            raise ValueError("each scheme and each cell must stand once")
        for cell in self.cells:
            if cell.scheme not in names or not _gated(cell.measure, cell.budget):
                raise ValueError(f"cells must be of gated measures of its schemes, got {cell.measure!r}")
            if cell.mean != _mean(cell.people):
                raise ValueError(f"the mean of {cell.measure} must be that of its people, got {cell.mean}")
            least, most = _range(cell.measure)
            outside = [v for v, _ in cell.people.values() if not least <= v <= most]
            if outside:
                raise ValueError(f"{cell.measure} must lie in {least:g}..{most:g}, got {outside[0]:g}")
        return self

    def text(self) -> str:
        """The file: sorted, numbers that round-trip, sealed with a hash of all the rest.

        One line for each scheme, attack and cell, so that a review shows which metrics moved, and how far.
        """
        content = self.model_dump(mode="json")
        lines = [
            f" {json.dumps(k)}: {_laid_out(v)}" for k, v in {**content, "sha256": _seal(content)}.items()
        ]
        return "{\n" + ",\n".join(sorted(lines)) + "\n}\n"

    def metrics(self) -> dict[Metric, Cell]:
        """The cells by what they measure; without the scheme's name where there is one scheme."""
        alone = len(self.schemes) == 1
        return {
            Metric(
                scheme="" if alone else c.scheme,
                attack=c.attack or "",
                measure=c.measure,
                budget=c.budget or 0,
            ): c
            for c in self.cells
        }


def _laid_out(value: Any) -> str:
    if not isinstance(value, list):
        return json.dumps(value, sort_keys=True)
    return "[\n" + ",\n".join(f"  {json.dumps(v, sort_keys=True)}" for v in value) + "\n ]"


def _mean(people: Mapping[str, tuple[float, int]]) -> float | None:
    """Mean over people of their values; the sum is exact, so that it is one number whatever the order."""
    return math.fsum(value for value, _ in people.values()) / len(people) if people else None


def _seal(content: Mapping[str, Any]) -> str:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def file_hash(path: Path) -> str:
    """SHA-256 of a file as it is.

    Raises
    ------
    UsageError
        If it cannot be read.
    """
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise UsageError(f"{path} must be a file that can be read: {error.strerror}") from None


def baseline_of(audit: Audit, *, reason: str, claims: str | None = None) -> Baseline:
    """What later versions are held against.

    Parameters
    ----------
    audit : Audit
    reason : str
        Why this baseline is right, for whoever reviews it.
    claims : str, optional
        SHA-256 of the claims file that belongs to it.

    Raises
    ------
    UsageError
        If there is no reason, a plug-in failed, or nothing was measured.
    """
    if not reason.strip():
        raise UsageError("a baseline needs a `--reason`: what changed, and why the new values are right")
    if audit.failed:
        failed = next(r for r in audit.rows if r.status == "failed")
        raise UsageError(
            f"a baseline must be made of an audit in which nothing failed, but "
            f"{failed.attack or failed.scheme} did: {failed.reason}"
        )
    cells = cells_of(audit)
    if not any(c.people for c in cells):
        raise UsageError("a baseline must hold values of people, and this result has none")
    try:
        return Baseline(
            reason=reason.strip(),
            corpus=Source(**{k: audit.corpus[k] for k in Source.model_fields}),
            seed=audit.settings["seed"],
            schemes=[
                Scheme(**{k: s[k] for k in Scheme.model_fields if s.get(k) is not None})
                for s in audit.schemes
            ],
            attacks=[
                Attack(**{k: a[k] for k in Attack.model_fields if a.get(k) is not None})
                for a in audit.attacks
            ],
            versions=dict(audit.versions),
            claims=claims,
            cells=cells,
        )
    except (KeyError, ValidationError) as error:
        raise UsageError(
            f"the result must say what it was measured on and with, got {_first(error)}; "
            "run the audit again"
        ) from None


def cells_of(audit: Audit) -> list[Cell]:
    """The gated metrics of a result, sorted."""
    people: dict[tuple[str, str | None, str, int | None], dict[str, tuple[float, int]]] = {}
    for p in audit.per_subject:
        if _gated(p.measure, p.budget):
            own = people.setdefault((p.scheme, p.attack, p.measure, p.budget), {})
            own[str(p.subject)] = (p.value, p.attempts)
    status = dict.fromkeys(people, "measured")
    for r in audit.rows:
        key = (r.scheme, r.attack, r.measure, r.budget)
        if _gated(r.measure, r.budget) and key not in people and r.status != "measured":
            status.setdefault(key, r.status)
    cells = []
    for key in sorted(status, key=lambda k: (k[0], k[1] or "", k[2], k[3] or 0)):
        own = dict(sorted(people.get(key, {}).items(), key=lambda item: int(item[0])))
        named = dict(zip(("scheme", "attack", "measure", "budget"), key, strict=True))
        cells.append(
            Cell.model_validate({**named, "status": status[key], "mean": _mean(own), "people": own})
        )
    return cells


def _range(measure: str) -> tuple[float, float]:
    """Between what a person's value can lie; beyond, sums of squares would leave the numbers there are."""
    if GATED[measure].unit == "probability":
        return -1e-9, 1 + 1e-9  # means of shares are off by rounding
    return -1e12, 1e12


def _gated(measure: str, budget: int | None) -> bool:
    return measure in GATED and (budget is None or budget in GATED_BUDGETS)


def read_baseline(path: str | Path) -> Baseline:
    """Read a baseline that is whole.

    Raises
    ------
    UsageError
        If it is missing, damaged, edited by hand or of another version: one sentence that says what to do.
    """
    path = Path(path)
    again = "make it again with `keyassay baseline RESULT --reason TEXT --out FILE`"
    try:
        if path.stat().st_size > _LARGEST:
            raise UsageError(f"a baseline must be at most 64 MiB, got more at {path.name}; {again}")
        raw = path.read_bytes()
    except OSError as error:
        raise UsageError(
            f"a baseline must be there to be held against, got {error.strerror or error} at {path}; {again}"
        ) from None
    return parsed(raw, path.name, again)


def parsed(raw: bytes, name: str, again: str) -> Baseline:
    """A baseline from the bytes of a file; see `read_baseline`."""
    try:
        content = json.loads(raw.decode("utf-8"), parse_constant=_no_constant, object_pairs_hook=_once)
    except (ValueError, RecursionError) as error:
        raise UsageError(
            f"a baseline must be JSON, got a damaged file {name}: {str(error)[:120]}; {again}"
        ) from None
    version = content.get("keyassay_baseline") if isinstance(content, dict) else None
    if version != 1 or isinstance(version, bool):
        got = f"version {version!r}"[:60] if version is not None else "something else"
        raise UsageError(f"{name} must be a baseline of version 1, got {got}; {again}")
    seal = content.pop("sha256", None)
    try:
        sealed = _seal(content)
    except (ValueError, RecursionError):
        sealed = None
    if not isinstance(seal, str) or seal != sealed:
        raise UsageError(
            f"{name} must be as it was written, but its content does not match its own hash; restore it, "
            f"or {again}"
        )
    try:
        return Baseline.model_validate_json(json.dumps(content))
    except (ValidationError, ValueError, RecursionError) as error:
        raise UsageError(f"{name} must be a whole baseline, got {_first(error)}; {again}") from None


def _no_constant(word: str) -> Any:
    raise ValueError(f"numbers must be finite, got {word}")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("each key must stand once")
    return found


def _first(error: Exception) -> str:
    if isinstance(error, ValidationError):
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "the file"
        return f"{str(first['msg']).lower()} at {place}"[:200]
    return str(error)[:200]


def without(baseline: Baseline, subject: str) -> Baseline:
    """The baseline without one person.

    What came of all attempts stays as a digest only where nobody was withdrawn: digests speak of everybody.

    Raises
    ------
    UsageError
        If the person is not in it, or nobody would be left.
    """
    known = {person for c in baseline.cells for person in c.people}
    if subject not in known:
        shown = ", ".join(sorted(known, key=int)[:10])
        raise UsageError(
            f"the person to withdraw must be in the baseline, got {subject!r}; it holds {shown}"
        )
    if len(known) == 1:
        raise UsageError(f"{subject!r} is the only person of this baseline: delete the file instead")
    cells = []
    for cell in baseline.cells:
        left = {p: v for p, v in cell.people.items() if p != subject}
        cells.append(cell.model_copy(update={"people": left, "mean": _mean(left)}))
    schemes = [s.model_copy(update={"outcomes": {}}) for s in baseline.schemes]
    return baseline.model_copy(
        update={"cells": cells, "schemes": schemes, "withdrawn": baseline.withdrawn + 1}
    )
