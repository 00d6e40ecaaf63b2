"""How many people are asked for, and the levels that are taken."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from gate_pipelines import METRICS, PEOPLE, result_of

from harness.baseline import baseline_of
from harness.errors import UsageError
from harness.gating import _people_needed, gate
from harness.verdicts import Comparison, Metric


def compared(**numbers: Any) -> Comparison:
    usual: dict[str, Any] = {
        "metric": Metric(scheme="", attack="", measure="min-entropy", budget=0), "against": "old",
        "old": 1.0, "new": 1.0, "unit": "bit", "scale": "difference", "worse": 0.0, "limit": 2.0,
        "margin": 1.0, "detectable": 0.5, "p": 0.5, "adjusted": 0.5, "people": 10, "identical": False,
        "better": False, "outcome": "undecided", "reason": "",
    }  # fmt: skip
    return Comparison(**(usual | numbers))


@pytest.mark.parametrize(
    ("numbers", "people"),
    [
        ({}, 41),  # a limit twice as far away as the margin takes four times as many, and one more
        ({"worse": 0.5}, 91),  # (2 - .5) / (1 - .5) = 3
        ({"worse": -1.0}, 24),  # 3 / 2, squared: 22.5
        ({"detectable": 3.0}, 91),  # what can be shown at all shrinks in the same way
        ({"limit": None}, None),
        ({"worse": None}, None),
        ({"detectable": None}, None),
        ({"worse": 1.0}, None),  # what was seen is the margin itself
        ({"worse": 2.0, "margin": 3.0}, None),  # or the limit
        ({"worse": 3.0}, None),
    ],
)
def test_limits_shrink_with_the_root_of_people(numbers: dict[str, Any], people: int | None) -> None:
    assert _people_needed(compared(**numbers)) == people


@pytest.mark.parametrize("scale", ["ratio", "odds-ratio"])
def test_factors_are_far_apart_on_a_log_scale(scale: str) -> None:
    factors = {"scale": scale, "worse": 1.0, "limit": 4.0, "margin": 2.0, "detectable": 2.0**0.5}
    assert _people_needed(compared(**factors)) == 41
    assert _people_needed(compared(**factors | {"detectable": 8.0})) == 91
    assert _people_needed(compared(**factors | {"worse": 0.0})) is None
    assert _people_needed(compared(**factors | {"limit": np.inf})) is None
    assert _people_needed(compared(**factors | {"limit": np.nan})) is None


@pytest.mark.parametrize("level", [0.0, 0.5, -0.1, 1.0])
def test_a_level_of_a_half_or_more_and_of_nothing_is_refused(level: float) -> None:
    found = result_of({METRICS[0]: np.full(PEOPLE, 0.5)})
    with pytest.raises(UsageError, match=f"strictly between 0 and .5, got {level:g}"):
        gate(found, baseline=baseline_of(found, reason="before"), level=level)
    assert gate(found, baseline=baseline_of(found, reason="before"), level=0.49).level == 0.49
