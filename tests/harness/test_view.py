"""What an adversary may see, and nothing more."""

from __future__ import annotations

import pickle
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fixtures.controls import SignCommitment
from harness.cache import Captures, render
from harness.contracts import DEVICE_A, DEVICE_B, Capture, Exchange, Sensed, Sitting
from harness.exchange import Honest, join, run_block
from harness.view import Unseen, assemble, population_rows, session_ranks, streams_of


@dataclass(frozen=True)
class Tiny:
    """Three people, two sessions of three attempts; the value of a sample tells whose it is."""

    name: str = "tiny"
    data: str = "recorded"
    mimics: tuple[tuple[int, ...], ...] = ((7, 8), (7,), ())  # who copied attempts 0, 1, 2
    extra: tuple[str, ...] = ()

    def sittings(self) -> Sequence[Sitting]:
        streams = {"device-a:value", "device-b:value", "mimic:value", *self.extra}
        return [
            Sitting(subject=p, session=s, attempts=3, streams=frozenset(streams))
            for p in range(3)
            for s in range(2)
        ]

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        found = {}
        for name in streams & sitting.streams:
            role = name.partition(":")[0]
            rows = [(i, -1) for i in range(3)]
            if role == "mimic":
                rows = [(i, m) for i, people in enumerate(self.mimics) for m in people]
            number = 100 * sitting.subject + 10 * sitting.session
            rng = np.random.default_rng(number)
            samples = rng.standard_normal((len(rows), 1, 23))
            for row, (attempt, hand) in enumerate(rows):
                samples[row, 0, 0] = number + attempt + (hand + 1) / 100
            found[name] = Sensed(
                capture=Capture(samples=samples, rate_hz=1.0, signal="value", unit="1"),
                attempt=np.array([r[0] for r in rows], int),
                attacker=np.array([r[1] for r in rows], int),
            )
        return found

    def describe(self) -> Mapping[str, Any]:
        return {}

    def digest(self) -> str:
        return ""


def prepared(corpus: Tiny, folder: Path) -> tuple[Honest, Captures]:
    sittings = corpus.sittings()
    every = frozenset(s for x in sittings for s in x.streams)
    captures = Captures(
        sittings, dict(pair for i, s in enumerate(sittings) for pair in render(corpus, i, s, every, folder))
    )
    blocks = []
    for i, sitting in enumerate(sittings):
        both = {}
        for role in (DEVICE_A, DEVICE_B):
            cached = captures.of(i, f"{role}:value")
            assert cached is not None
            both[role] = cached.load()
        blocks.append(
            run_block(
                SignCommitment(), both, seed=0, sitting=i, subject=sitting.subject, session=sitting.session
            )
        )
    return join("sign-commitment", blocks), captures


@pytest.fixture
def tiny(tmp_path: Path) -> tuple[Honest, Captures]:
    return prepared(Tiny(), tmp_path)


def attack(*sees: str, likes: tuple[str, ...] = ()) -> Any:
    return SimpleNamespace(name="attack", sees=frozenset(sees), likes=frozenset(likes))


def view_of(tiny: tuple[Honest, Captures], asked: Any, subject: int = 1, rank: int | None = None) -> Any:
    honest, captures = tiny
    victims = honest.subject == subject
    if rank is not None:
        victims &= session_ranks(honest) == rank
    others = np.flatnonzero(honest.subject != subject)
    return assemble(
        asked, SignCommitment(), honest, captures, victims=np.flatnonzero(victims), population=others
    )


def test_several_mimics_of_one_attempt_are_several_rows(tiny: tuple[Honest, Captures]) -> None:
    view, rows = view_of(tiny, attack("mimic"))
    assert rows.attacker.tolist() == [7, 8, 7, 7, 8, 7]
    assert (rows.attempt - rows.attempt[0]).tolist() == [0, 0, 1, 3, 3, 4]
    assert view.attempts == 6
    shown = view.captures["mimic"].samples[:, 0, 0]
    assert shown.tolist() == pytest.approx([100.08, 100.09, 101.08, 110.08, 110.09, 111.08])


def test_roles_that_only_some_attempts_have_are_left_out_if_wished_for(
    tiny: tuple[Honest, Captures],
) -> None:
    view, rows = view_of(tiny, attack("helper", likes=("mimic",)))
    assert len(rows.attempt) == 6
    assert dict(view.captures) == {}


def test_only_what_is_asked_for_is_shown(tiny: tuple[Honest, Captures]) -> None:
    view, _ = view_of(tiny, attack("mimic"))
    assert set(view.captures) == {"mimic"}
    assert dict(view.helper) == {}
    assert view.population is None
    assert view.history is None
    view, _ = view_of(tiny, attack("helper"))
    assert set(view.helper) == {"offset"}
    assert dict(view.captures) == {}


