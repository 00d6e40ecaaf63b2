"""Repeats calibration cases and compares how often each came true with what it says."""

from __future__ import annotations

import importlib
import pkgutil
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from joblib import Parallel, delayed
from scipy.stats import binom

import calibration
from calibration.case import Case
from harness.estimators.proportion import clopper_pearson
from harness.streams import stream

__all__ = ["Outcome", "all_cases", "measured", "table"]

FAMILY = 0.01
"""Chance that a family of true cases shows one outside its region."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """How often one case came true."""

    case: Case
    hits: int
    seconds: float

    @property
    def share(self) -> float:
        return self.hits / self.case.repetitions

    def verdict(self, family: int) -> str:
        """Against the exact binomial region around the nominal, at the level of a family of so many cases.

        Returns
        -------
        str
            "as said", "conservative" (on the safe side of the region), "falls short, as remarked", or
            "FALLS SHORT".
        """
        n, nominal = self.case.repetitions, self.case.nominal
        tail = FAMILY / family / 2
        low, high = binom.ppf(tail, n, nominal), binom.isf(tail, n, nominal)
        above, below = self.hits > high, self.hits < low
        safe, short = (above, below) if self.case.kind == "coverage" else (below, above)
        if short:
            return "falls short, as remarked" if self.case.short else "FALLS SHORT"
        return "conservative" if safe else "as said"


def all_cases() -> list[Case]:
    """The cases of every module of this package, in order of name and channel."""
    found: list[Case] = []
    for module in sorted(m.name for m in pkgutil.iter_modules(calibration.__path__)):
        found += getattr(importlib.import_module(f"calibration.{module}"), "CASES", [])
    keys = [(c.name, c.channel) for c in found]
    if twice := sorted({k for k in keys if keys.count(k) > 1}):
        raise ValueError(f"each case needs a name and a channel of its own, twice: {twice}")
    return sorted(found, key=lambda c: (c.name, c.channel))


def measured(cases: Iterable[Case], *, jobs: int = 1, seed: int = 0) -> list[Outcome]:
    """Every case as often as it asks; the numbers do not depend on `jobs`."""
    listed = list(cases)
    return list(Parallel(n_jobs=jobs)(delayed(_measured)(case, seed) for case in listed))


def _measured(case: Case, seed: int) -> Outcome:
    start = time.perf_counter()
    hits = sum(
        bool(case.run(stream(seed, "calibration", case.name, case.channel, i)))
        for i in range(case.repetitions)
    )
    return Outcome(case=case, hits=hits, seconds=time.perf_counter() - start)


def table(outcomes: Sequence[Outcome]) -> str:
    """Markdown: one row a case."""
    lines = ["| interval or test | channel | kind | nominal | measured [95 %] | verdict | remark |"]
    lines.append("|---|---|---|---|---|---|---|")
    for o in outcomes:
        low, high = clopper_pearson(o.hits, o.case.repetitions)
        lines.append(
            f"| {o.case.name} | {o.case.channel} | {o.case.kind} | {o.case.nominal:g} | "
            f"{o.share:.3f} [{low:.3f}, {high:.3f}] | {o.verdict(len(outcomes))} | {o.case.remark} |"
        )
    return "\n".join(lines) + "\n"
