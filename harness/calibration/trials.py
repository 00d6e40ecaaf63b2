"""Trials: one audit each, boiled down to findings and to what it says of the truths."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from joblib import Parallel, delayed

from harness import in_house
from harness.calibration.cases import Case, trial_seed
from harness.calibration.lines import Reading, Trial, Trouble
from harness.calibration.model import Control, Truth
from harness.results import SEVERITIES, Audit, Row

__all__ = ["all_trials", "flagged", "one_trial", "reading", "troubles"]

_FLAGGED = SEVERITIES[SEVERITIES.index("medium") :]
_NOBODY = [in_house.NAMES[0]]
"""An audit asks for one adversary at least: this one needs others' beliefs, and has nothing to do alone."""


def all_trials(
    cases: Sequence[Case], *, seeds: int, seed: int, jobs: int, progress: Callable[[str, int, int], None]
) -> list[Trial]:
    """Every case under every seed, in that order whoever computes them; seeds outside, cases inside.

    So each round of seeds takes as long as the next one, and what is left can be told from what is done.
    """
    tasks = [(case.control, trial_seed(seed, case, r), r) for r in range(seeds) for case in cases]
    found: list[Trial] = []
    progress("calibrate", 0, len(tasks))
    for trial in _results(tasks, jobs):
        found.append(trial)
        progress("calibrate", len(found), len(tasks))
    return found


def _results(tasks: Sequence[tuple[Control, int, int]], jobs: int) -> Iterator[Trial]:
    if jobs == 1:
        yield from (one_trial(*task) for task in tasks)
    else:
        pool = Parallel(n_jobs=jobs, return_as="generator", batch_size=1)
        yield from pool(delayed(one_trial)(*task) for task in tasks)


def one_trial(control: Control, seed: int, repetition: int) -> Trial:
    """Audit a control on people of this seed; whatever goes wrong is the trial's failure."""
    try:
        found = _audited(control, seed)
        readings = tuple(reading(truth, found.rows) for truth in control.truths)
    except (Exception, SystemExit) as error:  # noqa: BLE001 - a trial that fails is reported, others go on
        said = f"{type(error).__name__}: {error}"
        return Trial(
            case=control.name, repetition=repetition, seed=seed, flagged=(), readings=(), failure=said
        )
    failed = [row for row in found.rows if row.status == "failed"]
    return Trial(
        case=control.name,
        repetition=repetition,
        seed=seed,
        flagged=flagged(found),
        readings=readings,
        failure=f"{failed[0].attack or 'the scheme'}: {failed[0].reason}" if failed else None,
    )


def _audited(control: Control, seed: int) -> Audit:
    from harness.auditing import audit

    corpus: Any = control.seeded(seed).corpus
    return audit(control.scheme, attacks=list(control.attacks) or _NOBODY, corpus=corpus, seed=seed)


def flagged(found: Audit) -> tuple[str, ...]:
    """Ids of the findings of severity medium or more, each once, sorted."""
    return tuple(sorted({f.id for f in found.findings if f.severity in _FLAGGED}))


def reading(truth: Truth, rows: Sequence[Row]) -> Reading:
    """What the rows of an audit say of a truth."""
    own = [row for row in rows if truth.of(row)]
    if len(own) != 1:
        return _nothing("no row of the result is this one" if not own else _ambiguous(own))
    row = own[0]
    if row.status != "measured":
        return _nothing(f"{row.status}: {row.reason}")
    if row.value is None or row.level is None:
        return _nothing("the row holds no value with a level")
    return Reading(
        value=row.value,
        low=row.low,
        high=row.high,
        level=row.level,
        side=row.side,
        method=row.method,
        unit=row.unit,
        attempts=row.attempts,
        inside=_agrees(truth, row),
        problem=None,
    )


def _agrees(truth: Truth, row: Row) -> bool:
    """Does the interval hold the truth, or reach what is known to lie beyond it? Rounding is forgiven."""
    from_below = row.low is None or row.low <= truth.value or _same(row.low, truth.value)
    from_above = row.high is None or row.high >= truth.value or _same(row.high, truth.value)
    return {"exact": from_below and from_above, "at-least": from_above, "at-most": from_below}[truth.bound]


def _same(limit: float, truth: float) -> bool:
    return math.isclose(limit, truth, abs_tol=1e-12)


def _ambiguous(own: Sequence[Row]) -> str:
    told = ", ".join(f"{row.method} in {row.unit}" for row in own)
    return f"{len(own)} rows of the result could be meant ({told}): name the method or the unit"


def _nothing(problem: str) -> Reading:
    return Reading(
        value=None,
        low=None,
        high=None,
        level=None,
        side=None,
        method=None,
        unit=None,
        attempts=0,
        inside=None,
        problem=problem,
    )


def troubles(cases: Sequence[Case], trials: Sequence[Trial]) -> list[Trouble]:
    """Trials that failed and truths of which they told nothing, equal ones counted together."""
    truths = {case.name: case.control.truths for case in cases}
    count: dict[tuple[str, str], int] = {}
    for trial in trials:
        told = [] if trial.failure is None else [f"failed: {trial.failure}"]
        # a trial that raised has no readings
        for truth, said in zip(truths[trial.case], trial.readings, strict=False):
            if said.problem is not None:
                told.append(f"{_named(truth)}: {said.problem}")
        for text in told:
            count[trial.case, text] = count.get((trial.case, text), 0) + 1
    return [Trouble(case=case, text=text, trials=many) for (case, text), many in count.items()]


def _named(truth: Truth) -> str:
    parts = [truth.attack or "honest pair", truth.measure]
    parts += [] if truth.budget is None else [f"at {truth.budget}"]
    parts += [part for part in (truth.method, truth.unit) if part is not None]
    return " ".join(parts)
