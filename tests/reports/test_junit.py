"""A verdict and outcomes of claims as JUnit XML and plain lines."""

from __future__ import annotations

import dataclasses
import math
import re
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.claims.judging import exit_status
from harness.claims.record import ClaimsRecord, Judgement, OpenThreat, RequirementRecord, Support, Used
from harness.rows import Row
from harness.verdicts import Comparison, Metric, Verdict
from reports.claims_text import claim_lines, claims_headline, claims_markdown, claims_outcome
from reports.junit import to_junit

HOSTILE = "a<b>&\"c' \x00\x08\x0b\x1b[31m\x7f\ufffe\uffff\ud800 ]]> <!-- \u202e\n"


def compared(outcome: str, **changes: Any) -> Comparison:
    facts: dict[str, Any] = {
        "metric": Metric(scheme="", attack="mimicry", measure="success-odds", budget=2**20),
        "against": "baseline",
        "old": 0.1 + 0.2,
        "new": 0.41,
        "unit": "probability",
        "scale": "odds-ratio",
        "worse": 1.6,
        "limit": 2.0,
        "margin": 1.5,
        "detectable": None,
        "p": 0.001,
        "adjusted": 0.012,
        "people": 60,
        "identical": False,
        "better": False,
        "outcome": outcome,
        "reason": f"because it is {outcome}",
    }
    return Comparison(**{**facts, **changes})


def verdict(*comparisons: Comparison, outcome: str, candidate: str = "half-level") -> Verdict:
    return Verdict(
        outcome=outcome,
        comparisons=comparisons,
        notices=("numpy is another one",),
        level=0.01,
        candidate=candidate,
        held_against="baseline.json",
    )


def judged(outcome: str, **changes: Any) -> Judgement:
    row = Row(
        scheme="half-level",
        attack="mimicry",
        measure="success-odds",
        budget=1,
        value=0.1 + 0.2,
        low=0.2,
        high=None,
        level=0.9,
        unit="probability",
        side="attacker-at-least",
        evidence="counted",
        data="simulated",
        subjects=60,
        attempts=600,
        method="design-effect",
        status="measured",
        reason=None,
    )
    support = Support(
        attack="mimicry",
        rows=(Used(role="both", row=row),),
        lower=0.2,
        upper=None,
        holds_at=0.95,
        breaks_at=0.99,
        outcome=outcome,
        why="above the threshold",
    )
    facts: dict[str, Any] = {
        "claim": f"C-{outcome}",
        "scheme": "half-level",
        "requirement": "R1",
        "says": "odds at most .05",
        "outcome": outcome,
        "text": f"{outcome}, on simulated people",
        "decides": "12 more people" if outcome == "undecided" else None,
        "supports": (support,),
        "left_out": (),
        "rationale": None,
        "owner": None,
    }
    return Judgement(**{**facts, **changes})


def record(*judgements: Judgement, **changes: Any) -> ClaimsRecord:
    facts: dict[str, Any] = {
        "claims": {},
        "use": "raw, not declared",
        "judgements": judgements,
        "requirements": (),
        "open_threats": (),
        "out_of_scope": {},
        "potential": (),
    }
    return ClaimsRecord(**{**facts, **changes})


OPEN_THREAT = OpenThreat(threat="camera", why="not tried", scoped_out=None)
ACCEPTED_THREAT = OpenThreat(threat="relay", why="not tried", scoped_out="arm's reach")


def kinds(root: ET.Element) -> dict[str, list[str]]:
    """Suite -> what became of each case in it."""
    marks = ("failure", "error", "skipped")
    return {
        suite.get("name", ""): [
            next((m for m in marks if case.find(m) is not None), "pass") for case in suite.iter("testcase")
        ]
        for suite in root.iter("testsuite")
    }


def test_each_outcome_has_a_mark_of_its_own() -> None:
    cases = [compared(o) for o in ("fail", "undecided", "unresolved", "pass")]
    root = ET.fromstring(to_junit(verdict=verdict(*cases, outcome="fail")))
    assert kinds(root) == {"gate": ["failure"], "gate.baseline": ["failure", "error", "skipped", "pass"]}


@pytest.mark.parametrize(
    ("outcome", "mark"), [("pass", "pass"), ("fail", "failure"), ("undecided", "error")]
)
def test_the_outcome_is_a_case_so_that_no_green_file_hides_it(outcome: str, mark: str) -> None:
    root = ET.fromstring(to_junit(verdict=verdict(compared("pass"), outcome=outcome)))
    assert kinds(root) == {"gate": [mark], "gate.baseline": ["pass"]}


