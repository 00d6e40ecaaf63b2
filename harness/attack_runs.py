"""Pass two: every attack on every fold, combinations of what they believed, and the rows of each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from harness import relay
from harness.active_rows import acting_rows, assumed
from harness.attack_measures import attack_rows
from harness.cache import Captures
from harness.contracts import Array
from harness.errors import ContractError
from harness.exchange import Honest
from harness.interference import with_runs
from harness.logs import Logged
from harness.pursuit import Outcome, pursue, pursue_together
from harness.results import PerSubject, Row, unmeasured
from harness.score import Disclosure
from harness.streams import stream
from harness.tasks import Run

__all__ = ["FOLDS", "attacked", "blank", "relayed", "rows_of"]

FOLDS = 5


def _folds(honest: Honest, seed: int) -> list[Array]:
    """Subjects in at most FOLDS groups, by a named stream."""
    people = np.unique(honest.subject)
    shuffled = stream(seed, "folds").permutation(people)
    return [np.sort(part) for part in np.array_split(shuffled, min(FOLDS, len(people)))]


def attacked(
    run: Run,
    scheme: Any,
    honest: Honest,
    disclosure: Disclosure,
    captures: Captures,
    attacks: Sequence[Any],
    together: Sequence[tuple[str, ...]],
) -> list[tuple[str, Outcome]]:
    """Pass two: every attack on every fold, then the combinations of what they believed."""
    folds = _folds(honest, run.seed)
    combined_names = {n for names in together for n in names}
    tasks = []
    for attack in attacks:
        calibrate = attack.name in combined_names and len(folds) > 2
        tasks += [
            (attack, scheme, honest, disclosure, captures, folds, fold, run.seed, calibrate)
            for fold in range(len(folds))
        ]
    answers = run.map(f"{scheme.name}: attacks", pursue, tasks)
    outcomes = [
        (attack.name, Outcome.joined(answers[i * len(folds) : (i + 1) * len(folds)]))
        for i, attack in enumerate(attacks)
    ]
    by_name = dict(outcomes)
    for names in together:
        members = [n for n in names if n in by_name and by_name[n].combinable]
        title = "+".join(members if len(members) > 1 else names)
        if len(members) < 2:
            reason = "fewer than two of its attacks hold a belief about the witness here"
            outcomes.append((title, Outcome(untested=reason)))
            continue
        if title in {name for name, _ in outcomes}:
            continue
        jobs = [
            ([by_name[n].folds[fold] for n in members], honest, scheme, disclosure, folds, fold)
            for fold in range(len(folds))
        ]
        outcomes.append((title, Outcome.joined(run.map(f"{scheme.name}: together", pursue_together, jobs))))
    return outcomes


def rows_of(
    run: Run, scheme: Any, honest: Honest, disclosure: Disclosure, name: str, outcome: Outcome
) -> tuple[list[Row], list[PerSubject]]:
    acts = outcome.acts
    honest = with_runs(honest, acts)
    if not outcome.failed and (acts or outcome.asked):
        made, own = acting_rows(outcome, honest, scheme=scheme.name, attack=name, data=run.corpus.data)
    else:
        made, own = [], []
    if outcome.scores is not None:
        more, theirs = attack_rows(
            outcome.scores,
            honest,
            disclosure,
            scheme=scheme.name,
            attack=name,
            key_bits=int(scheme.key_bits),
            data=run.corpus.data,
            seed=run.seed,
            note=outcome.note,
            budgets=run.budgets,
        )
        return [*(assumed(more) if acts else more), *made], [*theirs, *own]
    status, reason = ("failed", outcome.failed) if outcome.failed else ("untested", outcome.untested)
    return [blank(status, str(reason), scheme.name, name, run.corpus.data), *made], own


def relayed(
    run: Run, scheme: Any, honest: Honest, captures: Captures
) -> tuple[list[Row], list[PerSubject]]:
    """Late copies of device B on live messages."""
    if isinstance(scheme, Logged):
        why = "a log of finished exchanges holds no live messages"
        return [blank("untested", why, scheme.name, relay.NAME, run.corpus.data)], []
    indices = range(len(captures.sittings))
    tasks = [
        (scheme, honest, captures, range(i, min(i + run.chunk, len(indices))), run.seed)
        for i in range(0, len(indices), run.chunk)
    ]
    try:
        parts = run.map(f"{scheme.name}: relay", relay.relayed, tasks)
    except ContractError as error:
        return [blank("failed", str(error), scheme.name, relay.NAME, run.corpus.data)], []
    found = [sitting for part in parts for sitting in part]
    return relay.relay_rows(found, honest, scheme=scheme.name, data=run.corpus.data)


def blank(status: str, reason: str, scheme: str, attack: str | None, data: str) -> Row:
    measure, unit = ("key-agreement", "probability") if attack is None else ("success-odds", "probability")
    return unmeasured(status, reason, scheme=scheme, attack=attack, measure=measure, unit=unit, data=data)
