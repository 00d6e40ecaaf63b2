"""What an attack writes to a sensor reaches A and B, within the sensor's range, and nobody else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from active_support import Pushes, Stage, staged

from attacks.injection import Injection
from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import DEVICE_A, DEVICE_B, Array, Belief, Capture, View
from harness.interference import device_ranges, disturbed, few_per_sitting, with_runs

PEOPLE = Channel(subjects=6, attempts=3, errors=((DEVICE_B, 0.0), ("remote", 0.2)))


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Stage:
    return staged(PEOPLE, SignCommitment(), tmp_path_factory.mktemp("people"))


def test_an_attack_is_shown_the_shape_of_every_sensor_and_no_signal(stage: Stage) -> None:
    spy = Pushes()
    stage.pursued(spy)
    blanks = spy.seen[0]
    assert set(blanks) == {DEVICE_A, DEVICE_B, "remote"}
    for blank in blanks.values():
        assert blank.samples.shape == (18, 1, 23)
        assert not blank.samples.any()
        assert (blank.rate_hz, blank.signal, blank.unit) == (1.0, "value", "1")


def test_what_is_added_is_cut_to_the_greatest_value_ever_recorded(stage: Stage) -> None:
    limits = device_ranges(stage.scheme, stage.captures)
    everything = np.concatenate([c.load().samples.ravel() for c in stage.captures.streams.values()])
    for low, high in limits.values():
        assert (low, high) == (everything.min(), everything.max())  # both devices see the same values here
    capture = Capture(samples=np.array([[[-1.0, 0.5, np.nan]]]), rate_hz=1.0, signal="value", unit="1")
    found = disturbed(
        capture, np.array([[[9.0, 9.0, 9.0]], [[-0.5, 0.25, 9.0]]]), np.array([1]), (-1.2, 0.6)
    )
    np.testing.assert_array_equal(found.samples, [[[-1.2, 0.6, np.nan]]])


def test_longer_intervals_take_longer() -> None:
    beats = np.array([[[0.8, 0.9, np.nan]], [[0.7, 0.8, 0.9]]])
    capture = Capture(
        samples=beats, rate_hz=None, signal="intervals", unit="s", seconds=np.array([2.0, 2.5])
    )
    found = disturbed(capture, np.full((2, 1, 3), 0.25), np.arange(2), (0.5, 1.1))
    assert found.seconds is not None
    np.testing.assert_allclose(found.seconds, [2.45, 3.2])  # .9 reaches the end of the range, 1.1


def test_both_devices_run_again_on_what_they_now_sense(stage: Stage) -> None:
    answer = stage.pursued(Pushes({DEVICE_A: 50.0, DEVICE_B: 50.0}))
    (act,) = answer.acts
    assert act.runs is not None
    assert act.runs.a.symbols.all()
    assert act.runs.b.symbols.all()
    assert act.agreed.all()
    lonely = stage.pursued(Pushes({DEVICE_B: 50.0})).acts[0]
    assert lonely.runs is not None
    np.testing.assert_array_equal(lonely.runs.a.symbols, stage.honest.a.symbols[lonely.attempt])
    assert not lonely.agreed.any()


def test_the_attack_is_judged_by_the_keys_of_the_disturbed_runs(stage: Stage) -> None:
    """A knows-it-all of the witness has every key of the disturbed runs and none of the honest ones."""

    @dataclass(frozen=True)
    class Knows(Pushes):
        def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
            one = np.zeros((view.attempts, 23, 2))
            one[:, :, 0] = -np.inf
            return Belief(log_prob=one)

    answer = stage.pursued(Knows({DEVICE_A: 50.0, DEVICE_B: 50.0}))
    assert answer.scores is not None
    assert (answer.scores.ranks.success(1, offline=False)[0] == 1).all()
    mixed = with_runs(stage.honest, answer.acts)
    inside = np.isin(stage.honest.subject, stage.folds[0])
    assert (mixed.keys_a[inside] != stage.honest.keys_a[inside]).any(axis=1).all()
    np.testing.assert_array_equal(mixed.keys_a[~inside], stage.honest.keys_a[~inside])


def test_people_learned_from_are_not_disturbed_and_coins_are_salted_anew(stage: Stage) -> None:
    spy = Pushes({DEVICE_A: 50.0, DEVICE_B: 50.0})
    stage.pursued(spy)
    view = spy.seen[1]
    others = np.flatnonzero(np.isin(stage.honest.subject, stage.folds[1]))
    np.testing.assert_array_equal(view.population.keys, stage.honest.keys_a[others])
    assert view.population.captures[DEVICE_A].samples.min() < 0
    victims = np.flatnonzero(np.isin(stage.honest.subject, stage.folds[0]))
    np.testing.assert_array_equal(view.notes["row"], np.arange(18))
    assert not (view.helper["offset"] == stage.honest.helper["offset"][victims]).all(axis=(1, 2)).any()


def test_what_it_adds_to_its_own_sensor_it_sees_there(stage: Stage) -> None:
    without, with_push = Pushes(), Pushes({"remote": 7.0})
    stage.pursued(without)
    answer = stage.pursued(with_push)
    before, after = (spy.seen[1].captures["remote"].samples for spy in (without, with_push))
    np.testing.assert_allclose(after - before, 7.0)
    np.testing.assert_array_equal(answer.acts[0].agreed, stage.honest.agreed[answer.acts[0].attempt])


def test_who_adds_nothing_leaves_the_honest_runs(stage: Stage) -> None:
    answer = stage.pursued(Pushes())
    assert answer.acts[0].runs is None
    assert with_runs(stage.honest, answer.acts) is stage.honest


def test_a_few_attempts_of_every_sitting_are_the_first(stage: Stage) -> None:
    few = few_per_sitting(stage.honest, np.arange(stage.honest.attempts))
    assert (stage.honest.local[few] == 0).all()
    assert set(stage.honest.sitting[few]) == set(range(12))


def bad(value: Any) -> Any:
    @dataclass(frozen=True)
    class Bad(Pushes):
        def interfere(
            self, captures: Mapping[str, Capture], *, rng: np.random.Generator
        ) -> tuple[Mapping[str, Capture], Mapping[str, Array]]:
            found: tuple[Mapping[str, Capture], Mapping[str, Array]] = value(captures)
            return found

    return Bad()


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (lambda c: c, "a tuple of 2"),
        (lambda c: ({"camera": c[DEVICE_A]}, {}), "about device-a, device-b, remote"),
        (lambda c: ({DEVICE_A: replace(c[DEVICE_A], samples=np.zeros((18, 1, 22)))}, {}), "(18, 1, 23)"),
        (lambda c: ({DEVICE_A: replace(c[DEVICE_A], samples=c[DEVICE_A].samples + np.inf)}, {}), "finite"),
        (lambda c: ({}, {"n": np.zeros(3)}), "notes of 18 rows"),
        (lambda c: ({}, [1]), "a mapping of notes"),
    ],
)
def test_what_cannot_be_added_fails_the_attack_with_a_sentence(stage: Stage, value: Any, said: str) -> None:
    answer = stage.pursued(bad(value))
    assert answer.failed is not None
    assert said in answer.failed


def test_past_sessions_are_not_shown_to_who_disturbs_them(stage: Stage) -> None:
    answer = stage.pursued(replace(Pushes(), sees=frozenset({"history", "population"})))
    assert answer.untested is not None
    assert "no history" in answer.untested


def test_the_same_seed_gives_the_same_bytes_for_one_job_and_two(tmp_path: Path) -> None:
    attacks = [Injection(), "relay"]
    size = replace(PEOPLE, subjects=3, sessions=1, attempts=2)
    one, two = (audit(SignCommitment(), attacks=attacks, corpus=size, jobs=n).to_json() for n in (1, 2))
    assert one == two
