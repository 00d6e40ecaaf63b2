"""Only what is declared is used, and what is merely wished for may be missing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from harness.checks.alike import same_answers
from harness.checks.answers import sound
from harness.checks.attack_case import AttackCase
from harness.checks.outcomes import Breach, NotApplicable, at
from harness.checks.registry import check
from harness.checks.undeclared import everything
from harness.contracts import Exchange

__all__: list[str] = []


@check("attack", "wishes-may-be-missing")
def wishes_may_be_missing(case: AttackCase) -> None:
    """What `likes` names makes no attack fail if it is not there."""
    if not case.likes - case.sees:
        raise NotApplicable("the attack has no wishes beyond what it needs")
    _ = case.answer
    view, rows = case.view_of(case.sees)
    with at("believe()"):
        answer = case.believe(view, rows, case.rng("believe"), device=case.asks and "device" in case.sees)
        sound(case, answer, view)


@check("attack", "undeclared-changes-nothing")
def undeclared_changes_nothing(case: AttackCase) -> None:
    """The answer is the same whether or not the View holds what neither `sees` nor `likes` names: other
    roles, helper data, people, history, past keys.
    """
    view, rows, extra = everything(case)
    if not extra:
        raise NotApplicable("the attack declares everything")
    _ = case.answer
    with at("believe()"):
        found = sound(case, case.believe(view, rows, case.rng("believe")), view)
    same_answers(case.answer, found, when=f"whether or not {', '.join(extra)} are shown")


class _Watched(Mapping[str, Any]):
    """Remembers names that were looked up in vain."""

    watches = True  # a copy would not

    def __init__(self, held: Mapping[str, Any], where: str, missed: list[str]) -> None:
        self._held, self._where, self._missed = held, where, missed

    def __getitem__(self, name: str) -> Any:
        if name not in self._held:
            self._missed.append(f"{self._where}[{name!r}]")
        return self._held[name]

    def __contains__(self, name: object) -> bool:
        return name in self._held  # asking whether it is there is no use of it

    def __iter__(self) -> Iterator[str]:
        return iter(self._held)

    def __len__(self) -> int:
        return len(self._held)


def _watched(exchange: Exchange | None, where: str, missed: list[str]) -> Exchange | None:
    if exchange is None:
        return None
    return replace(exchange, captures=_Watched(exchange.captures, f"{where}.captures", missed))


@check("attack", "undeclared-not-looked-up")
def undeclared_not_looked_up(case: AttackCase) -> None:
    """No role is looked up that neither `sees` nor `likes` names, in the View or among other people, and no
    helper array unless helper data are declared; to ask whether one is there is fine.
    """
    _ = case.raw
    view, rows = case.view
    missed: list[str] = []
    declared = case.sees | case.likes
    shown = replace(
        view,
        captures=_Watched(view.captures, "captures", missed),
        helper=view.helper if "helper" in declared else _Watched({}, "helper", missed),
        population=_watched(view.population, "population", missed),
        history=_watched(view.history, "history", missed),
    )
    case.believe(shown, rows, case.rng("believe"))
    # a declared role may be missing from this corpus, and be looked up all the same
    undeclared = [
        m for m in missed if m.partition("'")[2].partition("'")[0].partition(":")[0] not in declared
    ]
    if undeclared:
        expected = f"only what is declared: {', '.join(sorted(declared)) or 'nothing'}"
        raise Breach("believe()", f"view.{undeclared[0]}", expected, "a look-up")
