"""A verdict as JUnit XML."""

from __future__ import annotations

import dataclasses
import math
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.verdicts import Comparison, Metric, Verdict
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
    names = {name for element in ET.fromstring(first).iter() for name in element.keys()}  # noqa: SIM118
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


def test_an_empty_report_is_refused() -> None:
    with pytest.raises(ValueError, match="must be given"):
        to_junit()
