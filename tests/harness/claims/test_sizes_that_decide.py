"""How much larger a corpus must be, and when no size helps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from harness.claims.deciding import _enough, _factor
from harness.estimators.means import subject_mean
from harness.limits import effective_trials, lower_limit, upper_limit
from harness.results import measured
from harness.rows import Row

Make = Callable[..., Row]


def mean(spread: float = 1.0, people: int = 12) -> Row:
    """A bit-mismatch about .3."""
    values = 0.3 + spread * 0.1 * np.random.default_rng(3).standard_normal(3 * people)
    found = subject_mean(
        values, np.repeat(np.arange(people), 3), unit="share", side="estimate", method="witness-bits"
    )
    return measured(found, scheme="s", attack=None, measure="bit-mismatch", data="simulated")


def test_a_factor_is_the_least_that_keeps_and_none_if_a_million_do_not() -> None:
    assert _factor(lambda f: f >= 3) == pytest.approx(3)
    assert _factor(lambda f: True) == pytest.approx(0.5)
    assert _factor(lambda f: False) is None


def test_a_figure_of_another_kind_does_not_tell(figure: Make) -> None:
    says = _enough(figure("min-entropy", 5.0, 4.0, 6.0), 4.5, 0.95, upper=False, attackers=None)
    assert says.startswith("more people would narrow the interval")
    assert "20 people now" in says


def test_a_mean_tells_how_many_people_unless_it_stands_at_the_threshold() -> None:
    row = mean()
    assert row.value is not None
    told = _enough(row, row.value + 0.01, 0.95, upper=True, attackers=None)
    assert told.startswith("about ")
    assert "if the mean stays" in told
    assert _enough(row, row.value, 0.95, upper=True, attackers=None).startswith("no size decides")
    nearer = _enough(row, row.value + 0.1, 0.95, upper=True, attackers=None)
    assert int(nearer.split()[1]) < int(told.split()[1])


def test_a_rate_tells_people_attackers_and_attempts(counted: Make) -> None:
    row = counted(12, people=60, attackers=8)
    two_way = _enough(row, 0.2, 0.95, upper=True, attackers=8)
    assert "attackers in all" in two_way
    assert "times as many attackers" in _enough(row, 0.2, 0.95, upper=True, attackers=None)
    never = _enough(row, 0.041, 0.95, upper=True, attackers=8)
    assert "more people against the same attackers never will" in never
    assert "more attempts alone never will" in never
    one_way = counted(12, people=60)
    assert "attempts" in _enough(one_way, 0.06, 0.95, upper=True, attackers=None)
    assert "never will" in _enough(one_way, 0.041, 0.95, upper=True, attackers=None)
    single = counted(3, people=60, each=1)
    assert "in all" in _enough(single, 0.2, 0.95, upper=True, attackers=None)
    by_person = replace(one_way, method="subject-unit")
    assert "if the share stays" in _enough(by_person, 0.1, 0.95, upper=True, attackers=None)


def test_a_rate_at_the_threshold_or_without_ends_is_not_decided_by_size(counted: Make) -> None:
    row = counted(12)
    assert row.value is not None
    assert _enough(row, row.value, 0.95, upper=True, attackers=None).startswith("no size decides")
    open_row = replace(row, low=0.0, high=1.0)
    assert "so few attempts do not tell" in _enough(open_row, 0.2, 0.95, upper=True, attackers=None)


@pytest.mark.parametrize("confidence", [0.5, 1.0])
def test_a_limit_needs_a_confidence_above_one_half(counted: Make, confidence: float) -> None:
    with pytest.raises(ValueError, match=r"strictly between \.5 and 1"):
        upper_limit(counted(3), confidence)


def test_a_limit_needs_a_measured_row(missing: Make) -> None:
    with pytest.raises(ValueError, match="needs a measured row, got one that is untested"):
        lower_limit(missing("mimicry"), 0.95)


def test_trials_belong_to_rates(figure: Make) -> None:
    with pytest.raises(ValueError, match="trials belong to rates by"):
        effective_trials(figure("min-entropy", 5.0, 4.0, 6.0))


def test_rows_without_ends_give_no_limits(counted: Make, figure: Make) -> None:
    row = counted(12)
    assert upper_limit(replace(row, high=None), 0.99) is None
    assert effective_trials(replace(row, low=0.0, high=1.0)) is None
    open_row = replace(row, low=0.0, high=1.0)
    assert (lower_limit(open_row, 0.99), upper_limit(open_row, 0.99)) == (0.0, 1.0)
    gain: dict[str, Any] = {"method": "held-out-log-score", "unit": "bit", "low": 0.2}
    leak = replace(figure("mutual-information", 0.5, 0.2, 0.9), **gain)
    assert upper_limit(leak, 0.95) is None
    assert lower_limit(replace(leak, low=0.0), 0.95) == 0.0
    assert lower_limit(replace(leak, subjects=1), 0.95) is None
    assert upper_limit(replace(mean(), low=None), 0.9) is None
    exact = replace(figure("min-entropy", 5.0, 5.0, 5.0), evidence="exact")
    assert upper_limit(exact, 0.99) == lower_limit(exact, 0.99) == 5.0
    assert lower_limit(figure("linkage", 0.02, 0.02, 0.02, unit="p-value"), 0.9) is None
    assert upper_limit(figure("min-entropy", 5.0, 4.0, 6.0), 0.9) is None
