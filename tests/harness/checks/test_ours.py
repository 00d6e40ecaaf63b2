"""Our own schemes, attacks and controls under the contract."""

from __future__ import annotations

from typing import Any

import pytest

from fixtures.active_controls import CheckedSigns
from fixtures.controls import CONTROLS, SignCommitment
from harness import check_attack, check_scheme
from harness.plugins import names, resolve

QUICK = [
    "members-there",
    "witness-well-formed",
    "keys-well-formed",
    "helper-well-formed",
    "short-captures-marked",
    "silence-marked",
    "noise-free-agrees",
    "corrects-as-stated",
    "disclosure-true",
    "sensing-time-suffices",
]
QUICK_ATTACKS = ["population", "helper-leak", "past-keys", "key-check", "denial"]
CONTROL_SCHEMES: list[Any] = [
    SignCommitment(),
    SignCommitment(code="hamming-7-4", blocks=3),
    *(CheckedSigns(binds=what) for what in ("nothing", "key", "helper")),
]


def broken(outcomes: Any) -> list[str]:
    return [o.sentence for o in outcomes if o.status not in ("held", "not-applicable")]


@pytest.mark.parametrize("name", names("scheme"))
def test_schemes_keep_what_is_quickly_checked(name: str) -> None:
    assert broken(check_scheme(resolve("scheme", name).value, only=QUICK)) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", names("scheme"))
def test_schemes_keep_every_promise(name: str) -> None:
    assert broken(check_scheme(resolve("scheme", name).value)) == []


@pytest.mark.parametrize("name", QUICK_ATTACKS)
def test_quick_attacks_keep_every_promise(name: str) -> None:
    assert broken(check_attack(resolve("attack", name).value)) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in names("attack") if name not in QUICK_ATTACKS])
def test_attacks_keep_every_promise(name: str) -> None:
    assert broken(check_attack(resolve("attack", name).value)) == []


@pytest.mark.parametrize("scheme", CONTROL_SCHEMES, ids=str)
def test_schemes_of_controls_keep_what_is_quickly_checked(scheme: Any) -> None:
    assert broken(check_scheme(scheme, only=QUICK)) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", CONTROLS)
def test_schemes_of_controls_keep_every_promise_on_their_people(name: str) -> None:
    control = CONTROLS[name]()
    assert broken(check_scheme(control.scheme, corpus=control.corpus)) == []
