"""What an attack leaves as it found it."""

from __future__ import annotations

import copy
from dataclasses import replace

from harness.checks.attack_case import AttackCase
from harness.checks.handing import bytes_of, exposed, writeable
from harness.checks.outcomes import Breach
from harness.checks.registry import check
from harness.contracts import View

__all__: list[str] = []


def _bytes(view: View) -> dict[str, bytes]:
    return bytes_of(replace(view, scheme=None, device=None))


@check("attack", "inputs-untouched")
def inputs_untouched(case: AttackCase) -> None:
    """Everything in a View stays as it is, and may be read-only."""
    _ = case.raw
    view, rows = case.view
    shown = exposed(view)
    before = _bytes(shown)
    case.believe(shown, rows, case.rng("believe"), as_it_is=True)
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


def _watched(case: AttackCase, kind: str) -> None:
    """Every call so far, and what it does to sensors."""
    _ = case.raw
    if case.acts:
        blanks = writeable(case.blanks())
        case.ask("interfere()", copy.deepcopy(case.fitted).interfere, blanks, rng=case.rng("interfere"))
    case.watch.judge(kind)


@check("attack", "random-state-untouched")
def random_state_untouched(case: AttackCase) -> None:
    """Global random state is neither drawn from nor set: neither numpy's nor that of `random`."""
    _watched(case, "random state")


@check("attack", "environment-untouched")
def environment_untouched(case: AttackCase) -> None:
    """The process stays as it is: environment variables, working directory, import path, warnings
    filters, numpy's error state, umask, standard output and error; no thread is left running.
    """
    _watched(case, "environment")


@check("attack", "files-untouched")
def files_untouched(case: AttackCase) -> None:
    """No file is left behind, changed or removed, wherever it lies; one that is made and removed again is
    fine.
    """
    _watched(case, "files")