def test_the_scheme_shown_is_a_copy(tiny: tuple[Honest, Captures]) -> None:
    honest, captures = tiny
    own = SignCommitment()
    options = {"victims": np.arange(3), "population": np.zeros(0, int)}
    view, _ = assemble(attack("helper"), own, honest, captures, **options)
    assert view.scheme == own
    assert view.scheme is not own


def test_population_is_other_people_with_their_keys(tiny: tuple[Honest, Captures]) -> None:
    view, _ = view_of(tiny, attack("mimic", "population"))
    known: Exchange = view.population
    assert set(known.subject.tolist()) == {0, 2}
    assert set(view.subject.tolist()) == {1}
    assert known.keys is not None
    assert known.witness is not None
    assert set(known.captures) == {DEVICE_A, DEVICE_B, "mimic"}
    rows = {len(c.samples) for c in known.captures.values()} | {len(known.keys), len(known.subject)}
    assert rows == {12}
    # a mimic's row stands beside the device rows of the same attempt
    a, mimic = (known.captures[r].samples[:, 0, 0] for r in (DEVICE_A, "mimic"))
    assert np.array_equal(np.floor(a), np.floor(mimic))


def test_history_holds_earlier_sessions_only_and_hides_keys(tiny: tuple[Honest, Captures]) -> None:
    view, rows = view_of(tiny, attack("history"), rank=1)
    assert set(rows.attempt.tolist()) == {9, 10, 11}
    assert view.history.session.tolist() == [0, 0, 0]
    assert view.history.subject.tolist() == [1, 1, 1]
    assert view.history.keys is None
    assert view.history.witness is None
    assert set(view.history.captures) == {DEVICE_A}
    view, _ = view_of(tiny, attack("history", "labels"), rank=1)
    assert view.history.keys.shape == (3, 12)
    view, _ = view_of(tiny, attack("helper", likes=("history",)), rank=0)
    assert view.history is None


def test_earlier_is_filled_from_the_session_before(tiny: tuple[Honest, Captures]) -> None:
    view, rows = view_of(tiny, attack("earlier"))
    assert rows.attempt.tolist() == [9, 10, 11]  # the first session has no session before it
    assert view.captures["earlier"].samples[:, 0, 0].tolist() == [100.0, 101.0, 102.0]


def test_a_role_that_is_nowhere_is_unseen(tiny: tuple[Honest, Captures]) -> None:
    with pytest.raises(Unseen, match="no capture of role 'remote'"):
        view_of(tiny, attack("remote"))
    honest, captures = tiny
    with pytest.raises(Unseen, match="at least two subjects"):
        assemble(
            attack("population"),
            SignCommitment(),
            honest,
            captures,
            victims=np.arange(6),
            population=np.zeros(0, int),
        )


def test_names_of_roles_with_other_or_several_signals(tmp_path: Path) -> None:
    _, captures = prepared(Tiny(extra=("camera:video", "camera:value", "remote:ecg")), tmp_path)
    scheme = SignCommitment()
    assert streams_of(captures, scheme, "camera") == {"camera": "camera:value"}
    assert streams_of(captures, scheme, "camera:video") == {"camera:video": "camera:video"}
    assert streams_of(captures, scheme, "remote") == {"remote": "remote:ecg"}
    assert streams_of(captures, scheme, "remote:video") == {}


def test_arrays_are_read_only_and_a_view_can_be_sent(tiny: tuple[Honest, Captures]) -> None:
    view, _ = view_of(tiny, attack("mimic", "helper", "population"))
    sent = pickle.loads(pickle.dumps(view))
    assert np.array_equal(sent.captures["mimic"].samples, view.captures["mimic"].samples)
    for one in (view, sent):
        for array in (
            one.subject,
            one.helper["offset"],
            one.captures["mimic"].samples,
            one.population.keys,
        ):
            with pytest.raises(ValueError, match="read-only"):
                array[...] = 0


def test_a_view_does_not_hold_the_keys_it_hides(tiny: tuple[Honest, Captures]) -> None:
    honest, _ = tiny
    view, rows = view_of(tiny, attack("mimic", "helper", "population"))
    keys, sent = honest.keys_a[rows.attempt], pickle.dumps(view)
    assert keys.tobytes() not in sent
    assert honest.a.symbols[rows.attempt].tobytes() not in sent
    assert honest.helper["offset"][rows.attempt].tobytes() in sent  # the same search finds what is there


def test_population_is_capped_and_spread(tiny: tuple[Honest, Captures]) -> None:
    honest, _ = tiny
    chosen = population_rows(honest, np.arange(honest.attempts), seed=0, fold=0)
    assert chosen.tolist() == list(range(18))
