"""Order and completeness of the report, before any output format."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import pytest

import reports
from harness.results import Audit, Row, unmeasured
from reports import to_html, to_markdown, to_text
from reports.document import document
from reports.model import Cell, Document, Facts, Items, SignOff, Table
from reports.results import honest_tables
from reports.wording import budget_text, clean, quantity_text

SECTIONS = [
    "first-screen",
    "scope",
    "assets",
    "boundaries",
    "adversaries",
    "method",
    "results",
    "findings",
    "potential",
    "residual",
    "recommendations",
    "annex",
]


@pytest.fixture(scope="module")
def report(audit: Audit) -> Document:
    return document(audit)


def _facts(report: Document) -> dict[str, str]:
    return dict(next(b for b in report.section("first-screen").blocks if isinstance(b, Facts)).pairs)


def test_sections_stand_in_their_order(report: Document, empty: Audit) -> None:
    assert [s.key for s in report.sections] == SECTIONS
    assert [s.key for s in document(empty).sections] == SECTIONS


def test_every_row_of_the_table_is_shown_with_its_numbers(audit: Audit, report: Document) -> None:
    shown = [
        (t.heading, r[0].text, r[0].detail, r[1].text, r[2].text, r[5].text, r[6].text, r[6].detail)
        for t in report.tables("results")
        for r in t.rows
    ]
    topics = {"min-entropy": "min-entropy of symbols, and of the key given helper data"}
    expected = [
        (
            f"{clean(r.scheme)}: {clean(r.attack or topics.get(r.measure, 'the honest pair'))}",
            clean(r.measure),
            clean(r.unit),
            budget_text(r.budget),
            quantity_text(r),
            f"{r.subjects}, {r.attempts}",
            clean(r.method),
            clean(r.reason or ""),
        )
        for r in audit.rows
    ]
    assert sorted(shown) == sorted(expected)


def test_first_screen_shows_the_numbers_of_the_table(report: Document) -> None:
    rows = {(r[0].text, r[1].text): r for r in report.tables("outcome")[0].rows}
    assert len(rows) == 14
    texts = [c.text for c in rows["envelope-trend", "mimicry"]]
    assert texts[2:8] == ["0", "0.0117", "0.117", "0.655", "59.4", "0.213 bit/symbol"]
    assert rows["envelope-trend", "mimicry"][2].detail == "[0, 0.0141]"
    assert rows["envelope-trend", "mimicry"][7].detail == "p = 1.0e-4"
    verdicts = [r[8].text for key, r in rows.items() if key[0] == "envelope-trend"]
    assert verdicts == [
        "nothing found above the promise",
        "gains: beats the promise at 2^20 guesses",
        "undecided: above the promise at 2^40 guesses",
        "undecided: above the promise at 2^40 guesses",
        "undecided: above the promise at 2^40 guesses",
        "untested: open threat",
        "gains: beats the promise at 1 guess",
    ]


def test_first_screen_says_what_a_reader_must_know(report: Document) -> None:
    facts = _facts(report)
    assert facts["Outcome"].startswith("2 of 14 scheme-adversary pairs beat the promise")
    assert "3 may, undecided; 2 could not be judged" in facts["Outcome"]
    assert facts["Evidence"].startswith("Simulated people: evidence about a model of people")
    assert facts["Strongest adversary: envelope-trend"] == (
        "mimicry+helper-leak+distant-sensor finds the key with odds 0.0201 [0.0089, 0.0393] at one guess "
        "and 0.719 [0.66, 0.78] at 2^40 guesses."
    )
    assert "envelope-trend: 0.0141" in facts["Smallest odds this corpus could have shown"]
    assert facts["Use of the key"].startswith("Not declared: judged at the harshest")
    assert SignOff(("Decision", "Name", "Date")) in report.section("first-screen").blocks


def test_honest_pair_shows_the_rate_and_time_that_count(report: Document) -> None:
    rows = {r[0].text: r[1] for r in report.tables("honest")[0].rows}
    assert rows["Secret rate, given helper data alone"] == Cell(
        "3.21 [2.9, 3.4] bit/s", "average-min-entropy; this is the one that counts"
    )
    assert rows["Time to a key"].text == "39.9 [37.7, 44.1] s"
    assert rows["Failures to acquire"].text == "0.0033 [4.0e-4, 0.0121]"


def test_open_and_untried_threats_are_listed(report: Document) -> None:
    items = {b.key: b.entries for b in report.section("residual").blocks if isinstance(b, Items)}
    assert [who for who, _ in items["untested"]] == [
        "replay against envelope-trend",
        "mimicry against interval-gray <script>alert(1)</script>",
    ]
    assert [name for name, _ in items["not-tried"]] == [
        "camera",
        "profiled",
        "past-keys",
        "touching-partner",
        "neighbour",
        "helper-reuse",
        "helper-tamper",
        "injection",
        "relay",
        "key-check",
    ]


def test_findings_come_gravest_first_with_advice(report: Document) -> None:
    rows = report.tables("findings")[0].rows
    assert [r[0].text for r in rows] == ["critical", "high", "medium", "low", "note"]
    assert "budget: 2^20" in rows[1][3].text
    assert rows[1][4].text.startswith("Lengthen the record")
    entries = next(b for b in report.section("recommendations").blocks if isinstance(b, Items)).entries
    assert len(entries) == 5


def test_annex_tells_how_to_run_again_and_carries_the_cautions(report: Document) -> None:
    text = to_markdown(report)
    annex = text[text.index("## 12.") :]
    assert "keyassay audit envelope-trend --seed 7 --out 'two words'" in annex
    assert "5e" * 32 in annex
    for words in ("not a certificate", "informed consent", "IEC 60601", "pseudonym"):
        assert words in annex


def test_words_that_promise_too_much_are_never_used(audit: Audit, empty: Audit) -> None:
    for report in (document(audit), document(empty)):
        for text in (to_markdown(report), to_text(report)):
            words = text.lower().replace("not a pass", "").split()
            assert not {"secure", "secure.", "pass", "passed", "passes", "safe", "certified"} & set(words)


def test_an_audit_without_numbers_still_makes_a_report(empty: Audit) -> None:
    bare = Audit(
        rows=[], per_subject=[], findings=[], settings={}, corpus={}, schemes=[], attacks=[], versions={}
    )
    for audit in (empty, bare):
        report = document(audit)
        assert "not stated" in to_html(report)
        assert "not stated" in to_markdown(report)
        assert "No odds were measured" in to_text(report) or not audit.rows


def test_an_audit_read_back_makes_the_same_report(audit: Audit, report: Document) -> None:
    again = document(Audit.from_json(audit.to_json()))
    # JSON sorts the keys of mappings, so facts are compared where their order is ours.
    assert again.tables("results") == report.tables("results")
    assert again.tables("outcome") == report.tables("outcome")


def test_a_table_refuses_a_row_of_another_width() -> None:
    with pytest.raises(ValueError, match="must have 2 cells, got 1"):
        Table("t", ("a", "b"), ((Cell("x"),),))


def test_reports_import_nothing_of_the_harness_but_data() -> None:
    """A report that cannot reach an estimator recomputes nothing."""
    data = (
        "results",
        "rows",
        "contracts",
        "errors",
        "threats",
        "verdicts",
        "sidebyside",
        "swept",
        "efforts",
        "rules",
    )
    data += ("claims.record", "intake.record", "calibration.record", "calibration.lines")
    allowed = {f"harness.{name}" for name in data}
    for path in Path(reports.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [a.name for a in node.names] if isinstance(node, ast.Import) else []
            assert {n for n in names if n.split(".")[0] == "harness"} <= allowed, path.name


def test_a_rate_that_never_fills_a_key_is_not_given_the_time_of_another() -> None:
    def row(measure: str, method: str, status: str, reason: str) -> Row:
        value = None if status == "not-applicable" else 9.0
        return Row(
            scheme="s",
            attack=None,
            measure=measure,
            budget=None,
            value=value,
            low=value,
            high=value,
            level=0.95,
            unit="bit/s" if measure == "rate" else "s",
            side="estimate",
            evidence="counted",
            data="recorded",
            subjects=2,
            attempts=4,
            method=method,
            status=status,
            reason=reason,
        )

    rows = [
        row("rate", "usual", "measured", "a usual claim"),
        row("rate", "net", "measured", "this one counts"),
        row("time-to-key", "usual", "measured", "a usual claim"),
        row("time-to-key", "net", "not-applicable", "at this rate never"),
    ]
    audit = Audit(
        rows=rows, per_subject=[], findings=[], settings={}, corpus={}, schemes=[], attacks=[], versions={}
    )
    shown = {r[0].text: r[1] for r in document(audit).tables("honest")[0].rows}
    assert shown["Time to a key"] == Cell("not-applicable", "at this rate never")
    assert shown["Secret rate, given helper data alone"].detail == "net; this one counts"


def test_a_missing_quantity_is_told_apart_from_an_open_threat(audit: Audit) -> None:
    why = "the code is too large to enumerate"
    part = unmeasured(
        "untested",
        why,
        scheme="envelope-trend",
        attack="mimicry",
        measure="mutual-information",
        unit="nat",
        data="simulated",
    )
    also = replace(part, attack="body-site")
    report = document(replace(audit, rows=[*audit.rows, part, also]))
    items = {b.key: b.entries for b in report.section("residual").blocks if isinstance(b, Items)}
    assert len(items["untested"]) == 2
    assert items["unmeasured"] == (
        ("mutual-information (nat) of envelope-trend", f"untested: {why} (mimicry, body-site)"),
    )
    assert f"Not measured: mutual-information (nat) of envelope-trend: untested: {why}" in " ".join(
        to_text(report).split()
    )


def test_a_usual_claim_never_stands_as_the_secret_rate(audit: Audit) -> None:
    usual = "a usual claim, not a security figure"
    timed = ("rate", "time-to-key")
    rows = [replace(r, reason=usual) if r.measure in timed else r for r in audit.rows]
    assert any(r.measure == "rate" for r in rows)
    shown = {r[0].text: r[1].text for r in document(replace(audit, rows=rows)).tables("honest")[0].rows}
    assert shown["Secret rate, given helper data alone"] == "not stated"
    assert shown["Time to a key"] == "not stated"


def test_topics_of_the_owners_have_tables_of_their_own(audit: Audit) -> None:
    def row(measure: str, method: str) -> Row:
        return replace(audit.rows[0], attack=None, measure=measure, method=method)

    rows = [row("bits-left", "given-helper"), row("key-agreement", "x"), row("randomness", "runs")]
    tables = honest_tables("wrist", rows)
    assert [t.heading for t in tables] == [
        "wrist: the honest pair",
        "wrist: what is left of the record, stage by stage",
        "wrist: randomness of the keys, which is not secrecy",
    ]
    assert [len(t.rows) for t in tables] == [1, 1, 1]
    assert "Randomness is not secrecy" in tables[2].caption
    assert "do not add" in tables[1].caption
