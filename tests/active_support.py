"""Everything that `pursue` needs, made as an audit makes it, and attacks that show what they were given."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from harness.cache import Captures, render
from harness.contracts import Array, Belief, Capture, View
from harness.exchange import Honest, join, run_block
from harness.pursuit import FoldAnswer, pursue
from harness.score import Disclosure, disclosure_of


@dataclass(frozen=True)
class Stage:
    """A scheme on a corpus, exchanged honestly, its people in two folds."""

    scheme: Any
    honest: Honest
    disclosure: Disclosure
    captures: Captures
    folds: list[Array]

    def pursued(self, attack: Any, fold: int = 0) -> FoldAnswer:
        return pursue(
            attack, self.scheme, self.honest, self.disclosure, self.captures, self.folds, fold, 0, False
        )

    def both(self, attack: Any) -> list[FoldAnswer]:
        return [self.pursued(attack, fold) for fold in range(2)]


def staged(corpus: Any, scheme: Any, folder: Path) -> Stage:
    sittings = corpus.sittings()
    every = frozenset(s for x in sittings for s in x.streams)
    stored = dict(p for i, s in enumerate(sittings) for p in render(corpus, i, s, every, folder))
    captures = Captures(sittings, stored)
    blocks = [
        run_block(
            scheme,
            {r: stored[i, f"{r}:value"].load() for r in ("device-a", "device-b")},
            seed=0,
            sitting=i,
            subject=sitting.subject,
            session=sitting.session,
        )
        for i, sitting in enumerate(sittings)
    ]
    honest = join(scheme.name, blocks)
    folds = np.array_split(np.unique(honest.subject), 2)
    return Stage(scheme, honest, disclosure_of(scheme, honest), captures, folds)


@dataclass(frozen=True)
class Pushes:
    """Adds one number to the named sensors, and records what it was shown."""

    by: Mapping[str, float] = field(default_factory=dict)
    seen: list[Any] = field(default_factory=list)
    name: str = "pushes"
    sees: frozenset[str] = frozenset({"remote", "population", "helper"})

    def __deepcopy__(self, memo: Any) -> Pushes:
        return self  # the harness copies attacks; the record must outlive the copy

    def interfere(
        self, captures: Mapping[str, Capture], *, rng: np.random.Generator
    ) -> tuple[Mapping[str, Capture], Mapping[str, Array]]:
        self.seen.append(captures)
        added = {}
        for role, by in self.by.items():
            blank = captures[role]
            more = np.full(blank.samples.shape, by)
            added[role] = Capture(samples=more, rate_hz=blank.rate_hz, signal=blank.signal, unit=blank.unit)
        return added, {"row": np.arange(len(captures["device-a"].samples))}

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        self.seen.append(view)
        width = view.scheme.witness(view.population.captures["device-a"]).symbols.shape[1]
        return Belief(log_prob=np.full((view.attempts, width, 2), np.log(0.5)))
