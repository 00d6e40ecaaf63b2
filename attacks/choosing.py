"""Choosing between ways of sensing by what each of them told of other people."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from attacks.channels import learned_channel, log_score, part
from attacks.lags import best_lag, quantised, symbol_information
from harness.contracts import Array, Capture, View, Witness

__all__ = ["best_for_others", "best_witness", "told_of_others"]


def told_of_others(scheme: Any, theirs: Capture, true: Witness) -> float:
    """Bits per symbol that hard decisions on captures tell of witnesses, at the lag that serves best.

    Parameters
    ----------
    scheme : Scheme
        Whose quantiser is used.
    theirs : Capture
        What the adversary sensed of other people.
    true : Witness
        Their device A's, row for row.
    """
    seen = quantised(scheme, theirs, lag=best_lag(scheme, theirs, true))
    return symbol_information(seen.symbols, true.symbols, true.alphabet)


def best_for_others(view: View, roles: Sequence[str]) -> str:
    """The role, of those that the view holds, whose captures told most of other people.

    The first of them where there is nobody to learn from.
    """
    held = [role for role in roles if role in view.captures]
    learned = view.population
    if learned is None or learned.witness is None:
        return held[0]
    scores = {
        role: told_of_others(view.scheme, learned.captures[role], learned.witness)
        for role in held
        if role in learned.captures
    }
    return max(scores, key=lambda role: scores[role], default=held[0])


def best_witness(
    ways: Sequence[Witness], true: Witness, subject: Array, *, rng: np.random.Generator
) -> int:
    """Which of several witnesses of other people tells most of theirs, to who learned from half of them.

    The first where there are not two people to learn and to judge by.

    Parameters
    ----------
    ways : sequence of Witness
        Row for row of `true`.
    true : Witness
        Other people's device A's.
    subject : int, shape (rows,)
    rng : numpy.random.Generator
    """
    people = np.unique(subject)
    if len(people) < 4:
        return 0
    learning = np.isin(subject, people[1::2])
    some, held = np.flatnonzero(learning), np.flatnonzero(~learning)
    scores = []
    for way in ways:
        channel = learned_channel(part(way, some), part(true, some), subject[some], rng=rng)
        scores.append(log_score(channel(part(way, held)), true.symbols[held]))
    return int(np.argmax(scores))
