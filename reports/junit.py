"""A gate's verdict and the outcomes of claims as JUnit XML, which pipelines read test results in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from harness.claims.record import ClaimsRecord, Judgement
from harness.verdicts import Comparison, Verdict
from reports.claims_text import claims_headline, claims_outcome, judgement_text
from reports.gate import change_text, harm_text, headline, why_text
from reports.wording import clean

__all__ = ["to_junit"]

_GATE = {"fail": "failure", "undecided": "error", "unresolved": "skipped", "pass": ""}
_CLAIM = {
    "refuted": "failure",
    "undecided": "error",
    "untested": "error",
    "withstood": "",
    "shown": "",
    "met": "",
}
_SUPPORT = ("attack", "outcome", "lower", "upper", "holds_at", "breaks_at")
_ROW = (
    *("measure", "budget", "value", "low", "high", "level", "unit", "method"),
    *("side", "evidence", "data", "subjects", "attempts"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """One test case: `kind` is "failure", "error", "skipped", or "" for a pass."""

    name: str
    kind: str
    text: str
    properties: Sequence[tuple[str, object]] = ()


def to_junit(*, verdict: Verdict | None = None, claims: ClaimsRecord | None = None) -> str:
    """JUnit XML with one test case per comparison and claim, and one for the outcome of each as a whole.

    A regression and a refuted claim are failures. What is undecided or untested, and an open threat, is an
    error. Unresolved metrics, threats out of scope and requirements without evidence are skipped. Numbers
    stand unrounded in the properties of each case; there is no time in it. Characters that XML cannot hold
    are replaced.

    Parameters
    ----------
    verdict : Verdict, optional
    claims : ClaimsRecord, optional
        At least one of both.

    Returns
    -------
    str
        A whole document, to be written as UTF-8.

    Raises
    ------
    ValueError
        If there is nothing to report.
    """
    suites = [*(_gate_suites(verdict) if verdict else ()), *(_claim_suites(claims) if claims else ())]
    if not suites:
        raise ValueError("`verdict` or `claims` must be given, got neither")
    root = ET.Element("testsuites", _counts([case for _, cases in suites for case in cases], "keyassay"))
    for title, cases in suites:
        suite = ET.SubElement(root, "testsuite", _counts(cases, title))
        for case in cases:
            _add(suite, title, case)
    ET.indent(root)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(root, encoding="unicode")}\n'


def _counts(cases: Sequence[_Case], name: str) -> dict[str, str]:
    kinds = [case.kind for case in cases]
    return {
        "name": clean(name),
        "tests": str(len(kinds)),
        "failures": str(kinds.count("failure")),
        "errors": str(kinds.count("error")),
        "skipped": str(kinds.count("skipped")),
    }


def _add(suite: ET.Element, title: str, case: _Case) -> None:
    made = ET.SubElement(
        suite, "testcase", {"classname": clean(f"keyassay.{title}"), "name": clean(case.name)}
    )
    if case.properties:
        held = ET.SubElement(made, "properties")
        for name, value in case.properties:
            ET.SubElement(held, "property", {"name": name, "value": clean(value)})
    if case.kind:
        ET.SubElement(made, case.kind, {"message": clean(case.text)})


def _gate_suites(verdict: Verdict) -> Iterable[tuple[str, list[_Case]]]:
    """A suite per thing held against, and one for the outcome, which no single metric may speak for."""
    whole = _Case(
        name="outcome",
        kind=_GATE[verdict.outcome],
        text=headline(verdict),
        properties=[("candidate", verdict.candidate), ("held-against", verdict.held_against)]
        + [("level", verdict.level)]
        + [("notice", notice) for notice in verdict.notices],
    )
    yield "gate", [whole]
    for against in dict.fromkeys(c.against for c in verdict.comparisons):
        yield f"gate.{against}", [_compared(c) for c in verdict.comparisons if c.against == against]


def _compared(comparison: Comparison) -> _Case:
    names = ("old", "new", "worse", "limit", "margin", "detectable", "p", "adjusted", "people")
    numbers = [(name, getattr(comparison, name)) for name in names]
    return _Case(
        name=str(comparison.metric),
        kind=_GATE[comparison.outcome],
        text=f"{change_text(comparison)}; {harm_text(comparison)}; {why_text(comparison)}",
        properties=[
            ("scale", comparison.scale),
            ("unit", comparison.unit),
            *((name, value) for name, value in numbers if value is not None),
            ("identical", str(comparison.identical).lower()),
            ("better", str(comparison.better).lower()),
        ],
    )


def _claim_suites(record: ClaimsRecord) -> Iterable[tuple[str, list[_Case]]]:
    """What claims came to, the threats that stay open, and requirements that nothing answers to."""
    whole = _Case(
        name="outcome",
        kind=_CLAIM[claims_outcome(record)],
        text=claims_headline(record),
        properties=[("use", record.use)],
    )
    yield "claims", [whole, *(_judged(j) for j in record.judgements)]
    if record.open_threats:
        yield (
            "claims.threats",
            [
                _Case(
                    name=t.threat,
                    kind="error" if t.scoped_out is None else "skipped",
                    text=t.why if t.scoped_out is None else f"{t.why}; out of scope: {t.scoped_out}",
                )
                for t in record.open_threats
            ],
        )
    if record.requirements:
        yield (
            "claims.requirements",
            [
                _Case(
                    name=r.id,
                    kind="" if r.evidence else "skipped",
                    text=f"nothing measured answers to it: {r.text}",
                    properties=[("outcome", r.outcome), *(("claim", claim) for claim in r.claims)],
                )
                for r in record.requirements
            ],
        )


def _judged(judgement: Judgement) -> _Case:
    """What a claim rests on stands in its properties, numbered: 1 the first support, 1.2 its second row."""
    facts: list[tuple[str, object]] = [
        ("outcome", judgement.outcome),
        ("requirement", judgement.requirement),
    ]
    for i, support in enumerate(judgement.supports, start=1):
        facts += [(f"{i}-{name.replace('_', '-')}", getattr(support, name)) for name in _SUPPORT]
        for j, used in enumerate(support.rows, start=1):
            facts.append((f"{i}.{j}-role", used.role))
            facts += [(f"{i}.{j}-{name}", getattr(used.row, name)) for name in _ROW]
    return _Case(
        name=f"{judgement.claim} on {judgement.scheme}",
        kind=_CLAIM[judgement.outcome],
        text=judgement_text(judgement),
        properties=[(name, value) for name, value in facts if value is not None],
    )
