"""The tables of a calibration: what was found, what cried wolf, what lies where it should."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from harness.calibration.lines import CoverageLine, DetectionLine, TruthLine
from harness.calibration.record import Calibration
from reports.model import Cell, Table
from reports.wording import budget_text, clean, interval_text, level_text, number_text, side_text

__all__ = [
    "HEATS",
    "alarms_table",
    "bound_text",
    "chance_table",
    "counts_text",
    "coverage_table",
    "kind_text",
    "matrix_columns",
    "matrix_table",
    "quantity_text",
    "rules_table",
    "truths_table",
]

HEATS = 4  # shades of a cell, from seldom to always

_MATRIX = (
    "In how many audits each finding of severity medium or more appeared; empty: in none. Outlined: the "
    "findings that see this very flaw. Found: audits with one of these; for a control without a twin, with "
    "any. At least: exact lower limit of the chance to find it, one-sided at 95 %, each flaw by itself."
)
_TRUTHS = (
    "Every quantity that arithmetic knows, and what was measured: mean of the values over seeds, and how "
    "many of the intervals hold the truth. A truth with ≥ or ≤ is a bound, which an interval must reach."
)
_COVERAGE = (
    "Intervals of one kind, over all cases and seeds. They should hold the truth at least as often as they "
    "say. Readings of one audit depend on each other: shares and their exact 95 % intervals count audits. "
    "Too narrow: the upper limit, corrected for the number of kinds, lies below what the interval says. As "
    "said: nothing speaks against it, and the lower limit says how bad it could still be. Too few: not "
    "even intervals that never hold the truth would be faulted at this number of audits."
)
_CHANCE = (
    "Adversaries with sensors on the wrong person, one guess each, over all seeds. p: two-sided, exact, "
    "corrected for the number of adversaries; off at .01 or less."
)
_ALARMS = (
    "Audits of controls and twins with nothing wrong that showed a finding of severity medium or more. "
    "p: chance of so many if one in a hundred were flagged, corrected for the number of cases."
)
_RULES = (
    "Kinds of rules, and how often they flagged something sound, against the share of the promise that "
    "each kind has; rules that are certain have none. p: chance of so many, corrected for the number of "
    "kinds."
)


def matrix_columns(lines: Sequence[DetectionLine]) -> list[str]:
    """Ids of all findings that appeared or should have, sorted."""
    return sorted({id for line in lines for id in (*line.counts, *line.found_by)})


def matrix_table(found: Calibration) -> Table:
    """Flaws by findings."""
    ids = matrix_columns(found.detection)
    rows = tuple(
        (
            Cell(clean(line.case), clean(line.met or "")),
            Cell(f"{line.found} of {line.trials}", "", "calm" if line.found == line.trials else "alarm"),
            Cell(number_text(line.at_least)),
            *(_heat(line, id) for id in ids),
        )
        for line in found.detection
    )
    return Table(_MATRIX, ("Flaw", "Found", "At least", *map(clean, ids)), rows, key="matrix")


def _heat(line: DetectionLine, id: str) -> Cell:
    count, aim = line.counts.get(id, 0), id in line.found_by
    shade = -(-HEATS * count // line.trials)
    return Cell(str(count) if count or aim else "", "", f"heat{shade}{' aim' if aim else ''}")


def alarms_table(found: Calibration) -> Table:
    """Sound cases, flagged ones first."""
    ordered = sorted(found.sound, key=lambda line: -line.flagged)
    rows = tuple(
        (
            Cell(clean(line.case)),
            Cell(f"{line.flagged} of {line.trials}", "", "alarm" if line.noisy else ""),
            Cell(counts_text(line.counts) or "none"),
            Cell(number_text(line.p)),
        )
        for line in ordered
    )
    return Table(_ALARMS, ("Sound case", "Flagged", "By", "p"), rows, key="sound")


def counts_text(counts: Mapping[str, int]) -> str:
    """Findings and in how many audits each appeared, most frequent first.

    Examples
    --------
    >>> counts_text({"keys-repeat": 3, "strangers-agree": 20})
    'strangers-agree 20, keys-repeat 3'
    """
    ordered = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return ", ".join(f"{clean(id)} {n}" for id, n in ordered)


def rules_table(found: Calibration) -> Table:
    """Kinds of rules, and what they flagged."""
    rows = tuple(
        (
            Cell(clean(line.kind)),
            Cell(f"{line.flagged} of {line.trials}", "", "alarm" if line.noisy else ""),
            Cell(counts_text(line.counts) or "none"),
            Cell(number_text(line.share)),
            Cell(number_text(line.p)),
        )
        for line in found.rules
    )
    columns = ("Kind of rule", "Flagged", "By", "Share of the promise", "p")
    return Table(_RULES, columns, rows, key="rules")


def kind_text(line: CoverageLine) -> str:
    """What kind of interval it is, without its method."""
    parts = [line.measure, budget_text(line.budget), "" if line.unit == "probability" else f"({line.unit})"]
    parts += [] if line.bound == "exact" else ["(bound)"]
    return clean(" ".join(part for part in parts if part))


def coverage_table(found: Calibration) -> Table:
    """Kinds of intervals."""
    rows = tuple(
        (
            Cell(kind_text(line)),
            Cell(clean(line.method)),
            Cell(level_text(line.nominal)),
            Cell(f"{line.covered} of {line.readings}"),
            Cell(str(line.audits)),
            Cell(f"{number_text(line.share)} {interval_text(line.low, line.high)}"),
            Cell(number_text(line.at_most)),
            Cell(line.verdict, "", "alarm" if line.verdict == "too narrow" else ""),
        )
        for line in found.coverage
    )
    columns = (
        "Interval of", "Method", "Says", "Hold the truth", "Audits", "Share", "Corrected limit", "Verdict",
    )  # fmt: skip
    return Table(_COVERAGE, columns, rows, key="coverage")


def quantity_text(line: TruthLine) -> str:
    """Whose quantity it is, and which."""
    parts = [line.attack or "honest", line.measure, budget_text(line.budget)]
    return clean(" ".join(part for part in parts if part))


def _method(line: TruthLine) -> str:
    unit = "" if line.unit in (None, "probability") else f", {line.unit}"
    return clean(f"{line.method or ''}{unit}")


def bound_text(line: TruthLine) -> str:
    """The truth, with a sign in front if it is a bound."""
    sign = {"exact": "", "at-least": "≥ ", "at-most": "≤ "}[line.bound]
    return f"{sign}{number_text(line.truth)}"


def truths_table(found: Calibration) -> Table:
    """Truths by case."""
    rows = tuple(
        (
            Cell(clean(line.case)),
            Cell(quantity_text(line), _method(line)),
            Cell(bound_text(line), clean(line.source)),
            Cell(number_text(line.mean), side_text(line.side)),
            Cell(level_text(line.level)),
            Cell(f"{line.inside} of {line.measured}", _unmeasured(line), _tone(line)),
        )
        for line in found.truths
    )
    columns = ("Case", "Quantity", "Truth", "Measured, mean", "Interval says", "Intervals that hold it")
    return Table(_TRUTHS, columns, rows, key="truths", grouped=True)


def _unmeasured(line: TruthLine) -> str:
    missing = line.trials - line.measured
    return f"{missing} of {line.trials} audits told nothing" if missing else ""


def _tone(line: TruthLine) -> str:
    if line.missed:
        return "alarm"
    return "open" if line.measured < line.trials else ""


def chance_table(found: Calibration) -> Table:
    """Adversaries of shuffled pairs."""
    rows = tuple(
        (
            Cell(clean(line.attack), clean(line.case)),
            Cell(f"{number_text(line.hits)} of {line.attempts}"),
            Cell(f"{number_text(line.odds)} {interval_text(line.low, line.high)}"),
            Cell(number_text(line.chance)),
            Cell(number_text(line.p), "", "alarm" if line.off else ""),
        )
        for line in found.chance
    )
    columns = ("Adversary", "Keys at one guess", "Odds", "Chance", "p")
    return Table(_CHANCE, columns, rows, key="chance")
