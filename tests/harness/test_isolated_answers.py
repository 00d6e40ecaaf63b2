"""What the process of a stranger's attack says of it, and makes of its tasks, asked in place."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from harness.contracts import Array, Belief, Capture, Guesses
from harness.device import QueriesSpent
from harness.isolated import Task, _Device, _done, _introduced, described
from harness.messages import get, put

RNG = np.random.default_rng(0)
NOBODY: Any = None  # at the other end
GRIP = Capture(signal="force", unit="N", samples=np.ones((2, 3, 1)), rate_hz=100.0)
BEATS = Capture(
    signal="intervals", unit="s", samples=np.ones((2, 3, 1)), rate_hz=None, seconds=np.ones((2, 3))
)


@dataclass
class Pushing:
    """Adds to a sensor."""

    name: str = "pushing"
    sees: frozenset[str] = frozenset()
    strength: tuple[float, str] | None = (2.0, "N")
    wanted: Any = None
    notes: Any = None

    def interfere(self, blanks: Mapping[str, Capture], *, rng: np.random.Generator) -> Any:
        return self.wanted or dict(blanks), self.notes if self.notes is not None else {"why": np.ones(2)}

    def variants(self) -> list[Pushing]:
        return [Pushing(name="weak", strength=(1.0, "N")), Pushing(name="mute", strength=None)]

    def tuned(self, population: Any) -> Pushing:
        return Pushing(name="tuned", notes={"tuned": np.zeros(2)})


@dataclass
class Saying:
    """Believes what it was given."""

    outcome: Any
    name: str = "saying"
    sees: frozenset[str] = frozenset({"helper"})

    def believe(self, view: Any, *, rng: np.random.Generator) -> Any:
        return self.outcome


def test_who_acts_tells_its_strength_and_that_of_its_variants() -> None:
    """The stranger's process does not check: the harness does, at the other end."""
    told = _introduced(Pushing())
    assert (told["interferes"], told["tunes"]) == (True, True)
    assert (told["strength"], told["variants"]) == ([2.0, "N"], [[1.0, "N"], None])
    only_sees = _introduced(Saying(None))
    assert (only_sees["interferes"], only_sees["tunes"], only_sees["strength"]) == (False, False, None)
    assert (only_sees["sees"], only_sees["variants"]) == (["helper"], [])


def test_what_is_added_comes_back_by_role_with_its_notes() -> None:
    header, arrays = _done(Pushing(), Task(rng=RNG, blanks={"a": GRIP}), NOBODY)
    assert header == {"kind": "interference", "roles": ["a"], "notes": ["why"]}
    assert [a.shape for a in arrays] == [(2, 3, 1), (2,)]
    tuned: Any = object()
    header, _ = _done(Pushing(), Task(rng=RNG, blanks={"a": GRIP}, population=tuned), NOBODY)
    assert header["notes"] == ["tuned"]
    header, _ = _done(Pushing(), Task(rng=RNG, blanks={"a": GRIP}, variant=1), NOBODY)
    assert header["notes"] == ["why"]


@pytest.mark.parametrize(
    ("attack", "says"),
    [
        (Pushing(wanted=[GRIP]), "captures by role"),
        (Pushing(wanted={"a": np.ones(3)}), "captures by role"),
        (Pushing(notes=["why"]), "a mapping of notes, got list"),
    ],
)
def test_what_cannot_be_added_is_refused(attack: Pushing, says: str) -> None:
    with pytest.raises(TypeError, match=says):
        _done(attack, Task(rng=RNG, blanks={"a": GRIP}), NOBODY)


def test_beliefs_guesses_and_neither() -> None:
    view: Any = object()
    keys = np.zeros((2, 3, 4), np.uint8)
    header, arrays = _done(Saying(Guesses(keys=keys, work=5.0)), Task(rng=RNG, view=view), NOBODY)
    assert header == {"kind": "guesses", "work": 5.0}
    assert np.array_equal(arrays[0], keys)
    told = np.log(np.full((2, 3, 2), 0.5))
    header, arrays = _done(Saying(Belief(log_prob=told, about="key")), Task(rng=RNG, view=view), NOBODY)
    assert (header["kind"], header["about"]) == ("belief", "key")
    assert np.array_equal(arrays[0], told)
    with pytest.raises(TypeError, match="must return a Belief or Guesses, got dict"):
        _done(Saying({}), Task(rng=RNG, view=view), NOBODY)


def test_a_capture_is_described_with_its_times_or_its_rate() -> None:
    told, arrays = described(GRIP)
    assert (told["rate_hz"], told["timed"], len(arrays)) == (100.0, False, 1)
    told, arrays = described(BEATS)
    assert (told["rate_hz"], told["timed"], len(arrays)) == (None, True, 2)


def device(header: dict[str, Any], arrays: list[Array]) -> tuple[_Device, io.BytesIO]:
    answer, asked = io.BytesIO(), io.BytesIO()
    put(answer, header, arrays)
    answer.seek(0)
    return _Device(answer, asked), asked


def test_a_device_is_asked_with_helper_data_and_a_capture() -> None:
    radio, asked = device({}, [np.array([True, False])])
    helper = {"offset": np.zeros((2, 7), np.uint8)}
    assert radio(helper, GRIP).tolist() == [True, False]
    asked.seek(0)
    header, arrays = get(asked, most=2**20)
    assert (header["kind"], header["helper"]) == ("query", ["offset"])
    assert header["capture"]["signal"] == "force"
    assert [a.shape for a in arrays] == [(2, 7), (2, 3, 1)]
    radio, asked = device({}, [np.array([True])])
    radio(helper)
    asked.seek(0)
    assert get(asked, most=2**20)[0]["capture"] is None


@pytest.mark.parametrize(("spent", "error"), [(True, QueriesSpent), (False, ValueError)])
def test_a_device_that_refuses_says_why(spent: bool, error: type[Exception]) -> None:
    radio, _ = device({"refused": "not today", "spent": spent}, [])
    with pytest.raises(error, match="not today"):
        radio({})
