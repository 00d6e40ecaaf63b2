"""What an attack did not ask for, shown to it all the same."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np

from harness.checks.attack_case import AttackCase
from harness.contracts import DEVICE_A, Exchange, View
from harness.view import WORDS, Rows, assemble

__all__ = ["everything"]

_ROLES = (
    "mimic", "remote", "other-site", "earlier", "camera", "partner-touch", "handshake", "neighbour",
    "somebody", DEVICE_A,
)  # fmt: skip


def everything(case: AttackCase) -> tuple[View, Rows, list[str]]:
    """The ordinary View with all that the attack has not declared besides, and what that is.

    Captures of other roles are device A's own: whoever reads them answers otherwise. They come by the
    role's name and by "role:signal", of known roles, of one that nobody has heard of, and of the owner's.
    """
    view, rows = case.view
    declared = case.sees | case.likes
    more, _ = case.view_of(declared | WORDS)
    own = _owners(case, rows)
    there = {name.partition(":")[0] for name in view.captures}
    wanted = {name.partition(":")[0] for name in declared}  # that the corpus lacks one is no news
    roles = [role for role in _ROLES if role not in there | wanted]
    kinds = sorted({own.signal, "video"})
    extra = [*roles, *(f"{role}:{kind}" for role in roles for kind in kinds)]
    population = view.population
    if population is None:
        population = more.population if "population" not in declared else None
    else:
        decoys = dict.fromkeys(extra, population.captures[DEVICE_A])
        population = _with_captures(population, decoys)
    history = more.history
    if history is not None and "labels" not in declared and view.history is not None:
        history = replace(history, captures=view.history.captures)
    found = replace(
        view,
        captures={**dict(view.captures), **dict.fromkeys(extra, own)},
        helper=view.helper if "helper" in declared else more.helper,
        population=population,
        history=history,
    )
    return found, rows, [*roles, *sorted(WORDS - declared)]


def _owners(case: AttackCase, rows: Rows) -> Any:
    shell = SimpleNamespace(name=case.plugin, sees=frozenset({DEVICE_A}), likes=frozenset())
    view, found = assemble(
        shell,
        case.scheme,
        case.honest,
        case.stage.captures,
        victims=case.people[0],
        population=np.zeros(0, int),
    )
    capture = view.captures[DEVICE_A]
    place = np.searchsorted(found.attempt, rows.attempt)
    return replace(
        capture,
        samples=capture.samples[place],
        seconds=None if capture.seconds is None else capture.seconds[place],
    )


def _with_captures(population: Exchange, more: dict[str, Any]) -> Exchange:
    return replace(population, captures={**dict(population.captures), **more})
