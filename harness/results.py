"""The result of an audit: one tidy table, findings, and their JSON form.

Reports and gates read this and nothing else. `result.json` holds no time, path or worker
count, so that the same seed gives the same bytes.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from harness.claims.record import ClaimsRecord
from harness.contracts import Estimate
from harness.rows import COLUMNS, SEVERITIES, STATUSES, VERSION, Finding, PerSubject, Row
from harness.schema import checked

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "COLUMNS",
    "SEVERITIES",
    "STATUSES",
    "VERSION",
    "Audit",
    "Finding",
    "PerSubject",
    "Row",
    "keys_of",
    "measured",
    "unmeasured",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """What an audit found.

    `settings` holds the seed, the command that makes it again and the smallest odds it could have shown;
    `corpus` what the corpus says of itself (name, data, digest, counts, description); `schemes` and
    `attacks` what was run, with parameters; `claims` what became of the claims, if any were declared;
    `failed` is True if a plug-in failed at run time.
    """

    rows: Sequence[Row]
    per_subject: Sequence[PerSubject]
    findings: Sequence[Finding]
    settings: Mapping[str, Any]
    corpus: Mapping[str, Any]
    schemes: Sequence[Mapping[str, Any]]
    attacks: Sequence[Mapping[str, Any]]
    versions: Mapping[str, str]
    claims: ClaimsRecord | None = None

    @property
    def failed(self) -> bool:
        return any(row.status == "failed" for row in self.rows)

    @property
    def table(self) -> pd.DataFrame:
        """The result table, one row a cell, in the columns of `COLUMNS`."""
        import pandas as pd

        return pd.DataFrame([asdict(row) for row in self.rows], columns=list(COLUMNS))

    def select(self, **wanted: Any) -> list[Row]:
        """Rows whose fields equal all of `wanted`, e.g. ``select(measure="success-odds", budget=1)``."""
        return [r for r in self.rows if all(getattr(r, k) == v for k, v in wanted.items())]

    def to_json(self) -> str:
        """The text of `result.json`: sorted keys, numbers that round-trip, NaN never."""
        content = {
            "version": VERSION,
            "settings": dict(self.settings),
            "corpus": dict(self.corpus),
            "schemes": [dict(s) for s in self.schemes],
            "attacks": [dict(a) for a in self.attacks],
            "versions": dict(self.versions),
            "table": [asdict(row) for row in self.rows],
            "per_subject": [asdict(row) for row in self.per_subject],
            "findings": [asdict(f) for f in self.findings],
        }
        if self.claims is not None:
            content["claims"] = asdict(self.claims)
        return json.dumps(content, indent=1, sort_keys=True, allow_nan=False) + "\n"

    @classmethod
    def from_json(cls, text: str) -> Audit:
        """Read what `to_json` wrote.

        Raises
        ------
        ValueError
            If the text is not a result of this version; says what was found.
        """
        content = checked(text)
        return cls(
            rows=content.table,
            per_subject=content.per_subject,
            findings=content.findings,
            settings=content.settings,
            corpus=content.corpus,
            schemes=content.schemes,
            attacks=content.attacks,
            versions=content.versions,
            claims=content.claims,
        )

    @classmethod
    def read(cls, path: str | Path) -> Audit:
        """Read a `result.json`, or the folder that holds one."""
        path = Path(path)
        return cls.from_json((path / "result.json" if path.is_dir() else path).read_text("utf-8"))


def measured(
    estimate: Estimate,
    *,
    scheme: str,
    attack: str | None,
    measure: str,
    data: str,
    budget: int | None = None,
    reason: str | None = None,
) -> Row:
    """A row that carries an `Estimate`; `reason` may state the assumption it rests on."""
    return Row(
        scheme=scheme,
        attack=attack,
        measure=measure,
        budget=budget,
        value=_number(estimate.value),
        low=_number(estimate.low),
        high=_number(estimate.high),
        level=estimate.level,
        unit=estimate.unit,
        side=estimate.side,
        evidence=estimate.evidence,
        data=data,
        subjects=estimate.subjects,
        attempts=estimate.attempts,
        method=estimate.method,
        status="measured",
        reason=reason,
    )


def unmeasured(
    status: str,
    reason: str,
    *,
    scheme: str,
    attack: str | None,
    measure: str,
    unit: str,
    data: str,
    method: str = "none",
    budget: int | None = None,
) -> Row:
    """A row for a cell without numbers: untested, not applicable or failed, and why."""
    return Row(
        scheme=scheme,
        attack=attack,
        measure=measure,
        budget=budget,
        value=None,
        low=None,
        high=None,
        level=None,
        unit=unit,
        side=None,
        evidence=None,
        data=data,
        subjects=0,
        attempts=0,
        method=method,
        status=status,
        reason=reason,
    )


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def keys_of(rows: Iterable[Row]) -> list[tuple[Any, ...]]:
    """The keys of the rows, in order; a table has no key twice."""
    return [(r.scheme, r.attack, r.measure, r.budget, r.unit, r.method) for r in rows]
