"""A sweep as data for a page: the best settings, how they fare on others, curves, every point."""

from __future__ import annotations

import shlex
from collections.abc import Sequence

from harness.rows import Row
from harness.sidebyside import QUANTITIES
from harness.swept import CURVES, Confirmation, Point, Sweep
from reports import standing
from reports.model import Block, Cell, Code, Document, Facts, Figure, Items, Paragraph, Section, Table
from reports.sweep_figures import MOST_CURVES, drawn_parameters, setting_text
from reports.wording import clean, interval_text, joined, number_text

__all__ = ["TITLES", "confirmation_rows", "point_text", "settings_text", "sweep_document"]

TITLES = {q.slug: q.title for q in QUANTITIES}
_CURVES = (
    "The adversary's curves are those of the strongest one at each point, named in the table. Attacks "
    "bound security from one side: an attacker gets at least this."
)
_BEST = (
    "Without claims, a point is among the best if no other point does at least as well in net rate, "
    "agreement and strength and better in one. Strength is the mean log2 rank under the strongest of the "
    "adversaries that all points with any ranks share, over the people whom those points share."
)


def sweep_document(sweep: Sweep) -> Document:
    """Build the page of a sweep.

    Returns
    -------
    Document
        Four sections: best settings, curves, points, annex.
    """
    scheme = clean(sweep.scheme["name"])
    varied = " and ".join(clean(p.name) for p in sweep.parameters)
    data = sweep.corpus["data"]
    kind = (
        "Simulated people: evidence about a model of people, not about people. "
        if data == "simulated"
        else ""
    )
    return Document(
        title=f"Sweep of {scheme} over {varied}",
        subtitle=f"{kind}{sweep.people}; corpus {joined(sweep.corpus['name'])}.",
        sections=(_best(sweep), _curves(sweep), _points(sweep), _annex(sweep)),
        findings=None,
        files="sweep.json and sweep.csv",
    )


def settings_text(point: Point) -> str:
    """The values of a point, with the names of their parameters."""
    return ", ".join(f"{clean(k.partition('.')[2])} {setting_text(v)}" for k, v in point.settings.items())


def point_text(row: Row | None) -> str:
    """The value of a row; its status if it has none."""
    if row is None:
        return "–"
    return number_text(row.value) if row.status == "measured" else row.status


def _best(sweep: Sweep) -> Section:
    chosen, choice = sweep.chosen, sweep.choice
    best = [f"{p.number} ({settings_text(p)})" for p in sweep.points if p.admissible]
    facts = [
        ("Chosen point", "none" if chosen is None else f"{chosen.number}: {settings_text(chosen)}"),
        ("Why", choice.reason),
        ("Best points", "; ".join(best) or "none"),
        ("Measured on", sweep.people),
        (
            "Confirmed on",
            choice.confirmation.people if choice.confirmation else f"nobody: {choice.unconfirmed}",
        ),
    ]
    blocks: list[Block] = [
        Facts(tuple((n, clean(t)) for n, t in facts), key="summary"),
        *(Paragraph(clean(note), "notice") for note in sweep.notes),
    ]
    if chosen is not None and choice.confirmation is not None:
        blocks.append(_confirmation_table(chosen, choice.confirmation))
    blocks.append(Paragraph(_BEST))
    return Section("best", "Best settings", tuple(blocks))


def confirmation_rows(chosen: Point, confirmed: Confirmation) -> list[tuple[str, str, str, str]]:
    """Quantity, chosen, confirmed, and the difference, as text."""
    rows = [
        (
            TITLES[q],
            _interval(chosen.rows[q]),
            _interval(confirmed.rows[q]),
            number_text(confirmed.differences[q]),
        )
        for q in CURVES
    ]
    rows.append(
        ("Strongest adversary", clean(chosen.strongest or "none"), clean(confirmed.strongest or "none"), "")
    )
    if confirmed.claims is not None:
        rows.append(("Claims", clean(chosen.claims or ""), clean(confirmed.claims), ""))
    return rows


