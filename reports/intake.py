"""The intake check as data for a page: what to look at first, then streams, clocks, people, adversaries."""

from __future__ import annotations

from collections.abc import Sequence

from harness.intake.record import Inspection
from reports.intake_tables import SHOWN, clocks_section, streams_section
from reports.model import Block, Cell, Document, Facts, Items, Paragraph, Section, Table
from reports.wording import clean, joined, number_text

__all__ = ["intake_document", "resolution_facts"]

_SYNCHRONISED = (
    "On request. Nothing in the corpus was changed: the table says what aligning the devices by the onset "
    "of activity does to each attempt; keyassay inspect CORPUS --synchronise --aligned FILE writes a "
    "manifest to audit it by. A scheme that aligns its devices has to do so itself, on what a device of "
    "its own sees."
)


def intake_document(found: Inspection) -> Document:
    """Build the page of an intake check.

    Returns
    -------
    Document
        Sections: first, streams, clocks, alike, adversaries, resolution, and, where asked, synchronisation.
    """
    kind = "Simulated people. " if found.data == "simulated" else "Recorded people. "
    sections = [
        _first(found),
        streams_section(found),
        clocks_section(found),
        _alike(found),
        _adversaries(found),
        _resolution(found),
    ]
    if found.shifts is not None:
        sections.append(_shifts(found))
    return Document(
        title=f"Intake check: {clean(found.name)}",
        subtitle=f"{kind}{_size(found)}.",
        sections=tuple(sections),
        findings=None,
        files="intake.json",
    )


def _size(found: Inspection) -> str:
    counts = found.counts
    return f"{counts['subjects']} subjects, {counts['sessions']} sessions, {counts['attempts']} attempts"


def _first(found: Inspection) -> Section:
    counts = found.counts
    facts = (
        ("Usable", f"{_size(found)} with both devices"),
        ("Sessions of each subject", _range(counts["sessions_of_each"])),
        ("Attempts of each session", _range(counts["attempts_of_each"])),
        ("Roles, and attempts that have them", joined(counts["roles"])),
        ("Excluded attempts", joined(counts.get("excluded"))),
        ("Attempts that lack a device", joined(counts.get("incomplete", 0))),
        ("Open to", _served(found)),
    )
    damaged = [("Left out", clean(text)) for text in found.complaints]
    seen = [(remark.kind, clean(remark.text)) for remark in found.remarks]
    nothing = ("", "Nothing is damaged, and no measure lies beyond its threshold.")
    blocks: list[Block] = [
        Facts(facts, key="summary"),
        Items(tuple(damaged + seen or [nothing]), key="remarks"),
    ]
    if damaged:
        blocks.append(
            Paragraph(
                "What is left out is missing from all figures below; an audit refuses the corpus.", "notice"
            )
        )
    return Section("first", "What there is, and what to look at", tuple(blocks))


def _range(pair: Sequence[int]) -> str:
    low, high = pair
    return str(low) if low == high else f"{low} to {high}"


def _served(found: Inspection) -> str:
    closed = [one.attack for one in found.coverage if one.reason]
    return f"{len(found.coverage) - len(closed)} of {len(found.coverage)} adversaries"


def _alike(found: Inspection) -> Section:
    told = Paragraph(
        "Identical samples are found by their digest, anywhere. Nearly identical captures of a device "
        "have envelopes that correlate by 0.98 or more from their first sample on, more than chance makes "
        f"of {found.compared['pairs']} pairs at a level of 1 % for all together (Bonferroni), and wave "
        f"forms that correlate by 0.5 within 64 samples. Envelopes alone are alike where everybody "
        f"follows one cue. Captures not compared, too short or too many: {found.compared['left_out']}."
    )
    rows = tuple(
        (
            Cell(clean(one.kind), f"different {one.between}"),
            Cell(clean(one.first)),
            Cell(clean(one.second)),
            Cell(
                f"{one.correlation:.4f}", "" if one.p_value is None else f"p = {number_text(one.p_value)}"
            ),
        )
        for one in found.alike[:SHOWN]
    )
    more = f" {SHOWN} of {len(found.alike)}." if len(found.alike) > SHOWN else ""
    table = Table(
        f"Captures that are alike.{more}", ("Kind", "One", "Other", "Correlation"), rows, key="alike"
    )
    return Section("alike", "Duplicates", (told, table))


