"""Checks around every plug-in call: what passes, and what is named when it does not."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixtures.controls import Channel
from harness import validate
from harness.contracts import ABORTED, Belief, Capture, Guesses, Linear, Witness
from harness.errors import ContractError

EVEN = np.full((2, 3, 4), np.log(0.25))


def refused(field: str, call: Any, *arguments: Any) -> str:
    with pytest.raises(ContractError) as told:
        call("plug-in", *arguments)
    assert told.value.plugin == "plug-in"
    assert told.value.field == field
    assert "\n" not in str(told.value)
    return str(told.value)


def capture(**changes: Any) -> Capture:
    return Capture(
        **{"samples": np.zeros((2, 1, 5)), "rate_hz": 10.0, "signal": "emg", "unit": "uV", **changes}
    )


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"samples": np.zeros((2, 5))}, "samples"),
        ({"samples": np.zeros((2, 1, 5), np.float32)}, "samples"),
        ({"samples": np.zeros((2, 1, 0))}, "samples"),
        ({"samples": np.zeros((2, 0, 5))}, "samples"),
        ({"samples": np.full((2, 1, 5), -np.inf)}, "samples"),
        ({"rate_hz": 0.0}, "rate_hz"),
        ({"rate_hz": np.nan}, "rate_hz"),
        ({"rate_hz": np.inf}, "rate_hz"),
        ({"seconds": np.ones(3)}, "seconds"),
        ({"seconds": np.array([1.0, np.nan])}, "seconds"),
        ({"seconds": np.array([1.0, -1.0])}, "seconds"),
    ],
)
def test_captures_that_are_none(changes: dict[str, Any], field: str) -> None:
    refused(field, validate.capture, capture(**changes))


def test_captures_may_end_early_and_be_series_of_events() -> None:
    short = np.array([[[1.0, 2.0, np.nan]]])
    for sound in (capture(), capture(samples=short), capture(rate_hz=None), capture(seconds=np.zeros(2))):
        assert validate.capture("plug-in", sound) is sound


def witness(**changes: Any) -> Witness:
    sound = {"symbols": np.ones((2, 3), np.uint8), "alphabet": 4, "acquired": np.ones(2, bool)}
    return Witness(**{**sound, **changes})


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"symbols": np.ones((3, 3), np.uint8)}, "symbols"),
        ({"symbols": np.ones(2, np.uint8)}, "symbols"),
        ({"symbols": np.ones((2, 0), np.uint8)}, "symbols"),
        ({"symbols": np.ones((2, 3))}, "symbols"),
        ({"symbols": np.full((2, 3), 4)}, "symbols"),
        ({"symbols": np.full((2, 3), -1)}, "symbols"),
        ({"symbols": [[1, 1, 1]] * 2}, "symbols"),
        ({"alphabet": 1}, "alphabet"),
        ({"alphabet": 257}, "alphabet"),
        ({"alphabet": 4.0}, "alphabet"),
        ({"acquired": np.ones(2)}, "acquired"),
        ({"acquired": np.ones((2, 1), bool)}, "acquired"),
        ({"features": np.ones((2, 2, 1))}, "features"),
        ({"features": np.ones((2, 3, 1), int)}, "features"),
        ({"features": np.full((2, 3, 1), np.nan)}, "features"),
    ],
)
def test_witnesses_that_are_none(changes: dict[str, Any], field: str) -> None:
    refused(field, validate.witness, witness(**changes), 2)


def test_a_witness_is_cleaned_and_read_only() -> None:
    wide = witness(symbols=np.full((2, 3), 3, np.int64), alphabet=np.int64(4))
    clean = validate.witness("plug-in", wide, 2)
    assert clean.symbols.dtype == np.uint8
    assert type(clean.alphabet) is int
    assert not clean.symbols.flags.writeable
    # an attempt that was not acquired need not have features
    gone = np.ones((2, 3, 1))
    gone[1] = np.nan
    validate.witness("plug-in", witness(features=gone, acquired=np.array([True, False])), 2)


@given(values=st.lists(st.integers(-2, 3), min_size=4, max_size=4))
def test_keys_are_bits(values: list[int]) -> None:
    keys = np.array([values])
    if set(values) <= {0, 1}:
        assert validate.key_bits("plug-in", "keys", keys, 1, 4).tolist() == [values]
    else:
        assert "the value" in refused("keys", validate.key_bits, "keys", keys, 1, 4)


@pytest.mark.parametrize(
    ("helper", "field"),
    [
        ([], "helper"),
        ({1: np.zeros(2)}, "helper"),
        ({"\ud800": np.zeros(2)}, "helper"),
        ({"a": np.zeros(3)}, "helper['a']"),
        ({"a": np.float64(1)}, "helper['a']"),
        ({"a": [0, 0]}, "helper['a']"),
        ({"a": np.array([{}, {}])}, "helper['a']"),
        ({"a": np.array(["x", "y"])}, "helper['a']"),
        ({ABORTED: np.zeros(2)}, "helper['aborted']"),
        ({ABORTED: np.zeros((2, 1), bool)}, "helper['aborted']"),
    ],
)
def test_helper_data_that_are_none(helper: Any, field: str) -> None:
    refused(field, validate.helper_data, helper, 2)


def test_helper_data_are_read_only_and_of_one_layout() -> None:
    clean = validate.helper_data("plug-in", {"a": np.zeros((2, 3)), ABORTED: np.zeros(2, bool)}, 2)
    assert not any(array.flags.writeable for array in clean.values())
    validate.same_helper_layout("plug-in", clean, {"a": np.ones((5, 3)), ABORTED: np.ones(5, bool)})
    for other in ({"a": np.ones((5, 3))}, {"a": np.ones((5, 2)), ABORTED: np.ones(5, bool)}):
        refused("helper", validate.same_helper_layout, clean, other)


def linear(**changes: Any) -> Linear:
    sound = {
        "positions": np.array([[[0, 1, -1]]]),
        "parity": np.ones((2, 3), np.uint8),
        "syndrome": np.zeros((2, 1, 2), np.uint8),
        "secret_map": np.ones((1, 3), np.uint8),
        "secret_offset": np.zeros((2, 1, 1), np.uint8),
    }
    return Linear(**{**sound, **changes})


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"positions": np.array([[[0, 1]]])}, "positions"),
        ({"positions": np.array([[[0, 1, 6]]])}, "positions"),
        ({"positions": np.array([[[0, 1, -2]]])}, "positions"),
        ({"positions": np.array([[[0.0, 1, 2]]])}, "positions"),
        ({"positions": np.zeros((3, 1, 3), int)}, "positions"),
        ({"parity": np.full((2, 3), 2)}, "parity"),
        ({"syndrome": np.zeros((2, 2, 2), np.uint8)}, "syndrome"),
        ({"secret_map": np.ones((1, 2), np.uint8)}, "secret_map"),
        ({"secret_offset": np.zeros((2, 1, 2), np.uint8)}, "secret_offset"),
    ],
)
def test_disclosures_that_are_none(changes: dict[str, Any], field: str) -> None:
    validate.linear("plug-in", linear(), 2, 6)
    refused(field, validate.linear, linear(**changes), 2, 6)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"log_prob": EVEN[:, :2]}, "log_prob"),
        ({"log_prob": EVEN - 0.1}, "log_prob"),
        ({"log_prob": np.full_like(EVEN, np.nan)}, "log_prob"),
        ({"log_prob": np.full_like(EVEN, -np.inf)}, "log_prob"),
        ({"log_prob": np.full(EVEN.shape, 0.25)}, "log_prob"),
        ({"log_prob": EVEN.astype(int)}, "log_prob"),
        ({"about": "keys"}, "about"),
        ({"about": np.zeros(2)}, "about"),
        ({"work": np.nan}, "work"),
        ({"work": -1}, "work"),
        ({"work": "2"}, "work"),
    ],
)
def test_beliefs_that_are_none(changes: dict[str, Any], field: str) -> None:
    refused(field, validate.belief, Belief(**{"log_prob": EVEN, **changes}), 2, 3, 4)


def test_a_certain_belief_passes() -> None:
    sure = np.full((1, 1, 2), -np.inf)
    sure[..., 0] = 0.0
    assert validate.belief("plug-in", Belief(log_prob=sure), 1, 1, 2).log_prob.tolist() == sure.tolist()


@pytest.mark.parametrize(
    "shape", [(2, 0, 4), (2, validate.MAX_GUESSES + 1, 4), (2, 1, 3), (1, 1, 4), (2, 4)]
)
def test_guesses_that_are_none(shape: tuple[int, ...]) -> None:
    validate.guesses("plug-in", Guesses(keys=np.ones((2, validate.MAX_GUESSES, 4), bool)), 2, 4)
    refused("keys", validate.guesses, Guesses(keys=np.ones(shape, np.uint8)), 2, 4)


@pytest.mark.parametrize("role", ["device-a", "device-b", "device-a:emg"])
@pytest.mark.parametrize("field", ["sees", "likes"])
def test_nobody_attacks_from_the_owners_own_sensor(role: str, field: str) -> None:
    asked = {"sees": frozenset({"mimic"}), "likes": frozenset(), field: frozenset({role})}
    with pytest.raises(ContractError, match=f"`{field}`.*the owner's '{role}'"):
        validate.attack_members(SimpleNamespace(name="x", believe=print, **asked))


def test_a_corpus_has_its_members() -> None:
    people = Channel()
    assert validate.corpus_members(people) is people
    with pytest.raises(ContractError, match="`data` must be"):
        validate.corpus_members(SimpleNamespace(name="x", data="made up"))
    with pytest.raises(ContractError, match="`sittings` must be a method"):
        validate.corpus_members(SimpleNamespace(name="x", data="recorded"))
