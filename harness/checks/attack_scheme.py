"""A scheme and people on which an attack is checked."""

from __future__ import annotations

from typing import Any

from harness.checks.sources import chosen_people, given_people, serves
from harness.errors import UsageError
from harness.plugins import names, resolve

__all__ = ["chosen_pair"]

FIRST = "interval-gray"  # quick, and its captures are short


def chosen_pair(scheme: Any, corpus: Any, *, seed: int) -> tuple[Any, Any]:
    """The scheme and the corpus that are given, or registered ones that fit.

    Raises
    ------
    UsageError
        If no registered scheme reads the corpus.
    """
    if scheme is not None:
        found = resolve("scheme", scheme).value
        return found, chosen_people(found, corpus, seed=seed)
    known = sorted(names("scheme"), key=lambda name: name != FIRST)
    if corpus is None:
        first = resolve("scheme", known[0]).value
        return first, chosen_people(first, None, seed=seed)
    people = given_people(corpus, seed=seed)
    for name in known:
        found = resolve("scheme", name).value
        if serves(people, found):
            return found, people
    raise UsageError(f"no registered scheme reads what {people.name} holds: give a scheme that does")
