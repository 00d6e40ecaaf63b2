"""A verdict as text, Markdown, JSON and plain lines."""

from __future__ import annotations

import dataclasses
import json
import math
import re
from html.parser import HTMLParser
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from harness.verdicts import Comparison, Metric, Verdict
from reports.digits import apart
from reports.gate import (
    GateFile,
    annotations,
    change_text,
    gate_schema,
    harm_text,
    to_json,
    to_markdown,
    to_text,
)
from reports.text import WIDTH

HOSTILE = "mimic|<script>alert(1)</script> `x` \x1b[31m\nrow \u202eback \ud800"
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


def compared(outcome: str = "pass", **changes: Any) -> Comparison:
    """Odds of a mimic that grew by half, far below the margin."""
    facts: dict[str, Any] = {
        "metric": Metric(scheme="", attack="mimicry", measure="success-odds", budget=2**40),
        "against": "baseline",
        "old": 0.408,
        "new": 0.41,
        "unit": "probability",
        "scale": "odds-ratio",
        "worse": 1.008,
        "limit": 1.2,
        "margin": 1.5,
        "detectable": 1.4,
        "p": 0.4,
        "adjusted": 1.0,
        "people": 60,
        "identical": False,
        "better": False,
        "outcome": outcome,
        "reason": "the upper limit is below the margin",
    }
    return Comparison(**{**facts, **changes})


def verdict(*comparisons: Comparison, outcome: str = "pass", notices: tuple[str, ...] = ()) -> Verdict:
    return Verdict(
        outcome=outcome,
        comparisons=comparisons,
        notices=notices,
        level=0.01,
        candidate="half-level, 60 people",
        held_against="baseline.json",
    )


WORSE = compared("fail", new=0.62, worse=2.36, limit=3.1, p=1e-5, adjusted=1e-4, reason="odds rose")
OPEN = compared(
    "undecided",
    metric=Metric(scheme="", attack="", measure="key-agreement", budget=0),
    scale="difference",
    old=0.5,
    new=0.49,
    worse=0.01,
    limit=0.03,
    margin=0.02,
    reason="14 more people would decide",
)
QUIET = compared(
    "unresolved",
    metric=Metric(scheme="", attack="replay", measure="success-odds", budget=1),
    old=0.0,
    new=0.0,
    worse=None,
    limit=None,
    p=None,
    adjusted=None,
    reason="no success on either side; the candidate's upper limit is 0.014",
)
SAME = compared(old=0.3, new=0.3, worse=1.0, limit=1.0, identical=True, reason="equal attempt by attempt")


@given(NUMBERS, NUMBERS)
@example(0.02, math.nextafter(0.02, 0))
@example(999999.7, 1e6)
@example(0.001, math.nextafter(0.001, 0))
@example(1.0, math.nextafter(1.0, 0))
@example(5e-324, 0.0)
@example(0.0, -0.0)
@example(1.7976931348623157e308, 1.7e308)
def test_texts_stand_in_the_order_of_their_numbers(a: float, b: float) -> None:
    first, second = apart(a, b)
    assert (float(first) < float(second)) == (a < b)
    assert (float(first) > float(second)) == (a > b)
    assert (first == second) == (a == b)


@given(NUMBERS, st.floats(1e-12, 1e-3))
def test_close_numbers_read_differently_and_in_few_digits(a: float, gap: float) -> None:
    b = a * (1 + gap)
    first, second = apart(a, b)
    assert (first == second) == (a == b)
    if a != b and math.isfinite(b) and 1e-3 < abs(a) < 1e5 and gap > 1e-5:
        # a relative gap of 1e-5 shows by the seventh significant digit
        assert max(len(t.strip("-").replace(".", "").lstrip("0")) for t in (first, second)) <= 7


@given(st.floats(0, 1), st.floats(0, 1))
@example(1e-9, math.nextafter(1, 0))
def test_no_probability_reads_certain_that_is_not(old: float, new: float) -> None:
    said = change_text(compared(old=old, new=new)).split(" -> ")
    for text, value in zip(said, (old, new), strict=True):
        assert (float(text) in (0, 1)) == (value in (0, 1))


@given(NUMBERS, NUMBERS, st.floats(1e-3, 1e3))
@example(0.0199999999, 0.02000000001, 0.02)
def test_harm_and_its_limit_stand_on_their_side_of_the_margin(w: float, u: float, margin: float) -> None:
    text = harm_text(compared(scale="difference", worse=w, limit=u, margin=margin))
    worse, limit, shown = (float(t) for t in re.findall(r"(?:by|limit|margin) (\S+?)(?:,|$)", text))
    assert (worse < shown, worse > shown) == (w < margin, w > margin)
    assert (limit < shown, limit > shown) == (u < margin, u > margin)


