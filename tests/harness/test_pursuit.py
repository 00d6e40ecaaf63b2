"""Folds: whom an attack is set on, whom it learns from, whom weights are fitted on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.cache import Captures, render
from harness.combining import combined, fitted_weights
from harness.contracts import DEVICE_B, Belief, Sensed, Sitting, View
from harness.exchange import Honest, join, run_block
from harness.pursuit import pursue
from harness.results import Row
from harness.score import Disclosure, disclosure_of


@dataclass(frozen=True)
class Spy:
    """Records what it is shown; believes nothing."""

    seen: list[Any] = field(default_factory=list)
    name: str = "spy"
    sees: frozenset[str] = frozenset({"remote", "population", "helper"})
    likes: frozenset[str] = frozenset()

    def __deepcopy__(self, memo: Any) -> Spy:
        return self  # the harness copies attacks; the record must outlive the copy

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        self.seen.append((view, rng.integers(0, 2**62)))
        width = 23 if view.scheme.key_bits == 12 else 7
        return Belief(log_prob=np.full((view.attempts, width, 2), np.log(0.5)))


PEOPLE = Channel(subjects=11, attempts=2, errors=((DEVICE_B, 0.0), ("remote", 0.2)))


def test_victims_and_teachers_never_share_a_person_and_everyone_is_a_victim_once() -> None:
    spy = Spy()
    audit(SignCommitment(), attacks=spy, corpus=PEOPLE)
    assert len(spy.seen) == 5
    victims: list[int] = []
    for view, _ in spy.seen:
        known = set(view.population.subject.tolist())
        mine = set(view.subject.tolist())
        assert not known & mine
        assert known | mine == set(range(11))
        victims += sorted(mine)
    assert sorted(victims) == list(range(11))


def test_combining_asks_for_a_second_fold_and_learns_from_neither(tmp_path: Path) -> None:
    spy = Spy()
    honest, disclosure, captures, folds = prepared(tmp_path)
    answer = pursue(spy, SignCommitment(), honest, disclosure, captures, folds, 1, 0, True)
    (first, _), (second, _) = spy.seen
    assert set(first.subject.tolist()) == set(folds[1].tolist())
    assert set(second.subject.tolist()) == set(folds[2].tolist())
    assert not set(second.population.subject.tolist()) & {*folds[1].tolist(), *folds[2].tolist()}
    assert answer.calibration is not None
    assert set(honest.subject[answer.calibration.rows.attempt].tolist()) == set(folds[2].tolist())


def prepared(folder: Path) -> tuple[Honest, Disclosure, Captures, list[Any]]:
    """Everything that `pursue` needs, made as an audit makes it."""
    sittings = PEOPLE.sittings()
    every = frozenset(s for x in sittings for s in x.streams)
    stored = dict(p for i, s in enumerate(sittings) for p in render(PEOPLE, i, s, every, folder))
    captures = Captures(sittings, stored)
    blocks = []
    for i, sitting in enumerate(sittings):
        both = {r: stored[i, f"{r}:value"].load() for r in ("device-a", "device-b")}
        blocks.append(
            run_block(
                SignCommitment(), both, seed=0, sitting=i, subject=sitting.subject, session=sitting.session
            )
        )
    honest = join("sign-commitment", blocks)
    folds = np.array_split(np.arange(11), 5)
    return honest, disclosure_of(SignCommitment(), honest), captures, folds


def test_each_fold_has_a_stream_of_its_own() -> None:
    spy = Spy()
    audit(SignCommitment(), attacks=spy, corpus=PEOPLE)
    assert len({drawn for _, drawn in spy.seen}) == 5


def test_one_view_for_each_session_where_history_is_liked() -> None:
    spy = Spy(likes=frozenset({"history"}))
    audit(SignCommitment(), attacks=spy, corpus=PEOPLE)
    assert len(spy.seen) == 10
    for view, _ in spy.seen:
        (session,) = set(view.session.tolist())
        assert (view.history is None) is (session == 0)
        if view.history is not None:
            assert set(view.history.session.tolist()) == {0}
            assert view.history.keys is None


def test_where_history_is_needed_the_first_session_is_left_out_and_counted() -> None:
    spy = Spy(sees=frozenset({"history"}))
    result = audit(SignCommitment(), attacks=spy, corpus=PEOPLE)
    (odds,) = result.select(attack="spy", measure="success-odds", budget=1)
    assert odds.attempts == 22
    assert odds.reason is not None
    assert "22 attempts left out" in odds.reason


def test_the_same_view_twice_counts_once() -> None:
    rng = np.random.default_rng(0)
    symbols = rng.integers(0, 2, (400, 23), dtype=np.uint8)
    seen = symbols ^ (rng.random(symbols.shape) < 0.3)
    belief = np.log([[0.7, 0.3], [0.3, 0.7]])[seen.astype(int)]
    prior = np.full((23, 2), np.log(0.5))
    weights = fitted_weights([belief, belief], prior, symbols)
    # 9200 symbols fix the log-odds to about .025 of 1: four sigma
    assert weights[1] + weights[2] == pytest.approx(1.0, abs=0.1)
    assert np.abs(np.exp(combined([belief, belief], prior, weights)) - np.exp(belief)).max() < 0.03


def test_two_views_together_beat_each_and_a_useless_one_does_no_harm() -> None:
    errors = ((DEVICE_B, 0.0), ("remote", 0.3), ("mimic", 0.3), ("other-site", 0.5))
    people = Channel(subjects=40, errors=errors)
    attacks = [
        "distant-sensor",
        "mimicry",
        "body-site",
        "distant-sensor+mimicry",
        "distant-sensor+body-site",
    ]
    result = audit(SignCommitment(), attacks=attacks, corpus=people)
    bits = {
        a: result.select(attack=a, measure="mutual-information", unit="bit/symbol")[0].value
        for a in attacks
    }
    one, useless, both = (
        bits["distant-sensor"],
        bits["distant-sensor+body-site"],
        bits["distant-sensor+mimicry"],
    )
    assert one is not None
    assert useless is not None
    assert both is not None
    # one look through a channel of error .3 gives .1187 bit, two independent ones .2189
    assert both - one > 0.07
    assert useless > one - 0.01


@dataclass(frozen=True)
class Patchy:
    """People of whom some lack a distant sensor in some sessions."""

    inner: Channel
    without: frozenset[tuple[int, int]]  # (subject, session)
    name: str = "patchy"
    data: str = "simulated"

    def sittings(self) -> list[Sitting]:
        return [
            replace(s, streams=s.streams - {"remote:value"})
            if (s.subject, s.session) in self.without
            else s
            for s in self.inner.sittings()
        ]

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        return self.inner.block(sitting, streams & sitting.streams)

    def describe(self) -> Mapping[str, Any]:
        return {}

    def digest(self) -> str:
        return ""


def odds_of(spy: Spy, people: Patchy) -> Row:
    result = audit(SignCommitment(code="hamming-7-4"), attacks=spy, corpus=people)
    (odds,) = result.select(attack="spy", measure="success-odds", budget=1)
    return odds


@pytest.mark.parametrize("absent", [1, 2])
def test_everyone_without_the_capture_is_counted_as_left_out(absent: int) -> None:
    # two people are two folds: without the one's captures a whole fold is left out
    people = replace(PEOPLE, subjects=2 + absent)
    gone = frozenset((subject, session) for subject in range(absent) for session in range(2))
    odds = odds_of(Spy(sees=frozenset({"remote"})), Patchy(people, gone))
    assert (odds.subjects, odds.attempts) == (2, 8)
    assert odds.reason is not None
    assert f"{4 * absent} attempts left out" in odds.reason


@pytest.mark.parametrize("session", [0, 1])
def test_a_session_without_the_capture_does_not_hide_the_other(session: int) -> None:
    gone = frozenset((subject, session) for subject in range(11))
    spy = Spy(sees=frozenset({"remote"}), likes=frozenset({"history"}))
    odds = odds_of(spy, Patchy(PEOPLE, gone))
    assert odds.attempts == 22
    assert odds.reason is not None
    assert "22 attempts left out" in odds.reason
    assert {s for view, _ in spy.seen for s in view.session.tolist()} == {1 - session}


def test_what_a_device_told_joins_what_a_sensor_told() -> None:
    people = Channel(subjects=40, attempts=5, errors=((DEVICE_B, 0.02), ("remote", 0.2)))
    both = "helper-tamper+distant-sensor"
    result = audit(SignCommitment(code="hamming-7-4"), attacks=both, corpus=people)
    joined, alone = (
        result.select(attack=name, measure="mutual-information", unit="bit/symbol")[0]
        for name in (both, "distant-sensor")
    )
    assert joined.value is not None
    assert alone.value is not None
    assert alone.value > 0.2
    # errors fall on either sign alike, so queries tell nothing of signs
    assert joined.value == pytest.approx(alone.value, abs=0.02)
