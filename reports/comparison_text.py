"""The comparison for a terminal of a hundred columns, and as a tidy table for a spreadsheet."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Iterable

from tabulate import tabulate

from harness.results import Row
from harness.sidebyside import QUANTITIES, Difference, SideBySide
from reports.comparison import comparison_document, difference_text, who_text
from reports.model import Items
from reports.standing import CAUTIONS
from reports.text import WIDTH
from reports.wording import budget_text, clean, folded, interval_text, number_text

__all__ = ["CSV_COLUMNS", "comparison_csv", "comparison_text", "guarded"]

CSV_COLUMNS = (
    "scheme", "quantity", "adversary", "strongest", "value", "low", "high", "level", "unit", "side",
    "evidence", "data", "subjects", "attempts", "method", "status", "reason",
)  # fmt: skip
_FIRST = 28
_ACROSS = 3  # schemes beside each other
_FORMULA = ("=", "+", "-", "@")


def comparison_text(found: SideBySide) -> str:
    """What the terminal shows: quantities, who dominates, what differs, what is not measured."""
    parts = [*_tables(found), *_dominances(found), *_differences(found)]
    annex = comparison_document(found).section("annex")
    untested = next(b for b in annex.blocks if isinstance(b, Items) and b.key == "untested")
    parts.append(
        "\n".join(
            [
                "Not measured, and no pass:",
                *(_filled(f"{n}: {t}" if n else t, "- ") for n, t in untested.entries),
            ]
        )
    )
    parts.append("\n".join(_filled(f"{name}: {text}", "- ") for name, text in CAUTIONS))
    return "\n\n".join(parts) + "\n"


def _tables(found: SideBySide) -> Iterable[str]:
    rows = {(e.row.scheme, e.quantity): e.row for e in found.entries}
    for start in range(0, len(found.schemes), _ACROSS):
        names = found.schemes[start : start + _ACROSS]
        width = (WIDTH - _FIRST - 2 * len(names)) // len(names)
        head = ["quantity", *("\n".join(folded(n, width)) for n in names)]
        body = [
            [
                "\n".join(folded(q.title, _FIRST)),
                *("\n".join(folded(_value(rows[n, q.slug]), width)) for n in names),
            ]
            for q in QUANTITIES
        ]
        body.insert(
            0,
            [
                "strongest adversary",
                *("\n".join(folded(found.strongest[n] or "none", width)) for n in names),
            ],
        )
        yield tabulate(body, headers=head, tablefmt="simple", disable_numparse=True)


def _value(row: Row) -> str:
    if row.status != "measured":
        return row.status
    unit = "" if row.unit == "probability" else f" {clean(row.unit)}"
    bare = row.low is None and row.high is None
    least = "at least " if row.side == "defender-at-least" else ""
    return f"{least}{number_text(row.value)}{'' if bare else f' {interval_text(row.low, row.high)}'}{unit}"


def _dominances(found: SideBySide) -> Iterable[str]:
    for d in found.dominances:
        if d.values is None:
            said = "neither dominates"
        elif d.settled is None:
            said = f"{clean(d.values)} dominates on the values, not settled"
        else:
            said = f"{clean(d.settled)} dominates, settled beyond chance"
        yield _filled(f"{clean(d.first)} and {clean(d.second)}: {said}. {clean(d.reason)}.")


def _differences(found: SideBySide) -> Iterable[str]:
    for first, second in dict.fromkeys((d.first, d.second) for d in found.differences):
        own = [d for d in found.differences if (d.first, d.second) == (first, second)]
        shown = [d for d in own if d.better is not None]
        equal = sum(d.equal for d in own)
        rest = len(own) - len(shown) - equal
        lines = [
            _filled(
                f"{clean(first)} less {clean(second)}, same people: {len(own)} measures; {len(shown)} "
                f"differ after Holm over all {len(found.differences)}, {equal} are equal for every "
                f"person; not told apart: {rest} (all of them in comparison.html)."
            ),
            *(_filled(_difference_line(d), "- ") for d in shown),
        ]
        yield "\n".join(lines)


def _difference_line(d: Difference) -> str:
    budget = f" at {budget_text(d.budget)}" if d.budget else ""
    p = f"p {number_text(d.p)}, Holm {number_text(d.adjusted)}"
    return f"{who_text(d.attack)}, {clean(d.measure)}{budget}: {difference_text(d)}, {p}: {clean(d.reason)}"


def _filled(text: str, bullet: str = "") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=bullet, subsequent_indent="  ", break_on_hyphens=False)


def comparison_csv(found: SideBySide) -> str:
    """One row per scheme, quantity and adversary, numbers unrounded, in the columns of `CSV_COLUMNS`.

    Other people's words that a spreadsheet would take for a formula are quoted (see `guarded`).
    """
    attacked = {(e.row.scheme, e.quantity) for e in found.by_adversary}
    own = [e for e in found.entries if (e.row.scheme, e.quantity) not in attacked]
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    for entry in [*own, *found.by_adversary]:
        row = entry.row
        top = row.attack is not None and row.attack == found.strongest.get(row.scheme)
        writer.writerow(
            [
                guarded(row.scheme),
                entry.quantity,
                guarded(row.attack or ""),
                "yes" if top else "no",
                *("" if n is None else repr(n) for n in (row.value, row.low, row.high, row.level)),
                guarded(row.unit),
                row.side or "",
                row.evidence or "",
                guarded(row.data),
                row.subjects,
                row.attempts,
                guarded(row.method),
                row.status,
                guarded(row.reason or ""),
            ]
        )
    return buffer.getvalue()


def guarded(text: str) -> str:
    """Words for a cell: on one line, and with a quote in front where a spreadsheet would compute them.

    Examples
    --------
    >>> guarded("=1+1"), guarded(" @sum"), guarded("plain")
    ("'=1+1", "'@sum", 'plain')
    """
    words = clean(text)
    return f"'{words}" if words.startswith(_FORMULA) else words
