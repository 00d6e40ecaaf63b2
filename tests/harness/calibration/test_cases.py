"""What is calibrated: registered controls and flaws, and the names by which some are chosen."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

import pytest
from made_up_trials import alone, control

from harness import plugins
from harness.calibration.cases import Case, cases_of, registered, trial_seed
from harness.calibration.model import Flaw
from harness.errors import UsageError


def flaw(name: str) -> Flaw:
    return Flaw(
        planted=control(name, sound=False),
        twin=control(f"{name}-twin", sound=True),
        found_by=frozenset({"right"}),
        met="nowhere",
    )


CONTROLS = [control("first", sound=True), control("second", sound=False)]


def test_a_flaw_brings_its_twin_along() -> None:
    found = cases_of(CONTROLS, [flaw("leak")])
    assert [(case.name, case.role) for case in found] == [
        ("first", "control"),
        ("second", "control"),
        ("leak", "planted"),
        ("leak-twin", "twin"),
    ]
    line = found[-1].line
    assert (line.name, line.role, line.flaw, line.met, line.sound) == (
        "leak-twin",
        "twin",
        "leak",
        "nowhere",
        True,
    )
    assert (found[0].line.flaw, found[0].line.met) == (None, None)


@pytest.mark.parametrize(
    ("only", "kept"),
    [
        (("second",), ["second"]),
        (("leak",), ["leak", "leak-twin"]),
        (("leak-twin",), ["leak-twin"]),
        (("leak", "first"), ["first", "leak", "leak-twin"]),
    ],
)
def test_names_choose(only: tuple[str, ...], kept: list[str]) -> None:
    assert [case.name for case in cases_of(CONTROLS, [flaw("leak")], only)] == kept


def test_unknown_and_double_names_are_refused() -> None:
    with pytest.raises(UsageError, match="got 'secnd': the nearest is 'second'; `keyassay list`") as error:
        cases_of(CONTROLS, [], ["secnd"])
    assert "\n" not in str(error.value)
    many = [control(f"some-control-{k}", sound=True) for k in range(80)]
    with pytest.raises(UsageError, match="got 'zzz': the nearest is 'some-control-") as error:
        cases_of(many, [], ["zzz"])
    assert len(str(error.value)) < 150
    with pytest.raises(UsageError, match="got 'zzz': there is none"):
        cases_of([], [], ["zzz"])
    with pytest.raises(UsageError, match="a name of its own, got 'first' twice"):
        cases_of([*CONTROLS, CONTROLS[0]], [])
    with pytest.raises(UsageError, match="found none"):
        cases_of([], [])


def test_seeds_hang_on_names_alone() -> None:
    one, other = alone("one", sound=True), alone("other", sound=True)
    seeds = {trial_seed(s, case, r) for s in (0, 1) for case in (one, other) for r in range(3)}
    assert len(seeds) == 12
    assert trial_seed(0, one, 2) == trial_seed(0, alone("one", sound=False), 2)
    assert all(0 <= seed < 2**48 for seed in seeds)


def test_what_is_registered_is_what_it_says() -> None:
    found = registered("control")
    assert [c.name for c in found] == sorted(plugins.names("control"))
    assert all(isinstance(made, Flaw) for made in registered("flaw"))
    assert isinstance(cases_of(found, registered("flaw"))[0], Case)


class Entry:
    def __init__(self, made: Callable[[], Any]) -> None:
        self.made = made

    def load(self) -> Callable[[], Any]:
        return self.made


def broken() -> Any:
    raise RuntimeError("out of order")


@pytest.mark.parametrize(
    ("made", "says"),
    [
        (broken, "must be made by a function without arguments, got RuntimeError: out of order"),
        (sys.exit, "must be made by a function without arguments, got SystemExit"),
        (lambda: 3, "'odd' must be a Control, got int"),
    ],
)
def test_a_stranger_that_makes_something_else_is_refused(
    made: Callable[[], Any], says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plugins, "names", lambda kind: {"odd": Entry(made)})
    with pytest.raises(UsageError, match=says):
        registered("control")
