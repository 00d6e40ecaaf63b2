"""A relay gets what the owner's second device gets, as late as it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from active_support import Stage, staged

from fixtures.channel_truths import corrected
from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import DEVICE_B, Array, Capture, Helper, Witness
from harness.relay import DELAYS_S, SHARES, late, relay_rows, relayed
from reports.reading import outcome

PEOPLE = Channel(subjects=6, attempts=3, errors=((DEVICE_B, 0.1),))


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Stage:
    return staged(PEOPLE, SignCommitment(), tmp_path_factory.mktemp("people"))


def series(values: Any, rate_hz: float | None) -> Capture:
    return Capture(samples=np.array(values, float)[:, None, :], rate_hz=rate_hz, signal="value", unit="1")


def test_a_late_device_has_the_rest_of_the_capture() -> None:
    found = late(series([[1, 2, 3, 4], [1, 2, 3, np.nan]], 10.0), 0.2).samples[:, 0]
    np.testing.assert_array_equal(found, [[3, 4, 4, 4], [3, 3, 3, np.nan]])


def test_of_events_those_that_began_before_are_lost() -> None:
    # events begin at 0, 0.8, 1.7 and 2.5 s
    found = late(series([[0.8, 0.9, 0.8, 1.0]], None), 1.0).samples[:, 0]
    np.testing.assert_array_equal(found, [[0.8, 1.0, 1.0, 1.0]])


def test_no_delay_is_the_capture_itself() -> None:
    capture = series([[1, 2]], 10.0)
    assert late(capture, 0.0) is capture


def test_without_delay_the_relay_is_the_owner(stage: Stage) -> None:
    found = relayed(stage.scheme, stage.honest, stage.captures, range(12), 0)
    attempt = np.concatenate([a for a, _ in found])
    shared = np.concatenate([s for _, s in found], axis=1)
    np.testing.assert_array_equal(attempt, np.arange(36))
    np.testing.assert_array_equal(shared[0], stage.honest.agreed)
    # one value a second: half a second is rounded to none, a whole one moves every sign one place on
    (half,), (whole,) = (np.flatnonzero(np.array(DELAYS_S) == d) for d in (0.5, 1.0))
    ran = np.isfinite(shared[whole])
    np.testing.assert_array_equal(shared[half][ran], stage.honest.agreed[ran])
    assert shared[whole][ran].mean() < 0.2  # 12 attempts that agree by chance once in 4096


def test_rows_say_the_odds_and_the_longest_delay_that_works() -> None:
    people = Channel(subjects=60, errors=((DEVICE_B, 0.1),))
    result = audit(SignCommitment(), attacks="relay", corpus=people)
    (odds,) = result.select(attack="relay", measure="success-odds", budget=1)
    (owner,) = result.select(attack=None, measure="key-agreement")
    assert odds.value == owner.value
    assert odds.evidence == "assumed"
    assert odds.low is not None
    assert odds.high is not None
    assert odds.low <= corrected(0.1) <= odds.high
    (budget,) = result.select(attack="relay", measure="relay-time-budget")
    assert (budget.value, budget.low) == (0.5, 0.5)
    assert result.settings["attacks"] == ["relay"]


@dataclass(frozen=True)
class Rounds:
    """Both devices talk at once, and agree where their first signs do."""

    name: str = "rounds"
    key_bits: int = 8
    signal: str = "value"

    def witness(self, capture: Capture) -> Witness:
        x = capture.samples[:, 0, :8]
        return Witness(symbols=(x > 0).astype(np.uint8), alphabet=2, acquired=np.ones(len(x), bool))

    def agree(
        self, a: Witness, b: Witness, *, rng: np.random.Generator
    ) -> tuple[Array, Array, Array, Helper]:
        return a.symbols, b.symbols, (a.symbols == b.symbols).all(axis=1), {}


def test_a_scheme_of_several_rounds_runs_again_with_the_late_device(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    stage = staged(
        Channel(subjects=3, errors=((DEVICE_B, 0.0),)), Rounds(), tmp_path_factory.mktemp("rounds")
    )
    found = relayed(Rounds(), stage.honest, stage.captures, range(6), 0)
    shared = np.concatenate([s for _, s in found], axis=1)
    ran = np.isfinite(shared[1])
    assert shared[0].all()
    assert shared[-2][ran].all()
    assert not shared[-1][ran].any()
    rows, _ = relay_rows(found, stage.honest, scheme="rounds", data="simulated")
    assert {r.attack for r in rows} == {"relay"}


@pytest.mark.parametrize(("error", "said"), [(0.1, 1), (0.5, 0)])
def test_a_relay_that_shares_keys_is_noted_and_another_is_not(error: float, said: int) -> None:
    people = Channel(subjects=12, attempts=10, errors=((DEVICE_B, error),))
    result = audit(SignCommitment(), attacks="relay", corpus=people)
    found = [f for f in result.findings if f.attack == "relay"]
    assert [(f.id, f.severity) for f in found] == [(SHARES, "note")] * said
    verdict = outcome(result, result.schemes[0]["name"], "relay").verdict
    assert (verdict.text == "shares keys as the owner does") == bool(said)