def test_noise_in_the_last_place_is_not_spelled_out() -> None:
    assert "worse by x 1, limit x 1, margin x 1.1" in harm_text(
        compared(worse=1.0, limit=1 + 1e-13, margin=1.1)
    )


def test_three_digits_where_they_suffice() -> None:
    assert apart(0.123456, 0.654321) == ("0.123", "0.654")
    assert apart(0.0199999, 0.02, 1.5) == ("0.0199999", "0.02", "1.5")
    assert apart(math.inf, -math.inf) == ("infinite", "-infinite")


def test_what_is_not_a_number_is_refused() -> None:
    with pytest.raises(ValueError, match="must be numbers"):
        apart(math.nan, 1)


@pytest.mark.parametrize("write", [to_text, to_markdown, lambda v: "\n".join(annotations(v))])
def test_a_limit_just_over_its_margin_shows_why(write: Any) -> None:
    close = dataclasses.replace(OPEN, limit=0.0200004, worse=0.0100001)
    text = write(verdict(close, outcome="undecided"))
    assert "0.0200004" in text
    shown = re.findall(r"\d\.\d+", text)
    assert len([n for n in shown if float(n) == 0.02]) == 1, "only the margin itself reads .02"


def test_the_outcome_comes_first_and_counts() -> None:
    both = verdict(WORSE, OPEN, QUIET, SAME, outcome="fail")
    assert to_text(both).startswith("FAIL: 1 of 4 comparisons got worse.")
    assert "FAIL: 1 of 4 comparisons" in to_markdown(both).splitlines()[0]
    assert to_text(verdict(OPEN, SAME, outcome="undecided")).startswith("UNDECIDED: 1 of 2")
    assert "not a pass" in to_text(verdict(OPEN, outcome="undecided")).splitlines()[0]
    assert to_text(verdict(SAME, QUIET)).startswith("PASS: none of 2 comparisons")


def test_failed_before_undecided_before_unresolved_before_passes() -> None:
    shuffled = verdict(SAME, QUIET, OPEN, WORSE, outcome="fail")
    for text in (to_text(shuffled), to_markdown(shuffled)):
        order = [
            text.index(w) for w in ("odds rose", "14 more people", "upper limit is 0.014", "identical")
        ]
        assert order == sorted(order)


@pytest.mark.parametrize("outcome", ["pass", "fail", "undecided"])
def test_unresolved_metrics_are_listed_whatever_the_outcome(outcome: str) -> None:
    beside = {"pass": SAME, "fail": WORSE, "undecided": OPEN}[outcome]
    found = verdict(beside, QUIET, outcome=outcome)
    for text in (to_text(found), to_markdown(found)):
        assert "replay success-odds" in text
        assert "upper limit is 0.014" in " ".join(text.split())


def test_passes_are_folded_away_in_the_summary() -> None:
    text = to_markdown(verdict(SAME, WORSE, outcome="fail"))
    folded = text[text.index("<details>") : text.index("</details>")]
    assert "identical" in folded
    assert "odds rose" not in folded
    assert "<details>" not in to_markdown(verdict(WORSE, outcome="fail"))


def test_factors_and_differences_have_signs_of_their_own() -> None:
    assert "worse by x 2.36, limit x 3.1, margin x 1.5" in to_text(verdict(WORSE, outcome="fail"))
    bits = dataclasses.replace(OPEN, unit="bit/symbol")
    assert "worse by 0.01 bit/symbol, limit 0.03 bit/symbol, margin 0.02 bit/symbol" in to_text(
        verdict(bits, outcome="undecided")
    )
    unbounded = dataclasses.replace(WORSE, worse=math.inf, limit=math.inf)
    assert "worse by x infinite, limit x infinite" in to_text(verdict(unbounded, outcome="fail"))


def test_no_limit_is_held_against_streams_that_came_out_equal() -> None:
    """People too few to resolve the margin can replay the same streams all the same."""
    same = compared(
        old=0.0, new=0.0, worse=0.0, limit=0.0439, margin=0.02, scale="difference", identical=True
    )
    for text in (to_text(verdict(same)), to_markdown(verdict(same))):
        assert "0.0439" not in text
        assert "identical" in text
    assert json.loads(to_json(verdict(same)))["comparisons"][0]["limit"] == 0.0439


