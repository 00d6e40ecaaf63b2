"""How often the gate is wrong, over simulated pipelines; `error-rates.md` holds the full measurement."""

from __future__ import annotations

import pytest
from gate_pipelines import DEFAULT, METRICS, NOMINAL, SimulatedMetric, pipelines
from gate_whole_pipelines import whole_pipeline
from scipy.stats import binom

LEVEL = 0.01  # that a sound gate fails a group of these checks
PROMISED = 0.9


def most(runs: int, rate: float, checks: int) -> int:
    """No more than this many are seen of what happens at this rate at most."""
    return int(binom.ppf(1 - LEVEL / checks, runs, rate))


def least(runs: int, rate: float, checks: int) -> int:
    """No fewer than this many are seen of what happens at this rate at least."""
    return int(binom.ppf(LEVEL / checks, runs, rate))


def check_neutral(runs: int) -> None:
    tally = pipelines(runs)
    assert tally.passed + tally.failed + tally.undecided == runs
    assert tally.failed <= most(runs, DEFAULT, 2)
    assert tally.failed_nominal <= most(runs, NOMINAL, 2)
    assert tally.passed > 0


def check_worse(metric: SimulatedMetric, runs: int) -> None:
    tally = pipelines(runs, worse=metric)
    assert tally.let_through <= most(runs, 0.05, 2 * len(METRICS))
    assert tally.caught >= least(runs, PROMISED, 2 * len(METRICS))


def test_neutral_changes_rarely_fail() -> None:
    check_neutral(60)


@pytest.mark.parametrize("metric", METRICS, ids=lambda m: m.title)
def test_twice_the_margin_is_caught(metric: SimulatedMetric) -> None:
    check_worse(metric, 12)


@pytest.mark.slow
def test_neutral_changes_rarely_fail_in_two_thousand_pipelines() -> None:
    check_neutral(2000)


@pytest.mark.slow
@pytest.mark.parametrize("metric", METRICS, ids=lambda m: m.title)
def test_twice_the_margin_is_caught_in_two_hundred_pipelines(metric: SimulatedMetric) -> None:
    check_worse(metric, 200)


@pytest.mark.slow
def test_twenty_whole_pipelines_under_a_neutral_change() -> None:
    outcomes = [whole_pipeline(seed).outcome for seed in range(20)]
    assert outcomes.count("fail") <= most(20, DEFAULT, 1)
