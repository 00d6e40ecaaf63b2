"""The list of checks: each is a function whose docstring is the promise."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from harness.errors import UsageError
from harness.plugins import nearest

__all__ = ["Check", "check", "checks_of", "one_of"]


@dataclass(frozen=True, slots=True)
class Check:
    """One promise of the contract, as something that can be run."""

    name: str  # a slug
    kind: str  # "scheme" or "attack"
    promise: str
    run: Callable[[Any], None]  # returns, or raises one of the three of `harness.checks.outcomes`

    def __str__(self) -> str:
        return self.name


_HOMES: Mapping[str, tuple[str, ...]] = {
    "scheme": (
        "forms",
        "sensing",
        "repeating",
        "rows",
        "copies",
        "agreement",
        "disclosing",
        "optional",
        "listing",
        "generated",
        "tidiness",
    ),
    "attack": ("forms", "declaring", "repeating", "acting", "generated", "tidiness"),
}
"""Modules that hold the checks of a kind, in the order in which they are read; tidiness comes last, when
every member has been called."""

_KNOWN: dict[tuple[str, str], Check] = {}


def check(kind: str, name: str) -> Callable[[Callable[[Any], None]], Callable[[Any], None]]:
    """Enter a function into the list of checks of schemes or attacks."""

    def enter(function: Callable[[Any], None]) -> Callable[[Any], None]:
        promise = " ".join((inspect.getdoc(function) or "").split())
        if not promise or (kind, name) in _KNOWN:
            raise ValueError(f"the check {name!r} must state a promise and be there once")
        _KNOWN[kind, name] = Check(name, kind, promise, function)
        return function

    return enter


def checks_of(kind: str) -> tuple[Check, ...]:
    """Every check of a kind, in the order in which they are read."""
    for name in _HOMES[kind]:
        import_module(f"harness.checks.{kind}s.{name}")
    return tuple(c for (of, _), c in _KNOWN.items() if of == kind)


def one_of(kind: str, name: str) -> Check:
    """The check of that name.

    Raises
    ------
    UsageError
        If there is none; the message gives the nearest, or all.
    """
    known = {c.name: c for c in checks_of(kind)}
    if name not in known:
        raise UsageError(f"there is no check {name!r} of {kind}s; {nearest(name, list(known))}")
    return known[name]
