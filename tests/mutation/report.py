"""What the trials come to, as a page."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from scipy import stats

from mutation.mutants import LEFT_OUT, Mutant
from mutation.trial import CRASHED, KILLED, SURVIVED, TIMED_OUT, UNTESTED

LEVEL = 0.95
OUTCOMES = (KILLED, SURVIVED, TIMED_OUT, UNTESTED, CRASHED)


@dataclass(frozen=True, slots=True)
class Tried:
    """One mutant and what became of it."""

    mutant: Mutant
    outcome: str
    detail: str
    tests: int


def lower_limit(killed: int, n: int) -> float:
    """One-sided limit of Clopper and Pearson at `LEVEL`."""
    return float(stats.beta.ppf(1 - LEVEL, killed, n - killed + 1)) if killed else 0.0


def summary(tried: Sequence[Tried]) -> str:
    """Score and lower limit in a line."""
    killed = sum(t.outcome == KILLED for t in tried)
    low = lower_limit(killed, len(tried))
    return f"{killed} of {len(tried)} killed: {killed / len(tried):.3f}, lower 95 % limit {low:.3f}"


def page(tried: Sequence[Tried], facts: dict[str, str], left_out: dict[str, int], reasons: Path) -> str:
    """The report, as Markdown."""
    count = {o: sum(t.outcome == o for t in tried) for o in OUTCOMES}
    known = tomllib.loads(reasons.read_text(encoding="utf-8"))["survivor"] if reasons.exists() else []
    why = {(k["path"], k["was"], k["now"]): k["why"] for k in known}
    lines = ["# Do the tests notice a changed line?", "", _HEAD, ""]
    lines += ["| | |", "|---|---|", *(f"| {name} | {value} |" for name, value in facts.items())]
    lines += [f"| {outcome} | {n} |" for outcome, n in count.items()]
    killed, n = count[KILLED], len(tried)
    lines += [
        f"| score | {killed / n:.3f} |",
        f"| lower limit, one-sided 95 % (Clopper-Pearson) | {lower_limit(killed, n):.3f} |",
        "",
        "## Left out beforehand, by kind",
        "",
        "| kind | mutants | why |",
        "|---|---|---|",
        *(f"| {kind} | {left_out[kind]} | {LEFT_OUT[kind]} |" for kind in LEFT_OUT),
        "",
        "The tool itself changes nothing in docstrings, annotations, decorators and decorated functions,",
        "nor calls of `len` and `isinstance`.",
        "",
        f"## Not killed ({n - killed})",
        "",
        "Each of them counts against the score, whatever is said of it.",
        "",
    ]
    for t in sorted(
        (t for t in tried if t.outcome != KILLED), key=lambda t: (t.mutant.path, t.mutant.lines)
    ):
        m = t.mutant
        said = why.get((m.path, m.was, m.now), "not explained")
        lines += [
            f"* `{m.path}` `{m.where}`, {t.outcome}, {t.tests} tests: `{m.was}` → `{m.now}`  ",
            f"  {said}",
        ]
    return "\n".join(lines) + "\n"


_HEAD = """All small changes that the tool knows to make in the modules below are listed and some drawn
by a seed. Each is made alone, in a copy of the last commit; the fast tests that run its lines are run,
quick ones first, until one fails. Time-outs, and lines that no test runs, count as not killed."""