def test_what_was_not_measured_says_so() -> None:
    gone = dataclasses.replace(OPEN, new=None, worse=None, limit=None, p=None, adjusted=None)
    text = " ".join(to_text(verdict(gone, outcome="undecided")).split())
    assert "0.5 -> not measured; worse by unknown, limit unknown, margin 0.02" in text


def test_one_line_for_each_failed_or_undecided_metric() -> None:
    lines = annotations(verdict(OPEN, QUIET, SAME, WORSE, outcome="fail"))
    assert [line.partition(":")[0] for line in lines] == ["error", "warning"]
    assert "0.408 -> 0.62; worse by x 2.36, limit x 3.1, margin x 1.5" in lines[0]
    assert "keyassay baseline RESULT --reason" in lines[0]
    assert "14 more people would decide" in lines[1]
    assert annotations(verdict(QUIET, SAME)) == []


def test_no_outcome_but_a_pass_is_silent() -> None:
    assert annotations(verdict(SAME, outcome="undecided")) == [
        "warning: UNDECIDED: 0 of 1 comparison cannot be told; this is not a pass."
    ]


def test_an_anchor_is_told_from_the_baseline() -> None:
    lines = annotations(verdict(WORSE, dataclasses.replace(WORSE, against="anchor"), outcome="fail"))
    assert "against the anchor" not in lines[0]
    assert "against the anchor" in lines[1]


def hostile(outcome: str) -> Verdict:
    worst = dataclasses.replace(
        {"fail": WORSE, "undecided": OPEN, "unresolved": QUIET, "pass": SAME}[outcome],
        metric=Metric(scheme=HOSTILE, attack=HOSTILE * 3, measure=HOSTILE, budget=7),
        unit=HOSTILE,
        against="anchor",
        reason=HOSTILE,
    )
    whole = verdict(worst, outcome="fail", notices=(HOSTILE,))
    return dataclasses.replace(whole, candidate=HOSTILE, held_against=HOSTILE)


@pytest.mark.parametrize("outcome", ["fail", "undecided", "unresolved", "pass"])
def test_other_peoples_words_stay_words(outcome: str) -> None:
    found = hostile(outcome)
    lines = [*to_text(found).splitlines(), *annotations(found), *to_markdown(found).splitlines()]
    assert all(line.isprintable() for line in lines)
    page = to_markdown(found)
    page.encode("utf-8")
    tags: list[str] = []
    parser = HTMLParser()
    parser.handle_starttag = lambda tag, attrs: tags.append(tag)
    parser.feed(page)
    assert set(tags) <= {"details", "summary"}
    rows = [re.sub(r"\\.", "", line) for line in page.splitlines() if line.startswith("|")]
    assert {row.count("|") for row in rows} == {7}


@pytest.mark.parametrize("outcome", ["fail", "undecided", "unresolved", "pass"])
def test_a_terminal_of_a_hundred_columns_holds_it(outcome: str) -> None:
    for found in (
        hostile(outcome),
        verdict(WORSE, OPEN, QUIET, SAME, compared(better=True), outcome="fail"),
    ):
        assert max(map(len, to_text(found).splitlines())) <= WIDTH


def test_json_keeps_every_digit_and_reads_back() -> None:
    exact = dataclasses.replace(WORSE, old=0.1 + 0.2, p=5e-324, limit=math.inf)
    whole = verdict(exact, OPEN, QUIET, SAME, outcome="fail", notices=("numpy 2.0 was 1.9",))
    text = to_json(whole)
    read = GateFile.model_validate_json(text)
    assert list(read.comparisons) == [dataclasses.replace(exact, limit=None), OPEN, QUIET, SAME]
    assert (read.outcome, read.level, read.notices) == ("fail", 0.01, ["numpy 2.0 was 1.9"])
    content = json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    assert list(content) == sorted(content)
    assert list(content["comparisons"][0]) == sorted(content["comparisons"][0])
    assert set(content) == set(gate_schema()["properties"])


def test_json_is_printable_whatever_the_names() -> None:
    text = to_json(hostile("fail"))
    assert text.isascii()
    assert all(line.isprintable() for line in text.splitlines())
    assert json.loads(text)["candidate"] == HOSTILE


def test_a_verdict_with_unknown_parts_is_refused() -> None:
    content = json.loads(to_json(verdict(SAME)))
    with pytest.raises(ValueError, match="extra"):
        GateFile.model_validate({**content, "mood": "good"})
