"""What a flaw must be."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from made_up_trials import TRUTH, control

from harness.calibration.model import Flaw, Truth

LEAK, TWIN = control("leak", sound=False), control("leak-twin", sound=True)


def test_a_flaw_is_called_what_is_planted() -> None:
    assert Flaw(planted=LEAK, twin=TWIN, found_by=frozenset({"right"}), met="nowhere").name == "leak"


@pytest.mark.parametrize(("planted", "twin"), [(TWIN, TWIN), (LEAK, LEAK), (TWIN, LEAK)])
def test_a_flaw_is_planted_in_something_unsound_beside_a_sound_twin(planted: object, twin: object) -> None:
    with pytest.raises(ValueError, match="must be planted in an unsound control and have a sound twin"):
        Flaw(planted=planted, twin=twin, found_by=frozenset({"right"}), met="nowhere")


def test_a_flaw_names_what_sees_it() -> None:
    with pytest.raises(ValueError, match="must name the findings that see it, got none for leak"):
        Flaw(planted=LEAK, twin=TWIN, found_by=frozenset(), met="nowhere")


def test_people_are_drawn_again_for_each_seed() -> None:
    assert (LEAK.seeded(7).corpus.seed, LEAK.corpus.seed) == (7, 0)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"bound": "no-such"}, "`bound` of a truth must be one of exact, at-least, at-most, got 'no-such'"),
        ({"value": math.nan}, "`value` of a truth must be a finite number, got nan"),
        ({"value": -math.inf}, "`value` of a truth must be a finite number, got -inf"),
        (
            {"bound": "at-least", "value": 0.0},
            "that an interval can miss, got at-least 0 for the probability",
        ),
        (
            {"bound": "at-most", "value": 1.0},
            "that an interval can miss, got at-most 1 for the probability",
        ),
    ],
)
def test_a_truth_that_nothing_can_be_held_against_is_refused(wrong: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says) as error:
        replace(TRUTH, **wrong)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    "right",
    [
        {"bound": "exact", "value": 0.0},
        {"bound": "at-most", "value": 0.0},
        {"bound": "at-least", "value": 1.0},
        {"bound": "at-most", "value": 5.0, "measure": "min-entropy"},
    ],
)
def test_bounds_at_the_far_end_can_be_missed(right: dict[str, Any]) -> None:
    assert isinstance(replace(TRUTH, **right), Truth)
