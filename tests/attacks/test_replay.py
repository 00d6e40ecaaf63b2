"""Replay: the mean of past recordings where people repeat themselves, the last one where it is all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.replay import Replay, past_mean
from harness.contracts import DEVICE_A, Array, Capture, Exchange, View, Witness

PEOPLE, SESSIONS, TRIES, M = 30, 3, 4, 60


@dataclass(frozen=True)
class Signs:
    """The sign of every sample."""

    def witness(self, capture: Capture) -> Witness:
        x = capture.samples[:, 0]
        return Witness(
            symbols=(x > 0).astype(np.uint8), alphabet=2, acquired=np.ones(len(x), bool),
            features=x[..., None],
        )  # fmt: skip


def capture(samples: Array) -> Capture:
    return Capture(samples=samples[:, None], rate_hz=None, signal="level", unit="V")


def runs(habit: float, seed: int, people: range) -> tuple[Exchange, Array]:
    """Recordings with a share of variance that each person repeats, and what was recorded before each."""
    rng = np.random.default_rng(seed)
    count = len(people)
    motif = rng.standard_normal((count, 1, 1, M))
    fresh = rng.standard_normal((count, SESSIONS + 1, TRIES, M))
    x = np.sqrt(habit) * motif + np.sqrt(1 - habit) * fresh
    now, before = (part.reshape(-1, M) for part in (x[:, 1:], x[:, :-1]))
    subject, session, _ = np.indices((count, SESSIONS, TRIES)).reshape(3, -1)
    return (
        Exchange(
            subject=subject + people.start,
            session=session,
            captures={DEVICE_A: capture(now), "earlier": capture(before)},
            helper={},
            witness=Signs().witness(capture(now)),
            keys=np.zeros((len(now), 1), np.uint8),
        ),
        before,
    )


def gained(habit: float, *, history: bool) -> tuple[float, float]:
    """Bits per symbol that replay tells of the last session, and the standard error over people."""
    population, _ = runs(habit, 1, range(PEOPLE))
    victims, before = runs(habit, 2, range(100, 100 + PEOPLE))
    assert victims.witness is not None
    last = victims.session == SESSIONS - 1
    past = Exchange(
        subject=victims.subject[~last],
        session=victims.session[~last],
        captures={DEVICE_A: capture(victims.captures[DEVICE_A].samples[~last, 0])},
        helper={},
    )
    view = View(
        scheme=Signs(), attempts=int(last.sum()), subject=victims.subject[last],
        session=victims.session[last], captures={"earlier": capture(before[last])}, helper={},
        population=population, history=past if history else None,
    )  # fmt: skip
    belief = Replay().believe(view, rng=np.random.default_rng(3))
    told = np.take_along_axis(belief.log_prob, victims.witness.symbols[last][..., None].astype(int), axis=2)
    person = 1 + told.reshape(PEOPLE, -1).mean(axis=1) / np.log(2)
    return float(person.mean()), float(person.std(ddof=1) / np.sqrt(PEOPLE))


def test_many_recordings_tell_more_of_a_habit_than_one() -> None:
    """Correlation with one recording: h = .4; with the mean of eight: √h √(8h / (1 + 7h)) = .580.

    I(sign; Z) of a Gaussian pair is .0775 bit at the one and .1746 at the other.
    """
    one, many = gained(0.4, history=False), gained(0.4, history=True)
    assert many[0] > one[0] + 4 * np.hypot(one[1], many[1])
    # at most 20 weights fitted on 7200 symbols cost half a nat per 7200 each (Wilks)
    learning = 20 / (2 * 7200 * np.log(2))
    for (value, error), wanted in ((one, 0.0775), (many, 0.1746)):
        assert wanted - learning - 4 * error < value < wanted + 4 * error


def test_no_habit_no_gain() -> None:
    value, error = gained(0.0, history=True)
    assert value < 4 * error


def test_who_repeats_all_is_read_from_the_last_recording() -> None:
    for history in (False, True):
        assert gained(1.0, history=history)[0] > 0.99


def test_means_are_of_the_sessions_before_only() -> None:
    past, _ = runs(0.4, 5, range(3))
    recorded = Signs().witness(past.captures[DEVICE_A])
    assert recorded.features is not None
    found = past_mean(recorded, past, np.array([1, 1, 1]), np.array([0, 1, 2]), sessions=1)
    assert np.isnan(found[0]).all()
    for row, session in ((1, 0), (2, 1)):
        rows = (past.subject == 1) & (past.session == session)
        np.testing.assert_allclose(found[row], recorded.features[rows].mean(axis=0))
    both = past_mean(recorded, past, np.array([1]), np.array([2]), sessions=2)
    rows = (past.subject == 1) & (past.session < 2)
    np.testing.assert_allclose(both[0], recorded.features[rows].mean(axis=0))
