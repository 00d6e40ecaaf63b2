"""Whoever sees more must not get less: each adversary beside those whose views it has as well."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from harness.collecting import Rows
from harness.contracts import Array
from harness.estimators import means
from harness.exchange import Honest
from harness.pursuit import Outcome
from harness.results import Finding, Row
from harness.score import Scores
from harness.view import needs

__all__ = ["MEASURE", "same_view_rows"]

MEASURE = "gain-over"
LEVEL = 0.98
"""Each end holds at 99 %: a loss is said only where the whole interval lies below nothing."""


def same_view_rows(
    attacked: Sequence[tuple[str, Outcome]],
    attacks: Sequence[Any],
    scheme: str,
    honest: Honest,
    *,
    data: str,
) -> tuple[list[Row], list[Finding]]:
    """What adversaries gain over others of whose captures they miss none, attempt by attempt.

    Parameters
    ----------
    attacked : sequence of (name, Outcome)
        Combinations included.
    attacks : sequence of Attack
        Those of the names that are no combinations.
    scheme : str
    honest : Honest
    data : str

    Returns
    -------
    rows : list of Row
        `gain-over`, the method being the other adversary; bits per symbol, above 0 where more was gained.
    findings : list of Finding
        A note for each adversary that gains less.
    """
    read = _read({a.name: needs(a)[0] for a in attacks}, [name for name, _ in attacked])
    learned = {a.name for a in attacks if getattr(a, "learned", False)}
    known = {
        name: o.scores
        for name, o in attacked
        if o.scores is not None and o.scores.gain is not None and not o.acts
    }
    rows: list[Row] = []
    findings: list[Finding] = []
    for name, scores in known.items():
        table = Rows(scheme, name, data)
        lost = []
        for other, theirs in known.items():
            if other == name or not read[other] or not read[other] <= read[name]:
                continue
            if read[other] == read[name] and ("+" in other or "+" not in name) and name > other:
                continue  # of equals, one row is enough
            more, subject = _difference(scores, theirs, honest)
            if not len(more):
                continue
            gain = means.subject_mean(
                more, subject, unit="bit/symbol", side="estimate", method=other, level=LEVEL
            )
            won = "more" if gain.low > 0 else "less" if gain.high < 0 else "not told apart"
            table.add(MEASURE, gain, reason=f"per symbol, beside {other} on the same attempts: {won}")
            if gain.high < 0 and (read[other] < read[name] or name in learned):
                lost.append(other)
            if gain.low > 0 and read[other] == read[name] and other in learned:
                findings.append(_weaker(scheme, other, [name]))
        rows += table.rows
        if lost:
            findings.append(_weaker(scheme, name, lost))
    return rows, findings


def _read(single: Mapping[str, frozenset[str]], names: Sequence[str]) -> dict[str, frozenset[str]]:
    """Roles that each adversary reads; a combination those of its parts."""
    return {
        name: frozenset().union(*(single.get(part, frozenset()) for part in name.split("+")))
        for name in names
    }


def _difference(mine: Scores, theirs: Scores, honest: Honest) -> tuple[Array, Array]:
    """Per attempt that both have: mean gain over attackers, less the other's; and whose attempt it is."""
    attempts = np.intersect1d(mine.attempt, theirs.attempt)
    values = [_by_attempt(s, attempts) for s in (mine, theirs)]
    return values[0] - values[1], honest.subject[attempts]


def _by_attempt(scores: Scores, attempts: Array) -> Array:
    gain: Any = scores.gain
    inside = np.isin(scores.attempt, attempts)
    index = np.searchsorted(attempts, scores.attempt[inside])
    sums = np.bincount(index, gain[inside], minlength=len(attempts))
    return np.asarray(sums / np.bincount(index, minlength=len(attempts)))


def _weaker(scheme: str, name: str, others: Sequence[str]) -> Finding:
    listed = ", ".join(others)
    return Finding(
        id="sees-more-gets-less",
        severity="note",
        scheme=scheme,
        attack=name,
        text=f"It reads every capture that {listed} reads and gains less: take the better figure for what "
        "such a view gives.",
        details={"better": list(others)},
    )
