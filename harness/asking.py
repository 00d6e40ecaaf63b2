"""One attack, one answer for each View that can be shown of some attempts."""

from __future__ import annotations

import copy
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from harness import validate
from harness.cache import Captures
from harness.contracts import Array, Belief, Guesses, View
from harness.device import Asked, device_of
from harness.errors import ContractError
from harness.exchange import Honest, call
from harness.interference import Act, Ranges, shown
from harness.streams import stream
from harness.view import Rows, Unseen, assemble, needs, session_ranks

__all__ = ["Scene", "asked_of"]


@dataclass(frozen=True, slots=True)
class Scene:
    """Runs that an attack disturbed."""

    attack: Any  # fitted to other people
    honest: Honest  # the disturbed runs in the rows of `act`
    act: Act
    limits: Ranges


def _by_rank(attack: Any, honest: Honest, victims: Array) -> list[tuple[int, Array]]:
    """One View for all, or one for each session rank where past sessions are seen."""
    if "history" not in needs(attack)[1]:
        return [(0, victims)] if len(victims) else []
    ranks = session_ranks(honest)[victims]
    first = 1 if "history" in attack.sees else 0
    groups = [(int(r), victims[ranks == r]) for r in np.unique(ranks) if r >= first]
    if victims.size and not groups:
        raise Unseen("no attempt has an earlier session")
    return groups


def asked_of(
    attack: Any,
    scheme: Any,
    honest: Honest,
    captures: Captures,
    people: Array,
    learned: Array,
    purpose: tuple[int, str, int],
    *,
    scene: Scene | None = None,
    heard: list[Asked] | None = None,
) -> list[tuple[Belief | Guesses, Rows]]:
    """One answer for each View that can be shown; raises Unseen if none can."""
    seed, what, fold = purpose
    answers, reasons = [], []
    for rank, some in _by_rank(attack, honest, people):
        rng = stream(seed, what, attack.name, fold, rank)
        try:
            view, rows = assemble(attack, scheme, honest, captures, victims=some, population=learned)
            if scene is not None:
                view = shown(view, rows, scene.act, scene.limits)
            answers.append((_ask(attack, scheme, honest, view, rows, rng, heard), rows))
        except Unseen as reason:  # another session may have what this one lacks
            reasons.append(reason)
    if not answers:
        raise reasons[0]
    return answers


def _ask(
    attack: Any,
    scheme: Any,
    honest: Honest,
    view: View,
    rows: Rows,
    rng: np.random.Generator,
    heard: list[Asked] | None,
) -> Belief | Guesses:
    believe = copy.deepcopy(attack).believe
    if "device" in needs(attack)[1] and callable(getattr(scheme, "reproduce", None)):
        with device_of(scheme, honest, rows.attempt) as (device, asked):
            outcome = call(attack.name, "believe()", believe, replace(view, device=device), rng=rng)
        if heard is not None:
            heard.append(asked)
    else:
        outcome = call(attack.name, "believe()", believe, view, rng=rng)
    if isinstance(outcome, Guesses):
        return validate.guesses(attack.name, outcome, view.attempts, int(scheme.key_bits))
    if not isinstance(outcome, Belief):
        raise ContractError(attack.name, "believe()", "a Belief or Guesses", type(outcome).__name__)
    about_key = isinstance(outcome.about, str) and outcome.about == "key"
    width, alphabet = (
        (int(scheme.key_bits), 2) if about_key else (honest.a.symbols.shape[1], honest.a.alphabet)
    )
    return validate.belief(attack.name, outcome, view.attempts, width, alphabet)
