"""The rows of a result as tables: those of the owners by topic, those of an adversary in one."""

from __future__ import annotations

from collections.abc import Sequence

from harness.results import Row
from reports.model import Cell, Table
from reports.wording import budget_text, clean, evidence_text, level_text, quantity_text, side_text

__all__ = ["honest_tables", "result_table"]

_TOPICS = (
    (
        "min-entropy",
        "min-entropy of symbols, and of the key given helper data",
        "Statistical estimates bound from above only: a single one may lie far above the truth, and the "
        "least of all counts. Rows that pool people hold for nobody in particular; the worst person's "
        "stand beside them.",
    ),
    (
        "bits-left",
        "what is left of the record, stage by stage",
        "Each line is what is left of the whole once the adversary knows everything up to that stage. "
        "Stages do not add, and hold in this order only. The last lines are what may be used as a key.",
    ),
    (
        "randomness",
        "randomness of the keys, which is not secrecy",
        "Randomness is not secrecy: keys that hash a counter, which anybody can count, pass every one of "
        "these tests. A failed test shows that keys are guessable; a passed one shows nothing.",
    ),
)


def honest_tables(scheme: str, rows: Sequence[Row]) -> list[Table]:
    """What the scheme does for its owner: one table, and one for each topic with rows of its own."""
    topics = {measure for measure, _, _ in _TOPICS}
    rest = [r for r in rows if r.measure not in topics]
    found = [result_table(f"{clean(scheme)}: the honest pair", "", rest)] if rest else []
    for measure, heading, said in _TOPICS:
        own = [r for r in rows if r.measure == measure]
        if own:
            found.append(result_table(f"{clean(scheme)}: {heading}", said, own))
    return found


def result_table(heading: str, said: str, rows: Sequence[Row]) -> Table:
    """Rows with interval, direction, evidence and method."""
    columns = (
        "Measure",
        "Guesses",
        "Value and interval",
        "What it bounds",
        "Rests on",
        "People, attempts",
        "Method, note",
    )
    return Table(said, columns, tuple(_result_row(r) for r in rows), key="results", heading=heading)


def _result_row(row: Row) -> tuple[Cell, ...]:
    tone = "" if row.status == "measured" else "open"
    bounded = row.low is not None or row.high is not None
    return (
        Cell(clean(row.measure), clean(row.unit)),
        Cell(budget_text(row.budget)),
        Cell(quantity_text(row), f"level {level_text(row.level)}" if bounded else "", tone),
        Cell(_bounds(row)),
        Cell(evidence_text(row.evidence), f"{clean(row.data)} data"),
        Cell(f"{row.subjects}, {row.attempts}"),
        Cell(clean(row.method), clean(row.reason or "")),
    )


def _bounds(row: Row) -> str:
    if row.measure == "leakage-test" and row.status == "measured":
        return "chance of a view this telling if nothing leaked"
    return side_text(row.side)
