"""What the record holds beside outcomes: requirements, threats, use, ratings, and the exit status."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from harness.claims.judging import exit_status, judge
from harness.contracts import EVIDENCE, SIDES
from harness.errors import UsageError
from harness.limits import PROPORTIONS
from harness.rows import STATUSES, Row
from harness.threats import STANDARD_ADVERSARIES, open_threats
from harness.vocabulary import MEASURES
from reports.reading import not_run

AT_ONE = 'measure = "success-odds"\nbudget = 1\n'
FRESH = '[use]\nkind = "password-authenticated"\nkey = "fresh"\nsessions = 10'
Make = Callable[..., Any]
SIDES_OF = ("most", "least")
NUMBERS = st.none() | st.sampled_from([-1.0, 0.0, 1e-300, 0.05, 0.5, 1.0, 3.0, 1e300]) | st.floats(0, 1)


NEED = '[[requirement]]\nid = "need"\ntext = "what is needed"\n'


def test_requirements_are_traced_and_those_without_evidence_listed(
    claims: Make, result: Make, counted: Make
) -> None:
    text = AT_ONE + 'at_most = 0.05\nrequirement = "need"'
    bare = '[[requirement]]\nid = "bare"\ntext = "nobody claims this"'
    record = judge(claims(text, NEED + bare), result(counted(0)))
    assert {r.id: (r.claims, r.outcome, r.evidence) for r in record.requirements} == {
        "need": (("it",), "withstood", True),
        "bare": ((), "untested", False),
    }
    assert record.without_evidence == ["bare"]
    untested = text + '\nevidence = ["exact"]'
    assert judge(claims(untested, NEED), result(counted(0))).without_evidence == ["need"]


SAME = tuple(n for n in STANDARD_ADVERSARIES if n != "mimicry")


def scope(*threats: str) -> str:
    return "".join(f'[[out_of_scope]]\nthreat = "{t}"\nreason = "not here"\n' for t in threats)


def test_exit_statuses(claims: Make, result: Make, counted: Make) -> None:
    text = AT_ONE + "at_most = 0.05"

    def status(row: Any, more: str) -> int:
        return exit_status(judge(claims(text, more), result(row)))

    assert status(counted(0), scope(*SAME)) == 0
    assert status(counted(0), scope(*SAME[1:])) == 4  # one threat is open
    assert status(counted(12), scope(*SAME)) == 4
    assert status(counted(60), scope(*SAME)) == 1
    assert status(counted(60), "") == 1


def test_open_threats_keep_the_reason_why_they_are_accepted(
    claims: Make, result: Make, counted: Make
) -> None:
    record = judge(claims(AT_ONE + "at_most = 0.05", scope("camera")), result(counted(0)))
    camera = next(t for t in record.open_threats if t.threat == "camera")
    assert camera.scoped_out == "not here"
    assert "camera" not in [t.threat for t in record.threats_left]
    assert "relay" in [t.threat for t in record.threats_left]


def test_ranking_keys_and_strangers_count_as_tried_by_their_rows(
    claims: Make, result: Make, counted: Make
) -> None:
    strangers = counted(0, attack=None, measure="strangers-agreement", budget=None, side="estimate")
    text = AT_ONE + "at_most = 0.05"
    without = {t.threat for t in judge(claims(text), result(counted(0))).open_threats}
    assert {"enumeration", "strangers"} <= without
    rows = counted(0), counted(0, budget=2**20), strangers
    assert not {"enumeration", "strangers"} & {
        t.threat for t in judge(claims(text), result(*rows)).open_threats
    }


def test_an_attack_that_was_asked_for_and_failed_is_open(
    claims: Make, result: Make, counted: Make, missing: Make
) -> None:
    record = judge(claims(AT_ONE + "at_most = 0.05"), result(counted(0), missing("odd", status="failed")))
    assert next(t.why for t in record.open_threats if t.threat == "odd") == "not measured: no such role"


def test_unknown_names_are_refused_with_the_nearest(claims: Make, result: Make, counted: Make) -> None:
    audit = result(counted(0, attack="bare-copy"))
    for lines, more, hint in (
        ('attack = "mimicri"\n', "", "mimicry"),
        ('attack = "mimicry+bare-cpy"\n', "", "bare-copy"),
        ("", scope("camra"), "camera"),
    ):
        with pytest.raises(UsageError, match=f"did you mean '{hint}'"):
            judge(claims(AT_ONE + lines + "at_most = 0.05", more), audit)
    judge(claims(AT_ONE + 'attack = "bare-copy"\nat_most = 0.05'), audit)


def test_the_record_is_json_and_holds_what_is_in_force(claims: Make, result: Make, counted: Make) -> None:
    rating = (
        '[[potential]]\nattack = "mimicry"\nelapsed_time = "1-week"\nexpertise = "expert"\n'
        'knowledge = "public"\nwindow = "easy"\nequipment = "standard"\nrationale = "practised"'
    )
    head = 'presets = ["twenty-volunteers"]'
    record = judge(claims(AT_ONE + "at_most = 0.05", rating, head), result(counted(0)))
    content = json.loads(json.dumps(asdict(record), allow_nan=False))
    assert content["claims"]["claim"][0]["id"] == "twenty-volunteers.odds"
    assert content["use"].startswith("not declared, so judged at the harshest: raw, a lasting key")
    assert content["potential"][0] == {
        "attack": "mimicry",
        "points": 8,
        "band": "basic",
        "factors": {
            "elapsed_time": "1-week",
            "expertise": "expert",
            "knowledge": "public",
            "window": "easy",
            "equipment": "standard",
        },
        "rationale": "practised",
    }


def test_declared_use_is_put_in_words(claims: Make, result: Make, counted: Make) -> None:
    record = judge(claims(AT_ONE + "at_most = 0.05", FRESH), result(counted(0)))
    assert record.use == "password-authenticated, fresh keys, on line: 1 try in each of 10 sessions"


def test_standard_adversaries_left_open_are_those_that_reports_name(result: Make, counted: Make) -> None:
    audit = result(counted(0, attack="mimicry+replay"), counted(0, budget=2**40))
    standard = [t for t, why in open_threats(audit) if why.startswith("not tried")]
    assert standard == not_run(audit, STANDARD_ADVERSARIES)
    assert not {"mimicry", "replay", "enumeration"} & set(standard)


def test_a_combination_can_be_out_of_scope_and_its_parts_not(
    claims: Make, result: Make, counted: Make
) -> None:
    both = counted(60, attack="mimicry+replay")
    rows = counted(0), counted(0, attack="replay"), both
    text = AT_ONE + "at_most = 0.05"
    found = judge(claims(text, scope("replay+mimicry")), result(*rows)).judgements[0]
    assert found.outcome == "withstood"
    assert found.left_out == ("mimicry+replay: out of scope",)


def test_a_result_without_a_scheme_meets_no_claim(claims: Make, result: Make) -> None:
    record = judge(claims(AT_ONE + "at_most = 0.05", scope(*STANDARD_ADVERSARIES)), result())
    assert [j.outcome for j in record.judgements] == ["untested"]
    assert exit_status(record) == 4


ROWS = st.builds(
    Row,
    scheme=st.just("s"),
    attack=st.sampled_from([None, "mimicry"]),
    measure=st.sampled_from(sorted(MEASURES)),
    budget=st.sampled_from([None, -1, 0, 1, 2**20, 2**64]),
    value=NUMBERS,
    low=NUMBERS,
    high=NUMBERS,
    level=st.sampled_from([None, -1.0, 0.0, 0.9, 0.95, 1.0, 1 - 1e-16]),
    unit=st.sampled_from(["probability", "bit", "bit/symbol", "s", "log2", "p-value"]),
    side=st.sampled_from([None, *SIDES, "?"]),
    evidence=st.sampled_from([None, *EVIDENCE, "?"]),
    data=st.sampled_from(["recorded", "simulated"]),
    subjects=st.integers(-1, 30),
    attempts=st.integers(-1, 100),
    method=st.sampled_from(
        [*PROPORTIONS, "per-attempt", "held-out-log-score", "average-given-helper-independent-symbols", "x"]
    ),
    status=st.sampled_from(STATUSES),
    reason=st.sampled_from([None, "because"]),
)
WIDE = [
    *(f'measure = "success-odds"\nbudget = {b}\nat_{s} = 0.05' for b in (1, 50, '"use"') for s in SIDES_OF),
    *(f'measure = "{m}"\nat_{s} = 0.5' for m in ("key-agreement", "time", "key-rank") for s in SIDES_OF),
    'measure = "min-entropy"\nunit = "bit"\nat_least = 20',
    'measure = "mutual-information"\nunit = "bit"\nat_most = 2',
    'measure = "leakage-test"\nat_least = 0.05',
]


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(ROWS, max_size=6), lines=st.sampled_from(WIDE), fresh=st.booleans())
def test_results_of_any_making_are_judged_and_rubbish_shows_nothing(
    claims: Make, result: Make, rows: list[Row], lines: str, fresh: bool
) -> None:
    record = judge(claims(lines, FRESH if fresh else ""), result(*rows))
    json.dumps(asdict(record), allow_nan=False)
    for judgement in record.judgements:
        if judgement.outcome in ("shown", "withstood", "refuted"):
            assert any(r.status == "measured" and r.value is not None for r in rows)
