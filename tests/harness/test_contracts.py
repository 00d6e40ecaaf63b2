"""Types that cross boundaries: read-only, and the same after travelling."""

from __future__ import annotations

import pickle
from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from harness.contracts import (
    EVIDENCE,
    SIDES,
    Belief,
    Capture,
    Estimate,
    Exchange,
    Guesses,
    Linear,
    Sensed,
    View,
    Witness,
    frozen,
)

ONE = np.zeros(2, int)
CAPTURE = Capture(samples=np.zeros((2, 1, 3)), rate_hz=1.0, signal="emg", unit="uV", seconds=np.ones(2))
WITNESS = Witness(
    symbols=np.zeros((2, 3), np.uint8), alphabet=2, acquired=np.ones(2, bool), features=np.ones((2, 3, 1))
)
PAST = Exchange(
    subject=ONE,
    session=ONE,
    captures={"device-a": CAPTURE},
    helper={"a": np.ones(2)},
    witness=WITNESS,
    keys=ONE,
)
EVERY: list[Any] = [
    CAPTURE,
    WITNESS,
    PAST,
    Linear(
        positions=np.zeros((1, 1, 3), int),
        parity=np.ones((2, 3)),
        syndrome=np.ones((2, 1, 2)),
        secret_map=np.ones((1, 3)),
        secret_offset=np.ones((2, 1, 1)),
    ),
    View(
        scheme=None,
        attempts=2,
        subject=ONE,
        session=ONE,
        captures={"mimic": CAPTURE},
        helper={"a": np.ones(2)},
        population=PAST,
        notes={"b": np.ones(2)},
    ),
    Belief(log_prob=np.zeros((2, 3, 2))),
    Guesses(keys=np.zeros((2, 1, 3))),
    Sensed(capture=CAPTURE, attempt=ONE, attacker=ONE),
]


def arrays(value: Any) -> list[np.ndarray[Any, Any]]:
    """Every array inside one of the types."""
    if isinstance(value, np.ndarray):
        return [value]
    inside = (
        [getattr(value, f.name) for f in fields(value)] if hasattr(value, "__dataclass_fields__") else []
    )
    if hasattr(value, "values"):
        inside = list(value.values())
    return [a for part in inside for a in arrays(part)]


@pytest.mark.parametrize("value", EVERY, ids=lambda v: type(v).__name__)
@pytest.mark.parametrize("sent", [False, True])
def test_arrays_are_read_only_here_and_after_travelling(value: Any, sent: bool) -> None:
    got = pickle.loads(pickle.dumps(value)) if sent else value
    found, before = arrays(got), arrays(value)
    assert len(found) == len(before) > 0
    assert not any(a.flags.writeable for a in found)
    assert all(np.array_equal(a, b) for a, b in zip(found, before, strict=True))


def test_the_callers_own_array_stays_writeable() -> None:
    own = np.zeros(3)
    assert not frozen(own).flags.writeable
    own[0] = 1.0


def test_a_mapping_that_was_handed_over_is_not_changed_afterwards() -> None:
    helper = {"a": np.ones(2)}
    view = View(scheme=None, attempts=2, subject=ONE, session=ONE, captures={}, helper=helper)
    helper["b"] = np.ones(2)
    assert set(view.helper) == {"a"}
    with pytest.raises(TypeError):
        view.helper["c"] = np.ones(2)  # type: ignore[index]


def estimate(**changes: Any) -> Estimate:
    sound = {"value": 0.5, "low": 0.4, "high": 0.6, "level": 0.95, "unit": "bit", "side": SIDES[0]}
    more = {"evidence": EVIDENCE[0], "subjects": 1, "attempts": 1, "method": "x"}
    return Estimate(**{**sound, **more, **changes})


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"side": "left"}, "side"),
        ({"evidence": "hope"}, "evidence"),
        ({"level": 1.0}, "level"),
        ({"level": 0.0}, "level"),
    ],
)
def test_an_estimate_says_what_it_bounds_and_rests_on(change: dict[str, Any], field: str) -> None:
    estimate()
    with pytest.raises(ValueError, match=f"`{field}` must"):
        estimate(**change)
