"""Error rates of the gate over simulated pipelines, at the level of people's values.

Every pipeline replays the same people through two versions of a scheme. Twelve metrics, sixty people, ten
attempts each. A neutral version changes single attempts and moves every value a little, with no drift;
a worse one makes one metric worse besides. ``python -m gate_pipelines`` in this folder measures again what
`harness/gate/error-rates.md` holds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from harness.baseline import baseline_of
from harness.contracts import Array
from harness.estimators.proportion import clopper_pearson
from harness.gating import gate
from harness.margins import GATED
from harness.results import Audit, PerSubject
from harness.streams import stream
from harness.vocabulary import MEASURES

__all__ = [
    "ATTEMPTS",
    "METRICS",
    "PEOPLE",
    "SimulatedMetric",
    "Tally",
    "main",
    "pipelines",
    "result_of",
    "table",
]

PEOPLE, ATTEMPTS = 60, 10
NOMINAL, DEFAULT = 0.05, 0.01
UNEVEN = 0.2  # intra-class correlation of harm that strikes some people more than others


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedMetric:
    """One metric as people have it.

    Attributes
    ----------
    level : float
        Mean over people, on the scale of the measure.
    among : float
        Standard deviation among people; for rates the intra-class correlation of attempts.
    moved : float
        What a neutral version changes: standard deviation of a person's difference; for rates the share of
        attempts that come out otherwise.
    """

    attack: str | None
    measure: str
    budget: int | None = None
    level: float
    among: float
    moved: float

    @property
    def title(self) -> str:
        words = [self.attack or "honest pair", self.measure]
        return " ".join(words if self.budget is None else [*words, f"at {self.budget}"])


METRICS = (
    SimulatedMetric(attack=None, measure="key-agreement", level=0.49, among=0.2, moved=0.025),
    SimulatedMetric(attack=None, measure="failure-to-acquire", level=0.02, among=0.05, moved=0.01),
    SimulatedMetric(attack=None, measure="bit-mismatch", level=0.067, among=0.01, moved=0.002),
    SimulatedMetric(attack=None, measure="min-entropy", level=120.0, among=2.0, moved=0.3),
    SimulatedMetric(attack=None, measure="time", level=27.0, among=3.0, moved=0.3),
    SimulatedMetric(attack="mimicry", measure="success-odds", budget=1, level=0.35, among=0.2, moved=0.02),
    SimulatedMetric(
        attack="mimicry", measure="success-odds", budget=2**20, level=0.6, among=0.2, moved=0.02
    ),
    SimulatedMetric(
        attack="mimicry", measure="success-odds", budget=2**40, level=0.85, among=0.2, moved=0.01
    ),
    SimulatedMetric(attack="mimicry", measure="key-rank", level=20.0, among=8.0, moved=0.3),
    SimulatedMetric(attack="mimicry", measure="mutual-information", level=0.9, among=0.1, moved=0.002),
    SimulatedMetric(
        attack="replay", measure="success-odds", budget=2**40, level=0.4, among=0.2, moved=0.03
    ),
    SimulatedMetric(attack="replay", measure="key-rank", level=43.0, among=6.0, moved=0.3),
)
"""Spreads lie at or above those of the reference scheme with its high-pass moved from 20 to 20.5 Hz."""


def _versions(
    metric: SimulatedMetric, margins: float, *, uneven: float, rng: np.random.Generator
) -> tuple[Array, Array]:
    """(people,) values of the old and of the new version."""
    own = GATED[metric.measure]
    if own.unit != "probability" or metric.measure == "bit-mismatch":
        return _values(metric, margins, rng=rng)
    scale = (1 - metric.among) / metric.among
    chance = rng.beta(metric.level * scale, (1 - metric.level) * scale, PEOPLE)[:, None]
    old = rng.random((PEOPLE, ATTEMPTS)) < chance
    # attempts drawn anew keep their chance, and half or fewer of them come out otherwise
    otherwise = 2 * metric.level * (1 - metric.level) * (1 - metric.among)
    anew = rng.random(old.shape) < min(metric.moved / otherwise, 1.0)
    new = np.where(anew, rng.random(old.shape) < chance, old)
    if margins:
        target = _worsened(metric, margins)
        lost = MEASURES[metric.measure].more_is_better
        share = abs(target - metric.level) / (metric.level if lost else 1 - metric.level)
        struck = rng.random(old.shape) < _shares(share, uneven, rng=rng)
        new = np.where(struck, not lost, new)
    return old.mean(axis=1), new.mean(axis=1)


def _shares(share: float, uneven: float, *, rng: np.random.Generator) -> Array | float:
    """Each person's share of attempts that got worse; `uneven` is their intra-class correlation."""
    if uneven == 0:
        return share
    scale = (1 - uneven) / uneven
    return rng.beta(share * scale, (1 - share) * scale, PEOPLE)[:, None]


def _values(metric: SimulatedMetric, margins: float, *, rng: np.random.Generator) -> tuple[Array, Array]:
    old = metric.level + metric.among * rng.standard_normal(PEOPLE)
    drift = _worsened(metric, margins) - metric.level
    return old, old + drift + metric.moved * rng.standard_normal(PEOPLE)


