"""A sweep for a terminal of a hundred columns, as a page, and as a tidy table for a spreadsheet."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Mapping
from functools import partial
from typing import Any

from tabulate import tabulate

from harness.rows import Row
from harness.swept import CURVES, Point, Sweep
from reports.comparison_text import guarded
from reports.html import to_html
from reports.standing import CAUTIONS
from reports.sweep import confirmation_rows, point_text, settings_text, sweep_document
from reports.sweep_figures import draw_curves
from reports.text import WIDTH
from reports.wording import clean, folded

__all__ = ["sweep_csv", "sweep_html", "sweep_text"]

_SHOWN = (  # the columns of the terminal's table, and their widths
    ("agreement", "agree", 7), ("net-rate", "bit/s", 8), ("min-entropy", "min-ent.", 8),
    ("key-rank", "rank", 6), ("odds-1", "1 guess", 8), ("odds-2^20", "2^20", 8), ("odds-2^40", "2^40", 8),
)  # fmt: skip
_SETTINGS = 22


def sweep_text(sweep: Sweep) -> str:
    """What the terminal shows: every point, the chosen one and how it fares on others, notes."""
    parts = [_points(sweep), _choice(sweep)]
    parts += [_filled(note) for note in sweep.notes]
    troubles = [f"point {p.number} refused: {p.refusal}" for p in sweep.points if p.refusal is not None]
    parts += ["\n".join(_filled(t, "- ") for t in troubles)] if troubles else []
    parts.append("\n".join(_filled(f"{name}: {text}", "- ") for name, text in CAUTIONS))
    return "\n\n".join(parts) + "\n"


def _points(sweep: Sweep) -> str:
    body = [
        [
            str(p.number),
            "\n".join(folded(settings_text(p), _SETTINGS)),
            *("\n".join(folded(point_text(p.rows.get(q)), w)) for q, _, w in _SHOWN),
            _mark(sweep, p),
        ]
        for p in sweep.points
    ]
    head = ["", "settings", *(name for _, name, _ in _SHOWN), "best"]
    table = tabulate(body, headers=head, tablefmt="simple", disable_numparse=True)
    said = (
        f"{clean(sweep.scheme['name'])} on {sweep.people}: agreement, net rate, min-entropy given "
        "helper data in bits, median log2 rank and odds of the strongest adversary at each point."
    )
    return f"{_filled(said)}\n\n{table}"


def _mark(sweep: Sweep, point: Point) -> str:
    if point.number == sweep.choice.point:
        return "chosen"
    return "best" if point.admissible else ("refused" if point.status == "refused" else "")


def _choice(sweep: Sweep) -> str:
    chosen, confirmed = sweep.chosen, sweep.choice.confirmation
    if chosen is None:
        return _filled(f"No point was chosen: {sweep.choice.reason}.")
    lines = [_filled(f"Chosen: point {chosen.number} ({settings_text(chosen)}), {sweep.choice.reason}.")]
    if confirmed is None:
        return "\n".join([*lines, _filled(f"Not confirmed: {sweep.choice.unconfirmed}.")])
    body = [
        ["\n".join(folded(title, 30)), "\n".join(folded(a, 24)), "\n".join(folded(b, 24)), difference]
        for title, a, b, difference in confirmation_rows(chosen, confirmed)
    ]
    head = ["quantity", "where it was chosen", "on other people", "difference"]
    table = tabulate(body, headers=head, tablefmt="simple", disable_numparse=True)
    lines.append(_filled(f"Confirmed on {confirmed.people}; difference: confirmed less chosen."))
    return "\n".join([*lines, "", table])


def _filled(text: str, bullet: str = "") -> str:
    return textwrap.fill(
        clean(text), WIDTH, initial_indent=bullet, subsequent_indent="  ", break_on_hyphens=False
    )


def sweep_csv(sweep: Sweep) -> str:
    """One row per point and quantity, the confirmation last; numbers unrounded, formulas quoted."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    labels = [p.label for p in sweep.parameters]
    writer.writerow(
        [
            "people", "point", *labels, "status", "best", "chosen", "quantity", "adversary", "value", "low",
            "high", "level", "unit", "side", "evidence", "method", "reason",
        ]
    )  # fmt: skip
    for point in sweep.points:
        writer.writerows(_lines(sweep, point, "swept", point.rows))
    chosen, confirmed = sweep.chosen, sweep.choice.confirmation
    if chosen is not None and confirmed is not None:
        writer.writerows(_lines(sweep, chosen, "confirmation", confirmed.rows))
    return buffer.getvalue()


def _lines(sweep: Sweep, point: Point, people: str, rows: Mapping[str, Row]) -> list[list[Any]]:
    start = [people, point.number, *(_setting(v) for v in point.settings.values())]
    flags = ["yes" if flag else "no" for flag in (point.admissible, point.number == sweep.choice.point)]
    if not rows:
        return [[*start, point.status, *flags, *[""] * 10, guarded(point.refusal or "")]]
    return [
        [
            *start,
            rows[q].status,
            *flags,
            q,
            guarded(rows[q].attack or ""),
            *(
                "" if n is None else repr(n)
                for n in (rows[q].value, rows[q].low, rows[q].high, rows[q].level)
            ),
            guarded(rows[q].unit),
            rows[q].side or "",
            rows[q].evidence or "",
            guarded(rows[q].method),
            guarded(rows[q].reason or ""),
        ]
        for q in CURVES
    ]


def _setting(value: Any) -> str:
    """A number stays one, whatever its sign; words are quoted where they would be computed."""
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return repr(value) if number else guarded(str(value))


def sweep_html(sweep: Sweep) -> str:
    """A self-contained page: inline style and figure, no script, everything from outside escaped."""
    return to_html(sweep_document(sweep), drawn=partial(draw_curves, sweep))
