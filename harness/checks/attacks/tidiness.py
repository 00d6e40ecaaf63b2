"""What an attack leaves as it found it."""

from __future__ import annotations

import copy
from dataclasses import fields, replace
from typing import Any

import numpy as np

from harness.checks import surroundings
from harness.checks.attack_case import AttackCase
from harness.checks.handing import bytes_of, writeable
from harness.checks.outcomes import Breach
from harness.checks.registry import check
from harness.contracts import Exchange, View

__all__: list[str] = []


def _exposed(value: Any) -> Any:
    """A View or Exchange in which every array can be written to."""
    if isinstance(value, View | Exchange):
        made = object.__new__(type(value))
        for f in fields(value):  # past the constructor, which would switch the write flag off
            object.__setattr__(made, f.name, _exposed(getattr(value, f.name)))
        return made
    return writeable(value)


def _bytes(view: View) -> dict[str, bytes]:
    return bytes_of(replace(view, scheme=None, device=None))


@check("attack", "inputs-untouched")
def inputs_untouched(case: AttackCase) -> None:
    """Everything in a View stays as it is, and may be read-only."""
    view, rows = case.view
    shown = _exposed(view)
    before = _bytes(shown)
    case.believe(shown, rows, case.rng("believe"))
    after = _bytes(shown)
    for name, held in before.items():
        if after.get(name) != held:
            raise Breach("believe()", f"view.{name}", "its bytes as they were", "others")
    if case.acts:
        blanks = writeable(case.blanks())
        kept = bytes_of(blanks)
        copy.deepcopy(case.fitted).interfere(blanks, rng=case.rng("interfere"))
        changed = [name for name, held in bytes_of(blanks).items() if kept.get(name) != held]
        if changed:
            raise Breach("interfere()", f"captures.{changed[0]}", "its bytes as they were", "others")


def _ask(case: AttackCase) -> Any:
    view, rows = case.view
    shown = _exposed(view)  # whoever writes to it breaks another promise
    own = copy.deepcopy(case.fitted) if not case.unsent else case.fitted
    _ = np.random.Generator  # loaded before anything is watched
    return lambda: case.believe(shown, rows, case.rng("believe"), attack=own)


@check("attack", "random-state-untouched")
def random_state_untouched(case: AttackCase) -> None:
    """Global random state is neither drawn from nor set: neither numpy's nor that of `random`."""
    _ = case.raw
    surroundings.keeps_random_state("believe()", _ask(case))


@check("attack", "environment-untouched")
def environment_untouched(case: AttackCase) -> None:
    """The process stays as it is: environment variables, working directory, import path, warnings filters,
    numpy's error state, umask; no thread is left running.
    """
    _ = case.raw
    surroundings.keeps_environment("believe()", _ask(case))


@check("attack", "files-untouched")
def files_untouched(case: AttackCase) -> None:
    """No file is left behind, changed or removed, wherever it lies; what was made and removed again is
    fine.
    """
    _ = case.raw
    surroundings.keeps_files("believe()", _ask(case))
