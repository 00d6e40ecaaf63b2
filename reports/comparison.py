"""The comparison page as data: schemes side by side, differences over people, who dominates whom."""

from __future__ import annotations

import shlex
from collections.abc import Sequence

from harness.results import SEVERITIES, Row
from harness.sidebyside import LEVEL, QUANTITIES, Difference, Entry, Quantity, SideBySide
from reports import standing
from reports.claims import claims_table
from reports.first_screen import evidence_line
from reports.model import Block, Cell, Code, Document, Facts, Items, Paragraph, Section, Table
from reports.reading import key_bits, levels, resolution
from reports.wording import (
    budget_text,
    clean,
    interval_text,
    joined,
    level_text,
    number_text,
    side_text,
    value_text,
)

__all__ = ["comparison_document", "difference_text", "noted", "who_text"]

_NO_SCORE = (
    "There is no total score: how much rate is worth how much strength depends on the use. A scheme "
    "dominates another one if it is at least as good in net rate, in agreement and in strength (mean log2 "
    "rank of the true key under the strongest adversary measured for both), and better in one of them."
)
_STRENGTH = (
    "Attacks bound the strength from one side: an attacker gets at least this, and another attack may "
    "get more."
)
_TONES = {"measured": "", "not-applicable": ""}


def comparison_document(found: SideBySide) -> Document:
    """Build the comparison page.

    Parameters
    ----------
    found : SideBySide

    Returns
    -------
    Document
        Five sections: side by side, who dominates, differences, each adversary, annex.
    """
    audit = found.audit
    counts = [(s, sum(f.severity == s for f in audit.findings)) for s in reversed(SEVERITIES)]
    return Document(
        title=f"Side by side: {', '.join(clean(s) for s in found.schemes)}",
        subtitle=f"{evidence_line(audit)} Corpus: {joined(audit.corpus.get('name'))}.",
        sections=(
            _side_by_side(found),
            _dominance(found),
            _differences(found),
            _adversaries(found),
            _annex(found),
        ),
        findings=tuple((s, n) for s, n in counts if n),
    )


def who_text(attack: str | None) -> str:
    """Whose a number is."""
    return "honest pair" if attack is None else clean(attack)


def noted(row: Row) -> str:
    """Why a cell has no number, or what its number rests on."""
    return clean(row.reason or "")


def difference_text(found: Difference) -> str:
    """A difference with its interval."""
    return f"{number_text(found.value)} {interval_text(found.low, found.high)}"


def _side_by_side(found: SideBySide) -> Section:
    audit = found.audit
    facts = [
        *((f"Strongest adversary: {clean(s)}", _strongest(found, s)) for s in found.schemes),
        *((f"Key length: {clean(s)}", f"{joined(key_bits(audit, s))} bits") for s in found.schemes),
        ("Smallest odds this corpus could have shown", resolution(audit)),
    ]
    table = Table(
        "The same people, attempts and adversaries for all. An adversary's figures are those of each "
        f"scheme's strongest one. Intervals: odds {levels(audit.rows)}, the others as in comparison.csv.",
        ("Quantity", *(clean(s) for s in found.schemes), "What it bounds"),
        tuple(_line(found, q) for q in QUANTITIES),
        key="side-by-side",
    )
    blocks: list[Block] = [Facts(tuple(facts), key="summary"), table]
    if audit.claims is not None:
        blocks.append(claims_table(audit.claims))
    return Section("side-by-side", "Side by side", tuple(blocks))


def _strongest(found: SideBySide, scheme: str) -> str:
    attack = found.strongest.get(scheme)
    if attack is None:
        return "none: no key rank was measured, so no adversary can be called strongest"
    return f"{clean(attack)}, by the least mean log2 rank over people"


def _line(found: SideBySide, quantity: Quantity) -> tuple[Cell, ...]:
    rows = {e.row.scheme: e.row for e in found.entries if e.quantity == quantity.slug}
    units = dict.fromkeys(clean(r.unit) for r in rows.values() if r.unit not in ("probability", "none"))
    sides = dict.fromkeys(side_text(r.side) for r in rows.values() if r.side is not None)
    return (
        Cell(quantity.title, " or ".join(units)),
        *(_cell(rows[s]) for s in found.schemes),
        Cell("; ".join(sides) or "–"),
    )


def _cell(row: Row) -> Cell:
    return Cell(_value(row), noted(row), _TONES.get(row.status, "open"))


def _value(row: Row) -> str:
    bare = row.low is None and row.high is None
    return number_text(row.value) if row.status == "measured" and bare else value_text(row)


