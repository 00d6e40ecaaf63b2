"""Choosing between ways of sensing by what each of them told of other people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from attacks.channels import learned_channel, log_score, part
from attacks.lags import best_lag
from attacks.quantising import drawn_rows, quantised
from harness.contracts import Array, Capture, View, Witness

__all__ = ["best_capture", "best_for_others", "best_witness"]

JUDGED_ATTEMPTS = 120


def best_witness(
    ways: Sequence[Witness], true: Witness, subject: Array, *, rng: np.random.Generator
) -> int:
    """Which of several witnesses of other people tells most of theirs, to who learned from half of them.

    The first where there are fewer than two people to learn from and two to judge by.

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


def best_capture(
    scheme: Any, ways: Sequence[Capture], true: Witness, subject: Array, *, rng: np.random.Generator
) -> int:
    """Which of several captures of other people tells most, each at the lag that serves it best.

    Judged on attempts drawn from all of those people: the choice is one of few, and needs few.
    """
    rows = drawn_rows(true, JUDGED_ATTEMPTS)
    few = [
        replace(w, samples=w.samples[rows], seconds=None if w.seconds is None else w.seconds[rows])
        for w in ways
    ]
    known = part(true, rows)
    seen = [quantised(scheme, way, lag=best_lag(scheme, way, known)) for way in few]
    return best_witness(seen, known, subject[rows], rng=rng)


def best_for_others(view: View, roles: Sequence[str], *, rng: np.random.Generator) -> str:
    """The role, of those that the view holds, whose captures told most of other people.

    The first of them where there is nobody to learn from.
    """
    held = [role for role in roles if role in view.captures]
    learned = view.population
    if learned is None or learned.witness is None:
        return held[0]
    known = [role for role in held if role in learned.captures]
    if len(known) < 2:
        return (known or held)[0]
    ways = [learned.captures[role] for role in known]
    return known[best_capture(view.scheme, ways, learned.witness, learned.subject, rng=rng)]
