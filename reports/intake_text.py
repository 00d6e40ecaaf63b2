"""The intake check for a terminal of a hundred columns, and as a page."""

from __future__ import annotations

import textwrap
from functools import partial

from tabulate import tabulate

from harness.intake.record import Inspection
from reports.html import to_html
from reports.intake import intake_document, resolution_facts
from reports.intake_figures import draw_intake
from reports.model import Document, Facts, Items, Table
from reports.wording import clean, folded

__all__ = ["intake_html", "intake_text"]

WIDTH = 100
# Nine columns and eight gaps of two fill at most the width.
_STREAMS = (
    ("Stream", 24),
    ("Rate", 8),
    ("Length", 6),
    ("Valid", 6),
    ("Clipped", 7),
    ("Noise floor", 9),
    ("Signal to noise", 9),
    ("Active", 6),
    ("Mains", 7),
)


def intake_html(found: Inspection) -> str:
    """The page; loads nothing and runs nothing."""
    return to_html(intake_document(found), drawn=partial(draw_intake, found))


def intake_text(found: Inspection) -> str:
    """What the terminal shows: first what to look at, then streams, clocks, adversaries, resolution."""
    page = intake_document(found)
    parts = [
        f"{page.title}\n{page.subtitle}",
        _first(page),
        _table(page.tables("streams")[0], _STREAMS),
        _clocks(found),
        _coverage(found),
        "\n".join(_filled(f"{name}: {text}") for name, text in resolution_facts(found)),
        _strata(found),
        _shifts(found),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _first(page: Document) -> str:
    blocks = page.section("first").blocks
    facts = next(b for b in blocks if isinstance(b, Facts))
    items = next(b for b in blocks if isinstance(b, Items))
    lines = [_filled(f"{name}: {text}") for name, text in facts.pairs]
    lines += [_filled(f"{name}: {text}" if name else text, "- ") for name, text in items.entries]
    return "\n".join(lines)


def _table(table: Table, columns: tuple[tuple[str, int], ...]) -> str:
    places = [table.columns.index(name) for name, _ in columns]
    rows = [
        ["\n".join(folded(row[k].text, width)) for k, (_, width) in zip(places, columns, strict=True)]
        for row in table.rows
    ]
    heads = ["\n".join(folded(name, width)) for name, width in columns]
    return tabulate(rows, headers=heads, tablefmt="simple", disable_numparse=True)


def _clocks(found: Inspection) -> str:
    seen = [c for c in found.clocks if c.offset_s is not None]
    if not found.clocks:
        return ""
    if not seen:
        return _filled(
            f"Clocks: no common activity was seen in any of {len(found.clocks)} pairs of recordings."
        )
    ranked = sorted(seen, key=lambda c: abs(c.offset_s or 0.0))
    middle, worst = ranked[len(ranked) // 2], ranked[-1]
    drifts = sorted(c.drift_ppm for c in seen if c.drift_ppm is not None)
    drift = f"; drift {drifts[len(drifts) // 2]:.0f} ppm in the middle" if drifts else ""
    cost = max(sum(c.aligned - c.agreement for c in seen) / len(seen), 0.0)
    return _filled(
        f"Clocks: device-b is {1e3 * (middle.offset_s or 0):.1f} ms late in the middle of {len(seen)} of "
        f"{len(found.clocks)} pairs of recordings, {1e3 * (worst.offset_s or 0):.1f} ms at most "
        f"({worst.place}){drift}. Left as it is, that costs {cost:.3f} of the correlation of 3 Hz "
        f"envelopes."
    )


def _coverage(found: Inspection) -> str:
    open_ = [one for one in found.coverage if not one.reason]
    lines = [_filled(f"Can test: {', '.join(clean(one.attack) for one in open_) or 'no adversary'}")]
    lines += [
        _filled(f"Cannot test {clean(one.attack)}: {clean(one.reason)}", "- ")
        for one in found.coverage
        if one.reason
    ]
    lines += [
        _filled(f"Role {clean(role)} is read by no adversary ({count} attempts)", "- ")
        for role, count in found.unread.items()
    ]
    return "\n".join(lines)


def _strata(found: Inspection) -> str:
    return "\n".join(
        _filled(
            f"Stratum {one.kind} {clean(one.value)}: {one.subjects} subjects, {one.sessions} sessions, "
            f"{one.attempts} attempts"
        )
        for one in found.strata
    )


def _shifts(found: Inspection) -> str:
    if found.shifts is None:
        return ""
    known = [s for s in found.shifts if s.shift_s is not None]
    head = f"Synchronised by onset, the corpus unchanged: {len(known)} of {len(found.shifts)} attempts"
    if not known:
        return _filled(f"{head}.")
    before, after = (sum(getattr(s, name) for s in known) / len(known) for name in ("before", "after"))
    return _filled(f"{head}; agreement of envelopes {before:.3f} before, {after:.3f} after.")


def _filled(text: str, bullet: str = "") -> str:
    return textwrap.fill(
        clean(text), WIDTH, initial_indent=bullet, subsequent_indent="  ", break_on_hyphens=False
    )