def _worsened(metric: SimulatedMetric, margins: float) -> float:
    """The level at which harm is so many margins: a difference so many times, a factor to that power."""
    own, level = GATED[metric.measure], metric.level
    if own.scale == "difference":
        return level + (-margins if MEASURES[metric.measure].more_is_better else margins) * own.margin
    factor: float = own.margin**margins
    return factor * level if own.scale == "ratio" else factor * level / (1 + (factor - 1) * level)


def result_of(values: Mapping[SimulatedMetric, Array]) -> Audit:
    """A result that holds these values of people, and no rows."""
    people = [
        PerSubject(
            scheme="simulated",
            attack=m.attack,
            measure=m.measure,
            budget=m.budget,
            subject=person,
            value=float(value),
            attempts=ATTEMPTS,
        )
        for m, of_people in values.items()
        for person, value in enumerate(of_people)
    ]
    size = {"subjects": PEOPLE, "sessions": 2 * PEOPLE, "attempts": PEOPLE * ATTEMPTS}
    return Audit(
        rows=[],
        per_subject=people,
        findings=[],
        settings={"seed": 0},
        corpus={"name": "simulated", "data": "simulated", "digest": "0" * 64, **size},
        schemes=[{"name": "simulated", "key_bits": 128, "parameters": {}, "source": "simulated"}],
        attacks=[
            {"name": name, "parameters": {}, "source": name, "isolated": False}
            for name in sorted({m.attack for m in METRICS if m.attack})
        ],
        versions={},
    )


@dataclass(slots=True)
class Tally:
    """How many pipelines came to which outcome, and what became of the worse metric itself."""

    runs: int = 0
    passed: int = 0
    failed: int = 0
    undecided: int = 0
    failed_nominal: int = 0
    caught: int = 0
    let_through: int = 0


def pipelines(
    runs: int,
    *,
    worse: SimulatedMetric | None = None,
    margins: float = 2.0,
    uneven: float = 0.0,
    seed: int = 0,
) -> Tally:
    """Outcomes of `runs` pipelines.

    Parameters
    ----------
    runs : int
    worse : SimulatedMetric, optional
        The metric of `METRICS` that is worse; None: a neutral change.
    margins : float
        By how many of its margins it is worse.
    uneven : float
        Intra-class correlation of harm to a rate: 0 strikes all people alike.
    seed : int

    Returns
    -------
    Tally
    """
    tally = Tally(runs=runs)
    for run in range(runs):
        rng = stream(seed, "pipeline", worse.title if worse else "neutral", run)
        pairs = {m: _versions(m, margins if m is worse else 0.0, uneven=uneven, rng=rng) for m in METRICS}
        held = baseline_of(result_of({m: p[0] for m, p in pairs.items()}), reason="the version before")
        candidate = result_of({m: p[1] for m, p in pairs.items()})
        verdict = gate(candidate, baseline=held, level=DEFAULT)
        tally.passed += verdict.outcome == "pass"
        tally.failed += verdict.outcome == "fail"
        tally.undecided += verdict.outcome == "undecided"
        if worse is None:
            tally.failed_nominal += gate(candidate, baseline=held, level=NOMINAL).outcome == "fail"
        else:
            key = (worse.attack or "", worse.measure, worse.budget or 0)
            (own,) = (
                c
                for c in verdict.comparisons
                if (c.metric.attack, c.metric.measure, c.metric.budget) == key
            )
            tally.caught += own.outcome == "fail"
            tally.let_through += own.outcome in ("pass", "unresolved")
    return tally


def table(runs: int, runs_worse: int, *, seed: int = 0) -> str:
    """The measured error rates as Markdown."""
    neutral = pipelines(runs, seed=seed)
    lines = [
        "| change | runs | outcome | share [95 % Clopper–Pearson] |",
        "|---|---|---|---|",
        _line("neutral", neutral.runs, "fail, default level 1 %", neutral.failed),
        _line("neutral", neutral.runs, "fail, nominal level 5 %", neutral.failed_nominal),
        _line("neutral", neutral.runs, "pass", neutral.passed),
        _line("neutral", neutral.runs, "undecided", neutral.undecided),
    ]
    for metric in METRICS:
        found = pipelines(runs_worse, worse=metric, seed=seed)
        lines.append(_line(f"{metric.title}, twice the margin", found.runs, "fail in it", found.caught))
    for uneven in (0.0, UNEVEN):
        for metric in METRICS if uneven == 0 else [m for m in METRICS if GATED[m.measure].rate]:
            found = pipelines(runs_worse, worse=metric, margins=1.0, uneven=uneven, seed=seed)
            title = f"{metric.title}, exactly the margin{', unevenly' if uneven else ''}"
            lines.append(_line(title, found.runs, "pass or unresolved in it", found.let_through))
    return "\n".join(lines) + "\n"


def _line(change: str, runs: int, outcome: str, count: int) -> str:
    low, high = clopper_pearson(count, runs)
    return f"| {change} | {runs} | {outcome} | {count / runs:.4f} [{low:.4f}, {high:.4f}] |"


def main(arguments: Sequence[str] = ()) -> None:
    """Print the table."""
    runs, runs_worse = (int(a) for a in arguments) if arguments else (2000, 200)
    print(table(runs, runs_worse), end="")


if __name__ == "__main__":
    import sys

    main(sys.argv[1:])
