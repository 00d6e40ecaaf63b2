"""What is audited again and again: registered controls, planted flaws and their twins."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from harness import plugins
from harness.calibration.lines import CaseLine
from harness.calibration.model import Control, Flaw
from harness.errors import UsageError
from harness.streams import stream

__all__ = ["Case", "cases_of", "registered", "trial_seed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A control, and the flaw that it is a side of, if it is one."""

    control: Control
    role: str  # "control", "planted" or "twin"
    flaw: Flaw | None = None

    @property
    def name(self) -> str:
        return self.control.name

    @property
    def line(self) -> CaseLine:
        """What is said of it in the record."""
        return CaseLine(
            name=self.name,
            role=self.role,
            flaw=None if self.flaw is None else self.flaw.name,
            sound=self.control.sound,
            summary=self.control.summary,
            met=None if self.flaw is None else self.flaw.met,
            attacks=len(self.control.attacks),
        )


def registered(kind: str) -> list[Any]:
    """What the entry points of a kind make: controls or flaws, in order of their names.

    Raises
    ------
    UsageError
        If one cannot be loaded, or makes something else.
    """
    wanted = {"control": Control, "flaw": Flaw}[kind]
    found = []
    for name, entry in plugins.names(kind).items():
        try:
            made = entry.load()()
        except (Exception, SystemExit) as error:  # a stranger's factory may raise anything, and may exit
            raise UsageError(
                f"the {kind} {name!r} must be made by a function without arguments, "
                f"got {type(error).__name__}: {error}"
            ) from error
        if not isinstance(made, wanted):
            raise UsageError(
                f"the {kind} {name!r} must be a {wanted.__name__}, got {type(made).__name__}: register a "
                f"function that returns one"
            )
        found.append(made)
    return found


def cases_of(controls: Iterable[Control], flaws: Iterable[Flaw], only: Sequence[str] = ()) -> list[Case]:
    """Controls, then each flaw and its twin.

    Parameters
    ----------
    only : sequence of str
        Names to keep. That of a flaw keeps its twin too. Empty: all.

    Raises
    ------
    UsageError
        If a name is unknown or used twice, or nothing is left.
    """
    found = [Case(control=c, role="control") for c in controls]
    for flaw in flaws:
        found += [Case(control=flaw.planted, role="planted", flaw=flaw)]
        found += [Case(control=flaw.twin, role="twin", flaw=flaw)]
    names = [case.name for case in found]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise UsageError(f"each control and twin must have a name of its own, got {twice[0]!r} twice")
    unknown = [name for name in only if name not in names]
    if unknown:
        raise UsageError(
            f"`only` must name a control or a flaw, got {unknown[0]!r}: {_nearest(unknown[0], names)}; "
            f"`keyassay list` shows them all"
        )
    kept = [
        case
        for case in found
        if not only or case.name in only or (case.flaw is not None and case.flaw.name in only)
    ]
    if not kept:
        raise UsageError("at least one control or flaw must be registered, found none")
    return kept


def _nearest(word: str, names: Sequence[str]) -> str:
    close = difflib.get_close_matches(word, names, n=1, cutoff=0.0)
    return f"the nearest is {close[0]!r}" if close else "there is none"


def trial_seed(seed: int, case: Case, repetition: int) -> int:
    """The seed of one trial: it depends on the names alone, so that a case more changes no other.

    It has 48 bits, which every reader of JSON keeps whole.
    """
    return int(stream(seed, "calibration", case.role, case.name, repetition).integers(2**48))
