"""A calibration as data for a page: what the promises came to, and the tables behind it."""

from __future__ import annotations

import shlex

from harness.calibration.lines import VerdictLine
from harness.calibration.record import Calibration
from reports import calibration_tables as tables
from reports.model import Block, Cell, Code, Document, Facts, Items, Paragraph, Section, Table
from reports.standing import CAUTIONS
from reports.wording import clean, joined

__all__ = ["LIMITS", "calibration_document", "headline", "outcome_text", "trouble_texts"]

QUESTIONS = {
    "trials": "Did every audit run?",
    "found": "Is every planted flaw found?",
    "alarms": "Are false alarms within the promise?",
    "noise": "Does no rule and no case cry wolf?",
    "coverage": "Do intervals hold the truth?",
    "chance": "Are shuffled pairs at chance?",
}
LIMITS = (
    "The controls and flaws are made up, so that arithmetic knows their truth. That these flaws are found "
    "says nothing of flaws of other kinds, of fewer people, or of milder forms; real people may break "
    "assumptions that made-up ones keep."
)


def calibration_document(found: Calibration) -> Document:
    """Build the page of a calibration.

    Returns
    -------
    Document
        Seven sections: outcome, flaws, alarms, coverage, truths, shuffled pairs, annex.
    """
    return Document(
        title=f"How far keyassay {clean(found.versions.get('keyassay', ''))} can be trusted",
        subtitle=headline(found),
        sections=(
            _outcome(found),
            Section("flaws", "Which flaws are found, and by what", (tables.matrix_table(found),)),
            Section("alarms", "False alarms", (tables.alarms_table(found), tables.rules_table(found))),
            Section("coverage", "Do intervals hold the truth?", (tables.coverage_table(found),)),
            Section("truths", "Every truth", (tables.truths_table(found),)),
            Section("chance", "Shuffled pairs", (tables.chance_table(found),)),
            _annex(found),
        ),
        findings=None,
        files="calibration.json",
    )


def headline(found: Calibration) -> str:
    """What was run, in a line."""
    seeds, trials = found.settings["seeds"], len(found.trials)
    roles = [case.role for case in found.cases]
    return (
        f"Controls: {roles.count('control')}; planted flaws: {roles.count('planted')}; their sound twins: "
        f"{roles.count('twin')}; audits of each: {seeds}; in all: {trials}; seed: {found.settings['seed']}."
    )


def outcome_text(line: VerdictLine) -> str:
    """Kept, missed or not tested."""
    return {True: "kept", False: "missed", None: "not tested"}[line.holds]


def trouble_texts(found: Calibration) -> list[tuple[str, str]]:
    """Why audits do not count, case by case."""
    return [
        (f"{clean(t.case)}, {t.trials} of {found.settings['seeds']}", clean(t.text)) for t in found.troubles
    ]


def _outcome(found: Calibration) -> Section:
    tones = {True: "calm", False: "alarm", None: "open"}
    rows = tuple(
        (
            Cell(QUESTIONS.get(line.id, clean(line.id))),
            Cell(outcome_text(line), "", tones[line.holds]),
            Cell(clean(line.text)),
        )
        for line in found.verdicts
    )
    blocks: list[Block] = [Table("", ("Promise", "Outcome", "Why"), rows, key="verdicts")]
    if found.troubles:
        blocks += [Paragraph("Audits that do not count:", "notice"), Items(tuple(trouble_texts(found)))]
    blocks.append(Paragraph(LIMITS))
    return Section("outcome", "What the promises came to", tuple(blocks))


def _annex(found: Calibration) -> Section:
    rows = tuple(
        (Cell(clean(case.name)), Cell(case.role), Cell(clean(case.summary)), Cell(str(case.attacks)))
        for case in found.cases
    )
    versions = Facts(tuple((clean(name), joined(v)) for name, v in found.versions.items()), key="versions")
    return Section(
        "annex",
        "Annex: what was audited, running it again, cautions",
        (
            Table("Controls, flaws and twins.", ("Case", "Role", "What it is", "Adversaries"), rows),
            Paragraph("To run this calibration again:"),
            Code(shlex.join(clean(word) for word in found.settings["command"])),
            versions,
            Paragraph("Cautions:"),
            Items(CAUTIONS, key="cautions"),
        ),
    )
