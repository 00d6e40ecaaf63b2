"""The points of a sweep: audits of variants on the same people, taken apart again point by point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

from harness import plugins
from harness.auditing import audit
from harness.errors import ContractError, UsageError
from harness.quantities import strongest, strongest_entries, told
from harness.results import Audit
from harness.rows import Row
from harness.swept import CURVES, Parameter, Point
from harness.tasks import Progress
from harness.varying import variant

__all__ = ["Run", "alone", "followed", "measured", "variants"]


@dataclass(frozen=True, slots=True)
class Run:
    """What every audit of the sweep has in common."""

    given: Any
    name: str
    corpus: Any
    size: Mapping[str, Any]
    options: Mapping[str, Any]
    progress: Progress

    def audits(self, schemes: Sequence[Any], corpus: Any, *, seed: int, stage: str) -> Audit:
        def progress(what: str, done: int, total: int) -> None:
            self.progress(f"{stage}, {what}", done, total)

        return audit(
            list(schemes), corpus=corpus, seed=seed, progress=progress, **self.size, **self.options
        )


def measured(run: Run, parameters: Sequence[Parameter], seed: int) -> list[Point]:
    """One point for every combination of values, the last parameter varying fastest."""
    settings = [
        {p.label: v for p, v in zip(parameters, values, strict=True)}
        for values in product(*(p.values for p in parameters))
    ]
    made: dict[int, tuple[Any, Any] | str] = {}
    for number, chosen in enumerate(settings, start=1):
        try:
            made[number] = variants(run, chosen, f"point-{number}", seed)
        except (UsageError, ContractError) as error:
            made[number] = str(error)
    groups: dict[str, list[int]] = {}
    for number, chosen in enumerate(settings, start=1):
        if not isinstance(made[number], str):
            sole = "" if _named(made[number][0], f"point-{number}") else str(number)
            key = repr([sole, *(f"{k}={v!r}" for k, v in chosen.items() if k.startswith("corpus."))])
            groups.setdefault(key, []).append(number)
    audits: dict[int, Audit] = {}
    for place, numbers in enumerate(groups.values(), start=1):
        pairs = [made[n] for n in numbers]
        found = run.audits(
            [pair[0] for pair in pairs],
            pairs[0][1],
            seed=seed,
            stage=f"audit {place} of {len(groups)}",
        )
        for number, facts in zip(numbers, found.schemes, strict=True):
            audits[number] = alone(found, str(facts["name"]), run.name)
    return [
        _point(number, chosen, audits.get(number), made[number])
        for number, chosen in enumerate(settings, start=1)
    ]


def variants(run: Run, chosen: Mapping[str, Any], title: str, seed: int) -> tuple[Any, Any]:
    """Scheme and corpus of one point, as `harness.audit` takes them."""
    own = {k.partition(".")[2]: v for k, v in chosen.items() if k.startswith("scheme.")}
    theirs = {k.partition(".")[2]: v for k, v in chosen.items() if k.startswith("corpus.")}
    corpus = variant("corpus", run.corpus, theirs, seed=seed, **run.size)
    try:
        return variant("scheme", run.given, {**own, "name": title}), corpus
    except UsageError:
        if not own:
            return run.given, corpus
        return variant("scheme", run.given, own), corpus  # perhaps it takes no name


def _named(scheme: Any, title: str) -> bool:
    """Does it go by the name it was given, so that it can share an audit with others?"""
    return bool(plugins.resolve("scheme", scheme).value.name == title)


def alone(found: Audit, scheme: str, name: str) -> Audit:
    """One scheme's part of an audit, under the scheme's own name."""
    others = {str(s["name"]) for s in found.schemes} - {scheme}
    claims = found.claims
    if claims is not None:
        own = tuple(replace(j, scheme=name) for j in claims.judgements if j.scheme == scheme)
        claims = replace(claims, judgements=own)
    return replace(
        found,
        rows=[replace(r, scheme=name) for r in found.rows if r.scheme == scheme],
        per_subject=[replace(p, scheme=name) for p in found.per_subject if p.scheme == scheme],
        findings=[
            replace(f, scheme=name if f.scheme == scheme else f.scheme)
            for f in found.findings
            if f.scheme not in others
        ],
        schemes=[{**s, "name": name} for s in found.schemes if s["name"] == scheme],
        claims=claims,
    )


def _point(number: int, chosen: Mapping[str, Any], found: Audit | None, made: Any) -> Point:
    who, rows = (None, {}) if found is None else followed(found)
    return Point(
        number=number,
        settings=chosen,
        audit=found,
        refusal=made if isinstance(made, str) else None,
        strongest=who,
        rows=rows,
        parts=(None, None, None),
        claims=None,
        admissible=False,
    )


def followed(found: Audit) -> tuple[str | None, Mapping[str, Row]]:
    """The strongest adversary of a one-scheme audit, and the quantities that a sweep follows."""
    name = str(found.schemes[0]["name"])
    top = strongest(found, name)
    rows = told(strongest_entries(found, name))
    return None if top is None else top[0], {q: rows[q] for q in CURVES}
