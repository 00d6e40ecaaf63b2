"""A claims record in lines: every part of it is told, and only what is there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from harness.claims.record import (
    ClaimsRecord,
    Judgement,
    OpenThreat,
    Rated,
    RequirementRecord,
    Support,
    Used,
)
from harness.cli.claiming import _lines
from harness.rows import Row

JUDGEMENT = Judgement(
    claim="odds", scheme="grips", requirement="R1", says="odds are at most .01", outcome="undecided",
    text="the limit reaches further", decides="about 90 people in all", supports=(),
    rationale=None, owner=None, left_out=("replay: out of scope",),
)  # fmt: skip
REQUIREMENT = RequirementRecord(
    id="R1", text="Nobody else rides.", owner="fleet", claims=("odds",), outcome="undecided", evidence=True
)
EMPTY = ClaimsRecord(
    claims={}, use="a lock", judgements=(), requirements=(), open_threats=(), out_of_scope={}, potential=()
)


def test_an_empty_record_is_one_line() -> None:
    assert list(_lines(EMPTY)) == ["Use of the key: a lock"]


def test_requirements_tell_their_owner_and_whether_there_is_evidence() -> None:
    bare = replace(REQUIREMENT, owner=None, claims=(), evidence=False)
    record = replace(EMPTY, requirements=(REQUIREMENT, bare), judgements=(JUDGEMENT,))
    lines = list(_lines(record))
    assert "R1 (fleet): Nobody else rides." in lines
    assert "R1: Nobody else rides." in lines
    assert lines.count("  WITHOUT EVIDENCE: no claim, or all untested") == 1
    assert lines.count("  UNDECIDED odds [grips]: odds are at most .01") == 1
    assert "    would decide: about 90 people in all" in lines
    assert "    - not covered: replay: out of scope" in lines


def test_claims_without_a_requirement_tell_the_rows_that_bear_them(counted: Callable[..., Row]) -> None:
    row = counted(3)
    support = Support(
        attack=None, rows=(Used(role="both", row=row), Used(role="holds", row=replace(row, budget=None))),
        lower=0.01, upper=0.2, holds_at=0.95, breaks_at=0.99, outcome="shown", why="the limit is below",
    )  # fmt: skip
    free = replace(JUDGEMENT, requirement=None, decides=None, left_out=(), supports=(support,))
    lines = list(_lines(replace(EMPTY, judgements=(free,))))
    assert "Claims without a requirement" in lines
    assert "    - honest pair: shown: the limit is below" in lines
    assert sum("budget 1," in text for text in lines) == 1
    assert sum("(holds)" in text or "(both)" in text for text in lines) == 2
    assert not any("would decide" in text for text in lines)


def test_open_threats_and_potential_are_told() -> None:
    threats = (
        OpenThreat(threat="relay", why="not run", scoped_out=None),
        OpenThreat(threat="replay", why="x", scoped_out="old"),
    )
    rated = Rated(attack="mimicry", points=9, band="basic", factors={}, rationale="one colleague")
    lines: list[Any] = list(_lines(replace(EMPTY, open_threats=threats, potential=(rated,))))
    assert "  relay: not run" in lines
    assert "  replay: x; out of scope: old" in lines
    assert "  mimicry: 9, basic: one colleague" in lines
