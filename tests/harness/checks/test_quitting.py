"""A plug-in that ends the process breaks a promise; it does not end the checks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from command_line import run
from contract_breakers import quitting
from contract_breakers.sound_schemes import Sound

from fixtures.controls import Channel
from harness import check_attack, check_scheme

SCHEMES = [
    (quitting.QuitsWhenRead, "disclosure-well-formed", "SystemExit: 0"),
    (quitting.QuitsWhenCounted, "corrects-as-stated", "SystemExit: 0"),
    (quitting.QuitsWhenCopied, "survives-pickling", "one that it cannot"),
    (quitting.QuitsWhenPickled, "survives-pickling", "SystemExit: 0"),
    (quitting.QuitsWhenUnpickled, "survives-pickling", "SystemExit: 0"),
    (quitting.QuitsWhenTold, "disclosure-well-formed", "Leaves"),
    (quitting.QuitsWhenNamed, "members-there", "QuitsWhenNamed breaks members-there"),
    (quitting.QuitsWhenItDeclares, "members-there", "`known_failures`"),
]
ATTACKS = [
    (quitting.AttackQuitsWhenCopied, "survives-pickling", "SystemExit: 0"),
    (quitting.AttackQuitsWhenPickled, "survives-pickling", "SystemExit: 0"),
    (quitting.AttackQuitsWhenRated, "potential-rated", "SystemExit: 0"),
    (quitting.AttackQuitsWhenNamed, "members-there", "`name`"),
    (quitting.AttackQuitsWhenItDeclares, "members-there", "`known_failures`"),
]


@pytest.mark.parametrize(("kind", "check", "told"), SCHEMES)
def test_a_scheme_that_quits_breaks_a_promise(kind: Any, check: str, told: str, few: Channel) -> None:
    (found,) = check_scheme(kind(), corpus=few, only=[check])
    assert found.status == "broken"
    assert told in found.sentence


@pytest.mark.parametrize(("kind", "check", "told"), ATTACKS)
def test_an_attack_that_quits_breaks_a_promise(kind: Any, check: str, told: str, few: Channel) -> None:
    (found,) = check_attack(kind(), scheme=Sound(), corpus=few, only=[check])
    assert found.status == "broken"
    assert told in found.sentence


def test_the_command_does_not_end_well(capsys: pytest.CaptureFixture[str]) -> None:
    plugin = f"{Path(quitting.__file__)}:QuitsWhenRead"
    status, out, _ = run(capsys, "check", plugin, "--only", "disclosure-true")
    assert status == 3
    assert "disclosure-true  broken" in out
