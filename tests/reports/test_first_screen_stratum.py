"""The first screen says when only a part of a corpus was attacked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from harness.results import Audit
from reports.first_screen import evidence_line


def result(settings: Mapping[str, Any]) -> Audit:
    return Audit(
        rows=[],
        per_subject=[],
        findings=[],
        settings=settings,
        corpus={"data": "recorded", "subjects": 8, "attackers": 0, "sessions": 8, "attempts": 16},
        schemes=[],
        attacks=[],
        versions={},
    )


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({}, "Recorded people. In the corpus: subjects 8"),
        (
            {"strata": {"attacked": "condition=rest", "learned from": "condition=rest"}},
            "Recorded people. Of attempts with condition=rest only, adversaries having learned from the "
            "same: subjects 8",
        ),
        (
            {"strata": {"attacked": "condition=rest", "learned from": "condition=grip"}},
            "with condition=rest only, adversaries having learned from condition=grip: subjects 8",
        ),
    ],
)
def test_a_part_is_not_shown_as_the_whole(settings: Mapping[str, Any], said: str) -> None:
    assert said in evidence_line(result(settings))