def _adversaries(found: Inspection) -> Section:
    rows = tuple(
        (
            Cell(clean(one.attack), joined(list(one.sees)) if one.sees else "run by the harness itself"),
            Cell(
                "cannot be tested" if one.reason else f"{one.attempts} attempts of {one.subjects} subjects",
                clean(one.reason) if one.reason else _hands(one.attackers),
                "open" if one.reason else "",
            ),
        )
        for one in found.coverage
    )
    blocks: list[Block] = [
        Table(
            "What each adversary finds here. One that cannot be tested stays an open threat of every "
            "audit on this corpus; it is never a pass.",
            ("Adversary", "Finds"),
            rows,
            key="coverage",
        )
    ]
    entries = [
        (f"Role {clean(role)}", f"read by no adversary, in {count} attempts: a slip of the pen?")
        for role, count in found.unread.items()
    ]
    entries += [
        (
            f"Scheme {clean(name)}",
            "can run" if runs else "cannot run: a device lacks the signal that it reads",
        )
        for name, runs in found.schemes.items()
    ]
    if entries:
        blocks.append(Items(tuple(entries)))
    return Section("adversaries", "What it can test", tuple(blocks))


def _hands(attackers: int) -> str:
    return f"{attackers} people attack" if attackers else ""


def resolution_facts(found: Inspection) -> tuple[tuple[str, str], ...]:
    """What the corpus can resolve, in words."""
    seen = found.resolution
    odds, people = seen.odds, seen.people
    leaks = (seen.leak_attempts, seen.leak_subjects)
    low, high = (number_text(x) if x is not None else "any" for x in leaks)
    return (
        (
            "Smallest odds it could show",
            "none"
            if odds is None
            else f"{number_text(odds.high)} an attempt: the upper limit at 95 % if no attempt of the "
            "adversary succeeded",
        ),
        (
            "Share of people it could show",
            "none"
            if people is None
            else f"{number_text(people.high)}: the upper limit at 95 % if nobody's key were found, of "
            f"{people.subjects} people",
        ),
        (
            "Largest leak that could stay hidden",
            f"{low} bit of a fair bit if attempts were independent, {high} if only people are: below that "
            f"a test at 5 % misses it more than one time in five",
        ),
    )  # fmt: skip


def _resolution(found: Inspection) -> Section:
    rows = tuple(
        tuple(Cell(clean(x)) for x in (one.kind, one.value, one.subjects, one.sessions, one.attempts))
        for one in found.strata
    )
    table = Table(
        "Strata: what else tells attempts apart. A stratum of one person cannot be learned from and "
        "tested on another.",
        ("Kind", "Value", "Subjects", "Sessions", "Attempts"),
        rows,
        key="strata",
    )
    return Section("resolution", "What it can resolve", (Facts(resolution_facts(found)), table))


def _shifts(found: Inspection) -> Section:
    shifts = list(found.shifts or ())
    rows = tuple(
        (
            Cell(clean(one.place), clean(one.signal)),
            Cell("no onset in one of the two" if one.shift_s is None else f"{1e3 * one.shift_s:.1f} ms"),
            Cell(f"{one.before:.3f}"),
            Cell(f"{one.after:.3f}"),
        )
        for one in shifts[:SHOWN]
    )
    more = f" The first {SHOWN} of {len(shifts)}." if len(shifts) > SHOWN else ""
    table = Table(
        f"Activity begins later at device-b by so much.{more}",
        ("Attempt", "Shift", "Agreement", "Aligned"),
        rows,
        key="shifts",
    )
    return Section("synchronisation", "Synchronised by onset", (Paragraph(_SYNCHRONISED), table))