def test_counts_are_those_of_the_cases() -> None:
    cases = [compared("fail"), compared("undecided", against="anchor"), compared("unresolved")]
    root = ET.fromstring(to_junit(verdict=verdict(*cases, outcome="fail")))
    for element in (root, *root.iter("testsuite")):
        held = list(element.iter("testcase"))
        assert int(element.get("tests", "")) == len(held)
        for attribute, tag in (("failures", "failure"), ("errors", "error"), ("skipped", "skipped")):
            assert int(element.get(attribute, "")) == sum(case.find(tag) is not None for case in held)
    assert root.get("failures") == "2"


def test_numbers_stand_unrounded_in_the_properties() -> None:
    root = ET.fromstring(to_junit(verdict=verdict(compared("fail"), outcome="fail")))
    case = root.findall(".//testsuite[@name='gate.baseline']/testcase")[0]
    held = {p.get("name"): p.get("value") for p in case.iter("property")}
    assert held["old"] == "0.30000000000000004"
    assert (held["people"], held["identical"], held["scale"]) == ("60", "false", "odds-ratio")
    assert "detectable" not in held
    failure = case.find("failure")
    assert failure is not None
    assert "0.3 -> 0.41; worse by x 1.6, limit x 2, margin x 1.5; because" in failure.get("message", "")


def test_nothing_in_it_changes_from_run_to_run() -> None:
    first = to_junit(verdict=verdict(compared("fail"), outcome="fail"))
    assert first == to_junit(verdict=verdict(compared("fail"), outcome="fail"))
    names = {name for element in ET.fromstring(first).iter() for name in element.attrib}
    assert not names & {"time", "timestamp", "hostname"}


@given(st.text(), st.text())
def test_whatever_the_names_it_parses_back(name: str, reason: str) -> None:
    metric = Metric(scheme=name + HOSTILE, attack=name, measure=reason, budget=3)
    case = compared("fail", metric=metric, reason=reason, unit=name, against=name, limit=math.inf)
    text = to_junit(verdict=verdict(case, outcome="fail", candidate=name + HOSTILE))
    root = ET.fromstring(text.encode("utf-8"))
    assert [len(marks) for marks in kinds(root).values()] == [1, 1]
    assert all(line.isprintable() for line in text.splitlines())


def test_words_that_xml_can_hold_come_back_as_they_were() -> None:
    metric = Metric(scheme="a<b>&\"c' ]]> <!--", attack="mimic", measure="rank", budget=0)
    root = ET.fromstring(
        to_junit(verdict=verdict(dataclasses.replace(compared("pass"), metric=metric), outcome="pass"))
    )
    assert [c.get("name") for c in root.iter("testcase")] == ["outcome", "a<b>&\"c' ]]> <!-- mimic rank"]


@pytest.mark.parametrize(
    ("outcome", "mark", "whole"),
    [
        ("refuted", "failure", "failure"),
        ("undecided", "error", "error"),
        ("untested", "error", "error"),
        ("withstood", "pass", "pass"),
        ("shown", "pass", "pass"),
    ],
)
def test_each_outcome_of_a_claim_has_its_mark(outcome: str, mark: str, whole: str) -> None:
    root = ET.fromstring(to_junit(claims=record(judged(outcome), judged("shown"))))
    assert kinds(root) == {"claims": [whole, mark, "pass"]}


def test_an_open_threat_is_an_error_unless_it_is_scoped_out() -> None:
    accepted = record(judged("shown"), open_threats=(ACCEPTED_THREAT,))
    assert kinds(ET.fromstring(to_junit(claims=accepted))) == {
        "claims": ["pass", "pass"],
        "claims.threats": ["skipped"],
    }
    left = record(judged("shown"), open_threats=(ACCEPTED_THREAT, OPEN_THREAT))
    assert kinds(ET.fromstring(to_junit(claims=left))) == {
        "claims": ["error", "pass"],
        "claims.threats": ["skipped", "error"],
    }


def test_requirements_without_evidence_are_listed() -> None:
    facts = {"owner": None, "outcome": "untested", "claims": ()}
    held = record(
        judged("shown"),
        requirements=(
            RequirementRecord(id="R1", text="safe", evidence=True, **facts),
            RequirementRecord(id="R2", text="quick", evidence=False, **facts),
        ),
    )
    root = ET.fromstring(to_junit(claims=held))
    assert kinds(root)["claims.requirements"] == ["pass", "skipped"]


