"""The threat report as data: what stands in it, and in which order.

Everything comes from the audit's rows, findings and facts; no statistic is computed here.
"""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from typing import Any

from harness.efforts import efforts
from harness.results import SEVERITIES, Audit, Finding
from harness.rules import RULES
from harness.threats import STANDARD_ADVERSARIES
from reports import claims, standing
from reports.first_screen import evidence_line, first_screen, open_threats, unmeasured_parts, where
from reports.model import Block, Cell, Code, Document, Facts, Figure, Items, Paragraph, Section, Table
from reports.plots import figures_of
from reports.potential import potential_table
from reports.reading import attack_names, by_severity, key_bits, levels, not_run, outcome, scheme_names
from reports.results import honest_tables, result_table
from reports.wording import (
    NOT_STATED,
    budget_text,
    clean,
    joined,
    number_text,
)

__all__ = ["document"]

_FLOW = (
    "Device A and device B each sense the same body and derive a key. Helper data and messages cross a "
    "public channel that every adversary reads; the adversary's own sensors reach the body from outside."
)


def document(audit: Audit) -> Document:
    """Build the threat report of an audit.

    Parameters
    ----------
    audit : Audit
        What was found; a missing optional fact reads "not stated".

    Returns
    -------
    Document
        Twelve sections in fixed order, from the first screen to the annex.
    """
    missing = not_run(audit, STANDARD_ADVERSARIES)
    schemes = ", ".join(clean(s) for s in scheme_names(audit)) or "no scheme"
    counts = [(s, sum(f.severity == s for f in audit.findings)) for s in reversed(SEVERITIES)]
    return Document(
        title=f"Threat report: {schemes}",
        subtitle=f"{evidence_line(audit)} Corpus: {joined(audit.corpus.get('name'))}.",
        sections=(
            first_screen(audit, missing),
            _scope(audit),
            _assets(),
            _boundaries(),
            _adversaries(audit),
            _method(audit),
            _results(audit),
            _findings(audit),
            _potential(audit),
            _residual(audit, missing),
            _recommendations(audit),
            _annex(audit),
        ),
        findings=tuple((s, n) for s, n in counts if n),
    )


def _table(
    caption: str, columns: tuple[str, ...], rows: Sequence[tuple[str, ...]], *, key: str = ""
) -> Table:
    return Table(caption, columns, tuple(tuple(Cell(clean(t)) for t in row) for row in rows), key=key)


def _scope(audit: Audit) -> Section:
    corpus, settings = audit.corpus, audit.settings
    counted = ("subjects", "sessions", "attempts")
    schemes = _table(
        "Schemes under audit.",
        ("Scheme", "Key bits", "Parameters", "Helper data not covered by the disclosure", "Source"),
        [
            (
                joined(s.get("name")),
                joined(s.get("key_bits")),
                joined(s.get("parameters")),
                joined(s.get("uncovered")),
                joined(s.get("source")),
            )
            for s in audit.schemes
        ],
        key="schemes",
    )
    facts = (
        ("Corpus", joined(corpus.get("name"))),
        ("Data", joined(corpus.get("data"))),
        (
            "Subjects, sessions, attempts",
            ", ".join(joined(corpus.get(n, settings.get(n))) for n in counted),
        ),
        ("Attackers", joined(corpus.get("attackers"))),
        *_description(corpus.get("description")),
        ("Seed", joined(settings.get("seed"))),
        ("Version of keyassay", joined(audit.versions.get("keyassay"))),
    )
    return Section("scope", "Scope and version", (schemes, Facts(facts, key="scope")))


def _description(stated: Any) -> list[tuple[str, str]]:
    if isinstance(stated, Mapping):
        return [(f"Corpus: {clean(name)}", joined(value)) for name, value in stated.items()]
    return [("Corpus: description", joined(stated))]


def _assets() -> Section:
    return Section("assets", "Assets and security objectives", (Items(standing.ASSETS),))


def _boundaries() -> Section:
    flow = Figure("flow", "flow", "Who holds what, and where the boundaries run", _FLOW)
    table = _table("Trust boundaries.", ("Where", "What is there", "Trust"), list(standing.BOUNDARIES))
    return Section("boundaries", "Trust boundaries and data flow", (flow, table))


