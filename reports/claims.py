"""What a threat report says of the claims: outcomes on the first screen, what they rest on further down."""

from __future__ import annotations

from harness.claims.record import ClaimsRecord, Judgement, Support
from harness.results import Audit
from reports.claims_text import claims_headline
from reports.model import Block, Cell, Items, Paragraph, Table
from reports.wording import budget_text, clean, number_text

__all__ = ["claims_line", "claims_table", "open_claims", "scoped_out", "traceability"]

TONES = {"refuted": "alarm", "undecided": "open", "untested": "open", "withstood": "calm", "shown": "calm"}


def claims_line(audit: Audit) -> str:
    """How the claims came out, in one sentence."""
    if audit.claims is None:
        return "None declared: every adversary is compared with the promise of the key's length."
    return claims_headline(audit.claims).removeprefix("Claims: ")


def claims_table(record: ClaimsRecord) -> Table:
    """One row for each claim and scheme; refuted ones first."""
    order = ("refuted", "untested", "undecided", "withstood", "shown")
    judged = sorted(record.judgements, key=lambda j: order.index(j.outcome))
    rows = tuple(
        (
            Cell(clean(j.claim), clean(j.requirement or "")),
            Cell(clean(j.scheme)),
            Cell(clean(j.says)),
            Cell(j.outcome, clean(j.text), TONES[j.outcome]),
            Cell(clean(j.decides or "–")),
        )
        for j in judged
    )
    columns = ("Claim", "Scheme", "What is claimed", "Outcome", "What would decide it")
    return Table("Outcome of every claim.", columns, rows, key="claims")


def open_claims(record: ClaimsRecord) -> list[tuple[str, str]]:
    """What claims leave open: requirements without evidence, threats that are not scoped out."""
    entries = [
        (f"Requirement without evidence: {clean(r.id)}", clean(r.text))
        for r in record.requirements
        if not r.evidence
    ]
    return entries + [
        (f"Open threat, not scoped out: {clean(t.threat)}", clean(t.why)) for t in record.threats_left
    ]


def traceability(record: ClaimsRecord) -> list[Block]:
    """Requirement, claim, rows, outcome; requirements that no claim answers to come too."""
    texts = {r.id: r.text for r in record.requirements}
    rows = [row for j in record.judgements for row in _support_rows(j, texts)]
    for bare in record.requirements:
        if not bare.claims:
            rows.append(
                (
                    Cell(clean(bare.id), clean(bare.text)),
                    Cell("no claim", tone="open"),
                    *(Cell("–") for _ in range(4)),
                    Cell("no evidence", tone="open"),
                )
            )
    columns = (
        "Requirement",
        "Claim",
        "Adversary, measure",
        "Guesses",
        "Value, one-sided limits",
        "Rests on",
        "Outcome",
    )
    table = Table(
        "A limit that must keep the threshold stands at the claim's confidence; the one that refutes is "
        "corrected for the number of rows, so that a true claim is refuted no oftener than stated.",
        columns,
        tuple(rows),
        key="traceability",
        heading="Claims, and the rows that they rest on",
        grouped=True,
    )
    return [Paragraph(f"The key: {clean(record.use)}"), table]


def _support_rows(judgement: Judgement, texts: dict[str, str]) -> list[tuple[Cell, ...]]:
    required = judgement.requirement or ""
    first = Cell(clean(required or "–"), clean(texts.get(required, "")))
    claim = Cell(clean(judgement.claim), _claimed(judgement))
    if not judgement.supports:
        gap = tuple(Cell("–") for _ in range(4))
        return [(first, claim, *gap, Cell(judgement.outcome, clean(judgement.text), "open"))]
    return [(first, claim, *_support(s)) for s in judgement.supports]


def _claimed(judgement: Judgement) -> str:
    parts = [f"of {judgement.scheme}", judgement.rationale, judgement.owner and f"owner: {judgement.owner}"]
    return clean("; ".join(p for p in parts if p))


def _support(s: Support) -> tuple[Cell, ...]:
    limits = []
    if s.lower is not None:
        limits.append(f"at least {number_text(s.lower)}")
    if s.upper is not None:
        limits.append(f"at most {number_text(s.upper)}")
    rows = [used.row for used in s.rows]
    if not rows:
        bare = (Cell(clean(s.attack or "honest pair")), Cell("–"), Cell("–"), Cell("–"))
        return (*bare, Cell(s.outcome, clean(s.why), TONES[s.outcome]))
    measures = ", ".join(dict.fromkeys(f"{r.measure} ({r.method})" for r in rows))
    people = "; ".join(dict.fromkeys(f"{r.data}, {r.subjects} people, {r.attempts} attempts" for r in rows))
    return (
        Cell(clean(s.attack or "honest pair"), clean(measures)),
        Cell(", ".join(dict.fromkeys(budget_text(r.budget) for r in rows)) or "–"),
        Cell(", ".join(dict.fromkeys(number_text(r.value) for r in rows)), ", ".join(limits)),
        Cell(", ".join(dict.fromkeys(clean(r.evidence or "–") for r in rows)), clean(people)),
        Cell(s.outcome, clean(s.why), TONES[s.outcome]),
    )


def scoped_out(record: ClaimsRecord) -> Items:
    """Threats that the claims declare out of scope, with their reasons."""
    entries = tuple((clean(threat), clean(why)) for threat, why in record.out_of_scope.items())
    return Items(entries or (("", "none"),), key="out-of-scope")
