"""Every registered scheme under every attack: nothing fails, and what is not measured says why."""

from __future__ import annotations

import pytest

from harness import audit
from harness.plugins import names, resolve
from harness.results import Audit

SCHEMES = list(names("scheme"))


def test_there_are_eight_over_three_signals() -> None:
    assert len(SCHEMES) >= 8
    assert {resolve("scheme", name).value.signal for name in SCHEMES} == {
        "emg",
        "intervals",
        "acceleration",
    }


@pytest.mark.slow
@pytest.mark.parametrize("scheme", SCHEMES)
def test_it_runs_under_every_attack(scheme: str) -> None:
    result: Audit = audit(scheme, subjects=4, sessions=2, attempts=1)
    assert not [r for r in result.rows if r.status == "failed"]
    attacks = {*names("attack"), "relay"}
    odds = {r.attack: r for r in result.select(measure="success-odds") if r.budget in (1, None)}
    assert attacks <= set(odds)
    assert not [name for name in attacks if odds[name].status != "measured"]
    unsaid = [r for r in result.rows if r.status != "measured" and not r.reason]
    assert not unsaid