def _adversaries(audit: Audit) -> Section:
    stated = {str(a.get("name")): a for a in audit.attacks}
    rows = []
    for name in attack_names(audit):
        facts = stated.get(name, {})
        summary = facts.get("summary") or STANDARD_ADVERSARIES.get(name)
        if summary is None and "+" in name:
            summary = "several adversaries who pool what they know"
        rows.append((name, joined(facts.get("sees")), joined(summary), joined(facts.get("source"))))
    table = _table(
        "Adversaries of this audit.", ("Adversary", "Sees", "Acts by", "Source"), rows, key="adversaries"
    )
    assumptions = Items(tuple(("", text) for text in standing.ASSUMPTIONS))
    return Section("adversaries", "Adversary model and assumptions", (table, assumptions))


def _method(audit: Audit) -> Section:
    facts = (
        ("Level of the odds' intervals", levels(audit.rows)),
        ("Seed", joined(audit.settings.get("seed"))),
        ("Control runs", joined(audit.settings.get("controls"))),
        ("Settings", joined({k: v for k, v in audit.settings.items() if k not in ("command", "controls")})),
    )
    strangers = Paragraph(
        "Control inside this audit: another person's body on the victim's helper data (strangers' "
        "agreement, "
        "among the honest pair's results). It must stay at the scheme's own false-accept level."
    )
    points = Items(tuple(("", text) for text in standing.METHOD))
    return Section("method", "Method, controls and statistics", (points, strangers, Facts(facts)))


def _results(audit: Audit) -> Section:
    blocks: list[Block] = list(claims.traceability(audit.claims)) if audit.claims is not None else []
    for number, scheme in enumerate(scheme_names(audit), start=1):
        blocks.append(Paragraph(clean(scheme), "scheme"))
        blocks += figures_of(audit, scheme, number)
        blocks += honest_tables(scheme, audit.select(scheme=scheme, attack=None))
        for attack in attack_names(audit, scheme):
            rows = audit.select(scheme=scheme, attack=attack)
            verdict = outcome(audit, scheme, attack).verdict
            said = f"Verdict: {verdict.text} ({verdict.detail})."
            blocks.append(result_table(f"{clean(scheme)}: {clean(attack)}", said, rows))
    if not blocks:
        blocks.append(Paragraph("The audit holds no rows: nothing was measured.", "notice"))
    return Section("results", "Results per attack", tuple(blocks))


def _findings(audit: Audit) -> Section:
    findings = by_severity(audit.findings)
    if not findings:
        text = "The audit raised no finding. That is not a statement that there is nothing to find."
        return Section("findings", "Findings", (Paragraph(text),))
    tones = {"critical": "alarm", "high": "alarm", "medium": "open"}
    rows = tuple(
        (
            Cell(clean(f.severity), "", tones.get(f.severity, "")),
            Cell(clean(f.id), where(f)),
            Cell(clean(f.text)),
            Cell(_evidence_of(f)),
            Cell(_advice(f)),
        )
        for f in findings
    )
    columns = ("Severity", "Finding", "What was found", "Evidence", "What to change")
    return Section("findings", "Findings", (Table("Gravest first.", columns, rows, key="findings"),))


def _evidence_of(finding: Finding) -> str:
    details = {k: _detail(k, v) for k, v in finding.details.items() if k != "advice"}
    return joined(details) if details else NOT_STATED


def _detail(name: str, value: Any) -> Any:
    if name == "budget" and isinstance(value, int):
        return budget_text(value)
    return number_text(value) if isinstance(value, float) else value


def _advice(finding: Finding) -> str:
    stated = finding.details.get("advice")
    if stated:
        return clean(stated)
    rule = RULES.get(finding.id)
    if rule is not None and rule.remedy:
        return rule.remedy
    if finding.attack and "+" in finding.attack:
        parts = ", ".join(clean(part) for part in finding.attack.split("+"))
        return f"Answer the findings on its parts ({parts}), then run again: pooled, they may gain more."
    return standing.ADVICE.get(finding.attack or "", standing.DEFAULT_ADVICE)