def test_rows_of_a_claim_stand_unrounded_in_its_properties() -> None:
    root = ET.fromstring(to_junit(claims=record(judged("refuted"))))
    case = next(c for c in root.iter("testcase") if c.get("name") == "C-refuted on half-level")
    held = {p.get("name"): p.get("value") for p in case.iter("property")}
    assert (held["1.1-value"], held["1.1-budget"]) == ("0.30000000000000004", "1")
    assert (held["1-lower"], held["1-holds-at"]) == ("0.2", "0.95")
    assert not {"1-upper", "1.1-high"} & set(held)


def test_verdict_and_claims_share_a_file() -> None:
    text = to_junit(
        verdict=verdict(compared("pass"), outcome="pass"), claims=record(judged("refuted"), judged("shown"))
    )
    root = ET.fromstring(text)
    assert list(kinds(root)) == ["gate", "gate.baseline", "claims"]
    assert (root.get("tests"), root.get("failures")) == ("5", "2")


def test_lines_name_the_refuted_before_the_open_and_not_the_met() -> None:
    mixed = record(
        judged("undecided"),
        judged("withstood"),
        judged("refuted"),
        open_threats=(ACCEPTED_THREAT, OPEN_THREAT),
    )
    lines = claim_lines(mixed)
    assert [line.split(":")[:2] for line in lines] == [
        ["error", " claim C-refuted on half-level"],
        ["warning", " claim C-undecided on half-level"],
        ["warning", " open threat camera"],
    ]
    assert "12 more people" in lines[1]
    assert claims_headline(mixed) == "Claims: 1 refuted, 1 undecided, 1 withstood; 1 open threat."
    assert claim_lines(record(judged("shown"), judged("withstood"))) == []


def test_the_summary_shows_what_is_open_before_what_is_met() -> None:
    judgements = [judged(o) for o in ("shown", "undecided", "withstood", "refuted")]
    text = claims_markdown(record(*judgements, open_threats=(ACCEPTED_THREAT, OPEN_THREAT)))
    assert text.startswith("## Claims: 1 refuted, 1 undecided, 1 withstood, 1 shown; 1 open threat.")
    order = [
        text.index(w)
        for w in ("| C-refuted", "| C-undecided", "Open threat camera", "<details>", "| C-shown")
    ]
    assert order == sorted(order)
    assert "relay" not in text
    assert "<details>" not in claims_markdown(record(judged("refuted")))


@pytest.mark.parametrize("threats", [(), (ACCEPTED_THREAT,), (OPEN_THREAT,)])
@pytest.mark.parametrize("outcome", ["refuted", "undecided", "untested", "withstood", "shown", None])
def test_marks_lines_and_exit_status_say_the_same(
    outcome: str | None, threats: tuple[OpenThreat, ...]
) -> None:
    held = record(*([judged(outcome)] if outcome else []), open_threats=threats)
    assert {"met": 0, "refuted": 1, "undecided": 4}[claims_outcome(held)] == exit_status(held)
    assert (claims_outcome(held) == "met") == (claim_lines(held) == [])
    root = ET.fromstring(to_junit(claims=held))
    red = int(root.get("failures", "")) + int(root.get("errors", ""))
    assert (red == 0) == (exit_status(held) == 0)


def test_hostile_claims_parse_back() -> None:
    worst = judged(
        "refuted", claim=HOSTILE, scheme=HOSTILE, text=HOSTILE, says=HOSTILE, requirement=HOSTILE
    )
    held = record(
        worst,
        use=HOSTILE,
        open_threats=(OpenThreat(threat=HOSTILE, why=HOSTILE, scoped_out=HOSTILE),),
        requirements=(
            RequirementRecord(
                id=HOSTILE, text=HOSTILE, owner=None, claims=(HOSTILE,), outcome="untested", evidence=False
            ),
        ),
    )
    text = to_junit(claims=held)
    ET.fromstring(text.encode("utf-8"))
    page = claims_markdown(held)
    assert all(line.isprintable() for line in [*text.splitlines(), *claim_lines(held), *page.splitlines()])
    assert "a<b>" not in page
    assert {re.sub(r"\\.", "", row).count("|") for row in page.splitlines() if row.startswith("|")} == {5}


def test_an_empty_report_is_refused() -> None:
    with pytest.raises(ValueError, match="must be given"):
        to_junit()
