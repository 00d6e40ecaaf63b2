"""How long it will take."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import pytest
from made_up_trials import alone

from attacks.injection import Injection
from fixtures.controls import CONTROLS, Channel
from harness.calibration import costs
from harness.calibration.cases import Case
from harness.calibration.costs import estimate, told_time, work
from harness.calibration.model import Control

NOISY = CONTROLS["noisy-sensor"]()


def with_attacks(*attacks: Any) -> Control:
    return replace(NOISY, attacks=attacks)


def test_work_grows_with_attempts_and_adversaries() -> None:
    assert work(with_attacks()) == 600
    assert work(with_attacks("distant-sensor")) == 1200
    assert work(with_attacks("distant-sensor", "mimicry")) == 1800
    assert work(with_attacks("distant-sensor+mimicry")) == 1800
    assert work(with_attacks("helper-leak")) < work(with_attacks("mimicry"))
    assert work(with_attacks("enumeration")) == work(with_attacks("population"))
    assert work(with_attacks(Injection())) == work(with_attacks("injection")) > 1200
    assert work(with_attacks("somebody/elses.py:Spy")) == 1200
    assert work(replace(NOISY, corpus=Channel(subjects=30))) == 600


def test_an_estimate_scales_one_small_audit(monkeypatch: pytest.MonkeyPatch) -> None:
    audited: list[int] = []
    monkeypatch.setattr(costs, "one_trial", lambda control, *_: audited.append(control.corpus.subjects))
    ticks = iter((10.0, 13.0))  # three seconds
    cases = [
        Case(control=NOISY, role="control"),
        Case(control=replace(NOISY, corpus=Channel(subjects=30)), role="control"),
    ]
    seconds = estimate(cases, seeds=4, seed=0, jobs=2, clock=lambda: next(ticks))
    assert audited == [30, 30]  # twice, as the first one loads libraries
    assert seconds == pytest.approx(3.0 * (1 + 2) * 4 / 2)  # cases, seeds, processes


@dataclass(frozen=True)
class Fixed:
    """Its size cannot be changed."""

    seed: int = 0

    def sittings(self) -> list[Any]:
        return [type("Sitting", (), {"attempts": 7})()]


def test_a_corpus_of_fixed_size_is_taken_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    audited: list[Any] = []
    monkeypatch.setattr(costs, "one_trial", lambda control, *_: audited.append(control.corpus))
    ticks = iter((0.0, 1.0))
    case = alone("fixed", sound=True)
    case = Case(control=replace(case.control, corpus=Fixed(), attacks=()), role="control")
    assert estimate([case], seeds=1, seed=0, jobs=8, clock=lambda: next(ticks)) == 1.0
    assert audited == [Fixed(), Fixed()]


def test_words() -> None:
    assert told_time(59, trials=3, jobs=2) == "about 1 minute for 3 trials on 2 processes, undisturbed"
    assert told_time(29, trials=1, jobs=1) == "under a minute for 1 trial on 1 process, undisturbed"