def _potential(audit: Audit) -> Section:
    rated = efforts(audit)
    if not rated:
        text = (
            "Not assessed: no adversary of this report is rated for elapsed time, expertise, knowledge, "
            "window of opportunity or equipment. A low number of guesses says nothing about how hard it is "
            "to come by the view that the guesses start from."
        )
        return Section("potential", "Attack potential", (Paragraph(text),))
    return Section("potential", "Attack potential", (potential_table(rated),))


def _residual(audit: Audit, missing: list[str]) -> Section:
    tested = [
        (f"{clean(scheme)}: {clean(attack)}", f"{found.text} ({found.detail})")
        for scheme in scheme_names(audit)
        for attack in attack_names(audit, scheme)
        if (found := outcome(audit, scheme, attack).verdict).tone != "open"
    ]
    still_open = open_threats(audit)
    blocks: list[Block] = [
        Paragraph("Adversaries measured, and what remains of them:"),
        Items(tuple(tested or [("", "none")]), key="residual"),
        Paragraph(
            "Untested: the audit asked for these and could not measure them. Each is an open threat, "
            "not a pass."
        ),
        Items(tuple(still_open or [("", "none")]), key="untested"),
        Paragraph("Single quantities that could not be measured:"),
        Items(tuple(unmeasured_parts(audit) or [("", "none")]), key="unmeasured"),
        Paragraph("Standard adversaries that this audit did not try:"),
        Items(
            tuple((n, STANDARD_ADVERSARIES[n]) for n in missing) or (("", "none"),),
            key="not-tried",
        ),
    ]
    if audit.claims is not None:
        blocks += [
            Paragraph("Out of scope, as the claims declare, and why:"),
            claims.scoped_out(audit.claims),
        ]
    return Section("residual", "Residual and untested threats", tuple(blocks))


def _recommendations(audit: Audit) -> Section:
    grouped: dict[str, list[Finding]] = {}
    for finding in by_severity(audit.findings):
        if finding.severity in ("critical", "high", "medium"):
            grouped.setdefault(_advice(finding), []).append(finding)
    entries = [
        (f"{found[0].severity}: {', '.join(dict.fromkeys(_about(f) for f in found))}", advice)
        for advice, found in grouped.items()
    ]
    entries += [
        (
            f"open: {who}",
            "Repair the plug-in and run again."
            if why.startswith("failed")
            else "Supply what is missing and run again.",
        )
        for who, why in open_threats(audit)
    ]
    if not entries:
        entries = [("", "No finding of medium severity or more, and no open threat among those asked for.")]
    return Section("recommendations", "Recommendations", (Items(tuple(entries), key="recommendations"),))


def _about(finding: Finding) -> str:
    return f"{clean(finding.id)} ({where(finding)})"


def _annex(audit: Audit) -> Section:
    command = audit.settings.get("command")
    line = shlex.join(clean(w) for w in command) if isinstance(command, list | tuple) else joined(command)
    digests = [("Corpus (SHA-256)", joined(audit.corpus.get("digest")))]
    for group, entries in (("Scheme", audit.schemes), ("Adversary", audit.attacks)):
        digests += [
            (f"{group} {joined(e.get('name'))}", joined(e["digest"])) for e in entries if e.get("digest")
        ]
    versions = [(clean(k), joined(v)) for k, v in sorted(audit.versions.items())]
    lengths = [(clean(s), f"{joined(key_bits(audit, s))} key bits") for s in scheme_names(audit)]
    blocks: list[Block] = [
        Paragraph("To run this audit again:"),
        Code(line),
        Paragraph("The same seed gives the same result on one machine, whatever the number of workers."),
        Facts((*digests, *lengths), key="digests"),
        Paragraph("Versions:"),
        Facts(tuple(versions or [("Versions", NOT_STATED)]), key="versions"),
        Paragraph("Cautions:"),
        Items(standing.CAUTIONS, key="cautions"),
    ]
    return Section("annex", "Annex: running it again, digests, versions, cautions", tuple(blocks))
