"""Adversaries who look at somebody else."""

from __future__ import annotations

from dataclasses import replace

import pytest
from made_up_trials import NOTHING, TRUTH, alone, read, trial
from scipy.stats import binom

from harness.calibration.chance import chance_lines
from harness.calibration.counts import two_sided
from harness.calibration.verdicts import chance_verdict

TRUTHS = (TRUTH, replace(TRUTH, attack="other"))


def told(*values: float) -> list[object]:
    return [read(0.0, 1.0, value=v) for v in values]


def lines_of(rows: list[tuple[float, float]], shuffled: bool = True) -> list[object]:
    case = alone("pairs", sound=True, truths=TRUTHS, shuffled=shuffled)
    trials = [trial("pairs", r, readings=tuple(told(*row))) for r, row in enumerate(rows)]
    return chance_lines([case], trials)


def test_hits_are_added_up_over_seeds() -> None:
    first, second = lines_of([(0.5, 0.6), (0.52, 0.4)])
    assert (first.attack, second.attack) == ("spy", "other")
    assert (first.attempts, first.hits, first.odds) == (200, pytest.approx(102), pytest.approx(0.51))
    assert first.low < 0.5 < first.high
    assert not first.off
    assert chance_verdict([first, second]).holds is True


@pytest.mark.parametrize("wrong", [0.3, 0.7])
def test_off_chance_is_seen_either_way(wrong: float) -> None:
    first, second = lines_of([(0.5, wrong), (0.5, wrong)])
    assert (first.off, second.off) == (False, True)
    verdict = chance_verdict([first, second])
    assert verdict.holds is False
    assert "other in pairs" in verdict.text


def test_p_is_exact_and_corrected() -> None:
    first, _ = lines_of([(0.5, 0.4)])
    assert first.p == 1.0
    _, second = lines_of([(0.5, 0.4)])
    assert second.p == pytest.approx(2 * 2 * binom.cdf(40, 100, 0.5))


def test_a_share_of_a_success_counts_for_the_milder_side() -> None:
    assert two_sided(9.5, 10, 0.5) == two_sided(9, 10, 0.5) > two_sided(10, 10, 0.5)
    assert two_sided(0.5, 10, 0.5) == two_sided(1, 10, 0.5)
    assert two_sided(10 - 1e-12, 10, 0.5) == two_sided(10, 10, 0.5)


def test_other_controls_truths_and_silent_trials_have_no_part() -> None:
    assert lines_of([(0.9, 0.9)], shuffled=False) == []
    truths = (replace(TRUTH, budget=10), replace(TRUTH, attack=None, measure="key-agreement", budget=None))
    case = alone("pairs", sound=True, truths=(*truths, TRUTH), shuffled=True)
    readings = (*told(0.9, 0.9), NOTHING)
    assert chance_lines([case], [trial("pairs", readings=readings)]) == []
    assert chance_verdict([]).holds is None
