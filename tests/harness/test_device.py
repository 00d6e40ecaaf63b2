"""A device answers what it is asked, counts, and gives nothing else away."""

from __future__ import annotations

import gc
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pytest
from active_support import Stage, staged

from fixtures.controls import Channel, SignCommitment
from harness.contracts import DEVICE_B, Array, Belief, Capture, Helper, View, Witness
from harness.device import QueriesSpent, device_of

PEOPLE = Channel(subjects=4, attempts=3, errors=((DEVICE_B, 0.05),))
SCHEME = SignCommitment(code="golay-24-12")


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Stage:
    return staged(Channel(**{**vars_of(PEOPLE), "length": 24}), SCHEME, tmp_path_factory.mktemp("people"))


def vars_of(corpus: Channel) -> dict[str, Any]:
    return {name: getattr(corpus, name) for name in corpus.__dataclass_fields__}


def rows_of(stage: Stage) -> tuple[Array, dict[str, Array]]:
    rows = np.arange(stage.honest.attempts)
    return rows, {k: v[rows] for k, v in stage.honest.helper.items()}


def test_the_untouched_helper_data_are_accepted_as_b_accepted_them(stage: Stage) -> None:
    rows, helper = rows_of(stage)
    with device_of(SCHEME, stage.honest, rows) as (device, asked):
        np.testing.assert_array_equal(device(helper), stage.honest.accepted & stage.honest.b.acquired)
    np.testing.assert_array_equal(asked.agreed[0], stage.honest.agreed)
    assert not asked.changed[0].any()


def test_every_call_is_one_query_and_changes_are_counted(stage: Stage) -> None:
    rows, helper = rows_of(stage)
    changed = {"offset": helper["offset"].copy()}
    changed["offset"][:, 0, :9] ^= 1
    with device_of(SCHEME, stage.honest, rows) as (device, asked):
        device(helper)
        accepted = device(changed)
    assert asked.queries == 2
    assert (asked.changed[1] == 9).all()
    word = stage.honest.a.symbols ^ stage.honest.b.symbols
    word[:, :9] ^= 1
    for row in np.flatnonzero(accepted):  # a decoder that corrects three took it for another codeword
        assert not asked.agreed[1][row] or word[row].sum() <= 3


def test_one_query_too_many_is_refused_with_the_number(stage: Stage) -> None:
    rows, helper = rows_of(stage)
    with device_of(SCHEME, stage.honest, rows, limit=2) as (device, asked):
        device(helper)
        device(helper)
        with pytest.raises(QueriesSpent, match="at most 2 times an attempt"):
            device(helper)
    assert asked.queries == 2


def test_a_body_of_ones_own_may_be_put_to_the_device(stage: Stage) -> None:
    rows, helper = rows_of(stage)
    nobody = Capture(samples=np.full((len(rows), 1, 24), np.nan), rate_hz=1.0, signal="value", unit="1")
    with device_of(SCHEME, stage.honest, rows) as (device, asked):
        assert not device(helper, nobody).any()
    assert asked.own_body == [False]


@pytest.mark.parametrize(
    ("helper", "said"),
    [({}, "must be sent offset"), ({"offset": np.zeros((2, 1, 24), np.uint8)}, r"shape \(24, 1, 24\)")],
)
def test_what_no_radio_would_deliver_is_refused(stage: Stage, helper: Helper, said: str) -> None:
    rows, _ = rows_of(stage)
    with device_of(SCHEME, stage.honest, rows) as (device, _), pytest.raises(ValueError, match=said):
        device(helper)


@dataclass
class Brittle:
    """Falls over helper data whose first bit is one."""

    inner: SignCommitment = field(default_factory=lambda: SCHEME)
    name: str = "brittle"

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        if helper["offset"][:, 0, 0].any():
            raise IndexError("no such place")
        return self.inner.reproduce(witness, helper)


def test_a_device_that_falls_over_accepts_nothing_and_spares_its_neighbours(stage: Stage) -> None:
    rows, helper = rows_of(stage)
    with device_of(Brittle(), stage.honest, rows) as (device, _):
        accepted = device(helper)
    falls = helper["offset"][:, 0, 0] == 1
    assert falls.any()
    assert not accepted[falls].any()
    np.testing.assert_array_equal(accepted[~falls], stage.honest.accepted[~falls])


def reachable(start: object, most: int = 20_000) -> list[object]:
    """Everything that references lead to, short of modules and types."""
    found, waiting, known = [], [start], set()
    while waiting and len(found) < most:
        item = waiting.pop()
        if id(item) in known or isinstance(item, type | type(gc)):
            continue
        known.add(id(item))
        found.append(item)
        waiting += gc.get_referents(item)
    return found


def test_nothing_that_the_stub_refers_to_is_a_key_or_bs_body(stage: Stage) -> None:
    rows, helper = rows_of(stage)
    secret = [stage.honest.keys_a, stage.honest.keys_b, stage.honest.b.symbols]
    with device_of(SCHEME, stage.honest, rows) as (device, asked):
        device(helper)
        own = [getattr(device, name) for name in type(device).__slots__]
        arrays = [x for part in own for x in reachable(part) if isinstance(x, np.ndarray)]
    assert not any(a.shape == s.shape and (a == s).all() for a in arrays for s in secret)
    # the search does find them where they lie
    assert any(x is stage.honest.keys_a for x in reachable([stage.honest.keys_a, asked]))


@dataclass(frozen=True)
class Greedy:
    """Asks for ever."""

    name: str = "greedy"
    sees: frozenset[str] = frozenset({"device", "helper"})

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        while view.device is not None:
            view.device(dict(view.helper))
        raise AssertionError


def test_an_attack_that_asks_for_ever_fails_with_the_limit(stage: Stage) -> None:
    answer = stage.pursued(Greedy())
    assert answer.failed is not None
    assert "at most 1000 times" in answer.failed


def test_a_scheme_of_several_rounds_has_no_device(stage: Stage) -> None:
    @dataclass(frozen=True)
    class Rounds:
        name: str = "rounds"
        key_bits: int = 12
        signal: str = "value"

    answer = Stage(Rounds(), stage.honest, stage.disclosure, stage.captures, stage.folds).pursued(Greedy())
    assert answer.untested is not None
    assert "several rounds" in answer.untested


def test_no_key_is_shared_where_a_holds_none(stage: Stage) -> None:
    rows, helper = rows_of(stage)
    a = replace(stage.honest.a, acquired=np.arange(len(rows)) > 0)
    with device_of(SCHEME, replace(stage.honest, a=a), rows) as (device, asked):
        accepted = device(helper)
    assert stage.honest.agreed[0]
    assert accepted[0]
    assert not asked.agreed[0][0]
    np.testing.assert_array_equal(asked.agreed[0][1:], stage.honest.agreed[1:])
