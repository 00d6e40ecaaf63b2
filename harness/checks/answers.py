"""What the harness accepts as an answer to a View."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from harness import validate
from harness.contracts import Belief, Guesses, View
from harness.errors import ContractError

if TYPE_CHECKING:
    from harness.checks.attack_case import AttackCase

__all__ = ["sound"]


def sound(case: AttackCase, answer: Any, view: View) -> Belief | Guesses:
    """The validated answer.

    Raises
    ------
    ContractError
        If it is none.
    """
    width = int(case.scheme.key_bits)
    if isinstance(answer, Guesses):
        return validate.guesses(case.plugin, answer, view.attempts, width)
    if not isinstance(answer, Belief):
        raise ContractError(case.plugin, "believe()", "a Belief or Guesses", type(answer).__name__)
    a = case.honest.a
    m, alphabet = (width, 2) if answer.about == "key" else (a.symbols.shape[1], a.alphabet)
    return validate.belief(case.plugin, answer, view.attempts, m, alphabet)
