"""A quick part of the calibration, and proof that it bites."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from calibration.case import Case
from calibration.running import Outcome, all_cases, measured, table
from harness.estimators.proportion import clopper_pearson

QUICK = 40


def one_a_name() -> list[Case]:
    """The first channel of every interval and test."""
    cases = {c.name: c for c in reversed(all_cases())}
    return [replace(c, repetitions=QUICK) for c in cases.values()]


@pytest.mark.parametrize("case", one_a_name(), ids=lambda c: c.name)
def test_on_one_channel_each_keeps_what_it_says(case: Case) -> None:
    (outcome,) = measured([case])
    assert outcome.verdict(len(one_a_name())) != "FALLS SHORT"


def covers(rng: np.random.Generator, *, trials: int, claimed: int) -> bool:
    """Clopper-Pearson for `trials`, as if there had been `claimed` of them."""
    hits = rng.binomial(trials, 0.3)
    low, high = clopper_pearson(hits / trials * claimed, claimed)
    return low <= 0.3 <= high


def test_an_interval_that_is_too_short_is_caught() -> None:
    sound = Case(
        name="sound",
        channel="binomial",
        kind="coverage",
        nominal=0.95,
        run=partial(covers, trials=40, claimed=40),
    )
    short = replace(sound, name="short", run=partial(covers, trials=40, claimed=160))
    honest, wrong = measured([sound, short])
    assert honest.verdict(2) in ("as said", "conservative")
    assert wrong.verdict(2) == "FALLS SHORT"
    assert "FALLS SHORT" in table([honest, wrong])
    known = Outcome(case=replace(short, short=True), hits=wrong.hits, seconds=0)
    assert known.verdict(2) == "falls short, as remarked"


@pytest.mark.parametrize(("kind", "hits"), [("coverage", 900), ("size", 100)])
def test_both_kinds_fall_short_on_their_own_side(kind: str, hits: int) -> None:
    nominal = 0.95 if kind == "coverage" else 0.05
    case = Case(name="x", channel="y", kind=kind, nominal=nominal, run=lambda rng: True)
    assert Outcome(case=case, hits=hits, seconds=0).verdict(1) == "FALLS SHORT"
    safe = 1000 if kind == "coverage" else 0
    assert Outcome(case=case, hits=safe, seconds=0).verdict(1) == "conservative"


def test_the_numbers_do_not_depend_on_the_number_of_workers() -> None:
    case = Case(
        name="x", channel="y", kind="coverage", nominal=0.95, run=partial(covers, trials=40, claimed=40)
    )
    case = replace(case, repetitions=50)
    alone, shared = (
        measured([case, replace(case, channel="z")]),
        measured([case, replace(case, channel="z")], jobs=2),
    )
    assert [o.hits for o in alone] == [o.hits for o in shared]