def _interval(row: Row) -> str:
    if row.status != "measured":
        return f"{row.status}: {clean(row.reason or '')}"
    unit = "" if row.unit == "probability" else f" {clean(row.unit)}"
    return f"{number_text(row.value)} {interval_text(row.low, row.high)}{unit}"


def _confirmation_table(chosen: Point, confirmed: Confirmation) -> Table:
    tone = "alarm" if confirmed.holds is False else ""
    rows = tuple(
        (Cell(title), Cell(a), Cell(b, "", tone if title == "Claims" else ""), Cell(difference))
        for title, a, b, difference in confirmation_rows(chosen, confirmed)
    )
    return Table(
        "The chosen point on the people it was chosen on, and on people who had no part in it. The "
        "difference is confirmed less chosen; these are different people, so both values carry chance.",
        ("Quantity", "Where it was chosen", "On other people", "Difference"),
        rows,
        key="confirmation",
    )


def _curves(sweep: Sweep) -> Section:
    if drawn_parameters(sweep) is None:
        text = f"Not drawn: both parameters take more than {MOST_CURVES} values. See the table."
        return Section("curves", "Curves", (Paragraph(text, "notice"),))
    figure = Figure(
        "curves",
        "curves",
        f"{clean(sweep.scheme['name'])}: what varying does",
        f"{_CURVES} Gaps: refused or untested.",
    )
    return Section("curves", "Curves", (figure,))


def _points(sweep: Sweep) -> Section:
    columns = (
        "Point", *(clean(p.name) for p in sweep.parameters), *(TITLES[q] for q in CURVES),
        "Strongest adversary", "Strength", "Best?",
    )  # fmt: skip
    rows = tuple(_line(sweep, p) for p in sweep.points)
    caption = (
        "Values; their intervals are in sweep.csv and in the curves. Strength: mean log2 rank, see above."
    )
    return Section("points", "Every point", (Table(caption, columns, rows, key="points"),))


def _line(sweep: Sweep, point: Point) -> tuple[Cell, ...]:
    return (
        Cell(str(point.number)),
        *(Cell(setting_text(point.settings[p.label])) for p in sweep.parameters),
        *(_cell(point.rows.get(q)) for q in CURVES),
        Cell(clean(point.strongest or "–")),
        Cell(number_text(point.parts[2])),
        _verdict(sweep, point),
    )


def _cell(row: Row | None) -> Cell:
    if row is None:
        return Cell("–")
    if row.status != "measured":
        return Cell(row.status, clean(row.reason or ""), "open")
    return Cell(number_text(row.value))


def _verdict(sweep: Sweep, point: Point) -> Cell:
    """Is it among the best? Why a point was refused or failed stands in the annex."""
    if point.status == "refused":
        return Cell("refused", "see the annex", "open")
    text = "chosen" if point.number == sweep.choice.point else "yes" if point.admissible else "no"
    if point.status == "failed":
        return Cell(
            text, f"a plug-in failed, see the annex; {clean(point.claims or '')}".rstrip("; "), "open"
        )
    return Cell(text, clean(point.claims or ""), "calm" if point.admissible else "")


def _annex(sweep: Sweep) -> Section:
    command: Sequence[str] = sweep.settings["command"]
    return Section(
        "annex",
        "Annex: what was refused or failed, running it again, cautions",
        (
            Paragraph("Points that were refused or failed:"),
            Items(tuple(_troubles(sweep)) or (("", "none"),), key="troubles"),
            Paragraph("To run this sweep again:"),
            Code(shlex.join(clean(w) for w in command)),
            Paragraph("Cautions:"),
            Items(standing.CAUTIONS, key="cautions"),
        ),
    )


def _troubles(sweep: Sweep) -> list[tuple[str, str]]:
    told = [(f"point {p.number}, refused", clean(p.refusal)) for p in sweep.points if p.refusal is not None]
    for p in sweep.points:
        failures = [] if p.audit is None else [r for r in p.audit.rows if r.status == "failed"]
        for r in {(r.attack, r.reason): r for r in failures}.values():
            told.append(
                (f"point {p.number}, failed, {clean(r.attack or 'the scheme')}", clean(r.reason or ""))
            )
    return told
