"""The published form of `result.json`."""

from __future__ import annotations

import json
from importlib.resources import files

import pytest

from harness import audit
from harness.results import Audit
from harness.schema import result_schema


@pytest.fixture(scope="module")
def text() -> str:
    return audit("interval-gray", attacks="population", subjects=3, attempts=2).to_json()


def test_the_package_holds_the_schema_that_the_code_checks() -> None:
    published = json.loads((files("harness") / "result.schema.json").read_text("utf-8"))
    assert published == result_schema()


def test_what_is_written_is_read_again(text: str) -> None:
    assert Audit.from_json(text).to_json() == text


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('"version": 1', '"version": 2', "at version"),
        ('"status": "measured"', '"status": "fine"', "at table."),
        ('"measure": "time-to-key"', '"measure": null', "at table."),
        ('"settings"', '"setting"', "at settings"),
        ('"level": 0.9,', '"level": NaN,', "at table."),
        ('"value": 0.0', '"value": Infinity', "at per_subject."),
        ('"level": 0.9,', '"level": "high",', "at table."),
        ("{", "", "at the file"),
    ],
)
def test_damage_is_told_in_one_sentence(text: str, old: str, new: str, place: str) -> None:
    damaged = text.replace(old, new, 1)
    assert damaged != text
    with pytest.raises(ValueError, match="a result of version 1 must be whole") as told:
        Audit.from_json(damaged)
    assert place in str(told.value)
    assert "\n" not in str(told.value)