def _dominance(found: SideBySide) -> Section:
    rows = tuple(
        (
            Cell(f"{clean(d.first)} and {clean(d.second)}"),
            Cell(_winner(d.values)),
            Cell(_winner(d.settled)),
            Cell(clean(d.reason), _set_by(d.strongest)),
        )
        for d in found.dominances
    )
    columns = ("Pair", "Dominates on the values", "Settled beyond chance", "Why")
    table = Table(
        "Settled: every part that carries the verdict differs significantly after Holm's correction, or is "
        "equal for every person.",
        columns,
        rows,
        key="dominance",
    )
    return Section("dominance", "Who dominates whom", (Paragraph(_NO_SCORE), table, Paragraph(_STRENGTH)))


def _winner(name: str | None) -> str:
    return "neither" if name is None else clean(name)


def _set_by(who: tuple[str | None, str | None]) -> str:
    if None in who:
        return "no adversary was measured for both"
    return f"strength set by {' and '.join(dict.fromkeys(map(clean, who)))}"


def _differences(found: SideBySide) -> Section:
    intro = (
        "Each line compares the same people under two schemes: mean difference, first less second, with "
        f"a {level_text(LEVEL)} interval over people; two-sided p, alone and by Holm over all "
        f"{len(found.differences)} lines of this page. Who is better is said at {number_text(1 - LEVEL)} "
        "after Holm."
    )
    blocks: list[Block] = [Paragraph(intro)]
    for pair in dict.fromkeys((d.first, d.second) for d in found.differences):
        own = [d for d in found.differences if (d.first, d.second) == pair]
        blocks.append(_difference_table(pair, own))
    if not found.differences:
        blocks.append(Paragraph("No measure has values of the same people under two schemes.", "notice"))
    return Section("differences", "Differences over the same people", tuple(blocks))


def _difference_table(pair: tuple[str, str], own: Sequence[Difference]) -> Table:
    first, second = map(clean, pair)
    rows = tuple(
        (
            Cell(clean(d.measure), who_text(d.attack)),
            Cell(budget_text(d.budget)),
            Cell(number_text(d.means[0])),
            Cell(number_text(d.means[1])),
            Cell(difference_text(d), f"{d.people} people"),
            Cell(number_text(d.p)),
            Cell(number_text(d.adjusted)),
            Cell(clean(d.reason), "", "calm" if d.better else ""),
        )
        for d in own
    )
    columns = ("Measure", "Guesses", first, second, "Difference", "p", "p, Holm", "In words")
    return Table("", columns, rows, key="differences", heading=f"{first} less {second}")


def _adversaries(found: SideBySide) -> Section:
    quantities = [q for q in QUANTITIES if q.of == "adversary"]
    blocks: list[Block] = []
    for scheme in found.schemes:
        own = [e for e in found.by_adversary if e.row.scheme == scheme]
        cells = {(e.row.attack, e.quantity): e.row for e in own}
        names = dict.fromkeys(e.row.attack for e in own)
        rows = tuple(
            (
                Cell(who_text(a), "the strongest" if a == found.strongest.get(scheme) else ""),
                *(_narrow(cells[a, q.slug]) for q in quantities),
            )
            for a in names
        )
        columns = ("Adversary", *(q.title for q in quantities))
        blocks.append(Table("", columns, rows, key="adversaries", heading=clean(scheme)))
    return Section("adversaries", "Each adversary", tuple(blocks))


def _narrow(row: Row) -> Cell:
    """A cell of a wide table: the interval stands below the value."""
    if row.status != "measured":
        return Cell(row.status, noted(row), _TONES.get(row.status, "open"))
    bare = row.low is None and row.high is None
    return Cell(number_text(row.value), "" if bare else interval_text(row.low, row.high))


def _annex(found: SideBySide) -> Section:
    command = ["keyassay", "compare", *map(str, list(found.audit.settings.get("command", []))[2:])]
    untested = _unmeasured(found.entries)
    return Section(
        "annex",
        "Annex: what is not measured, running it again, cautions",
        (
            Paragraph("Not measured, and no pass:"),
            Items(tuple(untested) or (("", "none"),), key="untested"),
            Paragraph("To run this comparison again:"),
            Code(shlex.join(clean(w) for w in command)),
            Paragraph("Cautions:"),
            Items(standing.CAUTIONS, key="cautions"),
        ),
    )


def _unmeasured(entries: Sequence[Entry]) -> list[tuple[str, str]]:
    """Reason by reason: which quantities of which schemes have no number."""
    titles = {q.slug: q.title for q in QUANTITIES}
    grouped: dict[tuple[str, str], dict[str, list[str]]] = {}
    for e in entries:
        if e.row.status != "measured":
            reasons = grouped.setdefault((e.row.status, noted(e.row)), {})
            reasons.setdefault(titles[e.quantity], []).append(clean(e.row.scheme))
    told = []
    for (status, why), cells in grouped.items():
        whose = "; ".join(f"{title} ({', '.join(names)})" for title, names in cells.items())
        told.append((status, f"{why}: {whose}"))
    return told
