"""Failures that are known, checks by name, and what a missing library means."""

from __future__ import annotations

import sys
from typing import Any

import pytest
from contract_breakers.broken_schemes import WrongInTheLastBit
from contract_breakers.sound_schemes import Plain

from fixtures.controls import Channel
from harness import check_scheme
from harness.errors import UsageError

FAILS = "noise-free-agrees"


def only(scheme: Any, people: Channel, name: str, **known: Any) -> Any:
    return check_scheme(scheme, corpus=people, only=[name], **known)[0]


def test_a_known_failure_is_no_breach(few: Channel) -> None:
    found = only(WrongInTheLastBit(), few, FAILS, known={FAILS: "the last bit is a flag"})
    assert found.status == "known"
    assert found.sentence.endswith("known: the last bit is a flag")
    assert found.where is not None


def test_a_plug_in_may_declare_it(few: Channel) -> None:
    class Declares(WrongInTheLastBit):
        known_failures = {FAILS: "the last bit is a flag"}  # noqa: RUF012 - as a plug-in states it

    assert only(Declares(), few, FAILS).status == "known"


@pytest.mark.parametrize("name", [FAILS, "list-true"])
def test_one_that_does_not_fail_is_a_broken_declaration(name: str, few: Channel) -> None:
    found = only(Plain(), few, name, known={name: "it rained"})
    assert found.status == "broken"
    assert str(found.where) == f"known failures, `{name}`"
    assert "take the declaration away" in found.sentence


def test_one_that_could_not_run_decides_nothing(few: Channel, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "hypothesis", None)
    found = only(Plain(), few, "any-witness-agrees", known={"any-witness-agrees": "it rained"})
    assert found.status == "could-not-run"


@pytest.mark.parametrize(
    "name", ["any-capture-answered", "any-witness-agrees", "helper-noise-stays-in-its-row"]
)
def test_without_hypothesis_it_is_said_how_to_install_it(
    name: str, few: Channel, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "hypothesis", None)
    found = only(Plain(), few, name)
    assert found.status == "could-not-run"
    assert "pip install 'keyassay[check]'" in found.reason


def test_unknown_checks_name_the_nearest(few: Channel) -> None:
    with pytest.raises(
        UsageError, match="no check 'noise-free' of schemes; did you mean 'noise-free-agrees'"
    ):
        only(Plain(), few, "noise-free")
    with pytest.raises(UsageError, match="did you mean 'list-true'"):
        check_scheme(Plain(), known={"list-treu": "it rained"})


@pytest.mark.parametrize("reason", ["", " ", 3])
def test_a_reason_is_asked_for(reason: Any) -> None:
    with pytest.raises(UsageError, match="must give its reason"):
        check_scheme(Plain(), known={FAILS: reason})


def test_a_declaration_of_another_form_is_refused() -> None:
    class Mumbles(Plain):
        known_failures = [FAILS]  # noqa: RUF012 - the mistake

    with pytest.raises(UsageError, match="`known_failures` must map checks to reasons, got list"):
        check_scheme(Mumbles())


def test_a_property_that_raises_is_a_breach_and_not_a_crash(few: Channel) -> None:
    class Shy(Plain):
        @property
        def labels(self) -> Any:
            raise RuntimeError("not today")

        linear = finish = Plain.generate

    found = only(Shy(), few, "disclosure-well-formed")
    assert found.status == "broken"
    assert "RuntimeError: not today" in found.sentence
