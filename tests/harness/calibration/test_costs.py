"""How long it will take."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest
from made_up_trials import alone, trial

from attacks.injection import Injection
from fixtures.controls import CONTROLS, Channel
from harness.calibration import costs
from harness.calibration.cases import Case
from harness.calibration.costs import estimate, told_time, work
from harness.calibration.lines import Trial
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


def watched(seen: Callable[[Control], object], failing: tuple[str, ...] = ()) -> Callable[..., Trial]:
    """Stands in for an audit: shows what would be audited."""

    def audited(control: Control, *_: Any) -> Trial:
        seen(control)
        return trial(control.name, failure="it broke" if control.name in failing else None)

    return audited


def test_an_estimate_scales_one_small_audit(monkeypatch: pytest.MonkeyPatch) -> None:
    audited: list[int] = []
    monkeypatch.setattr(costs, "one_trial", watched(lambda c: audited.append(c.corpus.subjects)))
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
    monkeypatch.setattr(costs, "one_trial", watched(lambda c: audited.append(c.corpus)))
    ticks = iter((0.0, 1.0))
    case = alone("fixed", sound=True)
    case = Case(control=replace(case.control, corpus=Fixed(), attacks=()), role="control")
    assert estimate([case], seeds=1, seed=0, jobs=8, clock=lambda: next(ticks)) == 1.0
    assert audited == [Fixed(), Fixed()]


@dataclass(frozen=True)
class Odd:
    """People who cannot be weighed: none, or an error."""

    raised: type[BaseException] | None = None
    seed: int = 0

    def sittings(self) -> list[Any]:
        if self.raised is not None:
            raise self.raised("odd")
        return []


def named(name: str, corpus: Any) -> Case:
    return Case(control=replace(alone(name, sound=True).control, corpus=corpus, attacks=()), role="control")


ODD = [
    named("empty", Odd()), named("raises", Odd(RuntimeError)), named("exits", Odd(SystemExit)),
    named("missing", object()),
]  # fmt: skip


def test_cases_that_cannot_be_weighed_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    audited: list[str] = []
    monkeypatch.setattr(costs, "one_trial", watched(lambda c: audited.append(c.name)))
    ticks = iter((0.0, 1.0))
    cases = [*ODD, named("fixed", Fixed())]
    assert estimate(cases, seeds=2, seed=0, jobs=1, clock=lambda: next(ticks)) == 2.0
    assert audited == ["fixed", "fixed"]


@dataclass(frozen=True)
class Many(Fixed):
    """It wants more people than a yardstick has."""

    subjects: int = 100

    def __post_init__(self) -> None:
        if self.subjects < 50:
            raise ValueError("too few")


def test_a_corpus_that_cannot_be_made_smaller_is_taken_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    audited: list[Any] = []
    monkeypatch.setattr(costs, "one_trial", watched(lambda c: audited.append(c.corpus)))
    assert estimate([named("many", Many())], seeds=1, seed=0, jobs=1) is not None
    assert audited == [Many(), Many()]


def test_a_trial_that_worked_is_timed(monkeypatch: pytest.MonkeyPatch) -> None:
    audited: list[str] = []
    monkeypatch.setattr(costs, "one_trial", watched(lambda c: audited.append(c.name), ("first",)))
    ticks = iter((0.0, 1.0))
    cases = [named("first", Fixed()), named("second", Fixed())]
    assert estimate(cases, seeds=1, seed=0, jobs=1, clock=lambda: next(ticks)) == 2.0
    assert audited == ["first", "second", "second"]


def test_where_nothing_can_be_timed_no_time_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    audited: list[str] = []
    names = tuple(f"case-{k}" for k in range(9))
    monkeypatch.setattr(costs, "one_trial", watched(lambda c: audited.append(c.name), names))
    assert estimate(ODD, seeds=1, seed=0, jobs=1) is None
    assert audited == []
    assert estimate([named(n, Fixed()) for n in names], seeds=1, seed=0, jobs=1) is None
    assert audited == list(names[:3])  # nor does trying take long
    assert told_time(None, trials=4, jobs=1) == (
        "a time that cannot be told for 4 trials on 1 process: no trial to time it by worked"
    )


def test_words() -> None:
    assert told_time(59, trials=3, jobs=2) == "about 1 minute for 3 trials on 2 processes, undisturbed"
    assert told_time(29, trials=1, jobs=1) == "under a minute for 1 trial on 1 process, undisturbed"
