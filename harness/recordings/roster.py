"""Who is in a recorded corpus: rows of the manifest joined to captures, attempts and sittings."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from harness.contracts import Sitting
from harness.errors import CorpusError
from harness.recordings.facts import counts
from harness.recordings.manifest import OWNERS, Row, shown
from harness.recordings.piece import NOBODY, Piece
from harness.recordings.rows import check_streams, refuse, same_for_subject

__all__ = ["Roster", "natural", "roster"]

SPARE = -1  # attempt of a piece whose attempt lacks one of the two devices


@dataclass(frozen=True, slots=True)
class Roster:
    """Sittings, what was captured in each, and what was left out."""

    sittings: tuple[Sitting, ...]
    pieces: Mapping[tuple[int, int], tuple[Piece, ...]]  # by subject and session
    spare: tuple[Piece, ...]  # of attempts that lack a device: checked, not analysed
    facts: Mapping[str, Any]  # counts, JSON-ready


def natural(label: str) -> tuple[Any, ...]:
    """Return a sort key under which numbers inside labels count as numbers.

    Examples
    --------
    >>> sorted(["s10", "s2", "S1", "s"], key=natural)
    ['s', 'S1', 's2', 's10']
    """
    parts = re.split(r"([0-9]+)", label.casefold())
    return tuple(int(part) if k % 2 else part for k, part in enumerate(parts)), label


def roster(rows: Sequence[Row], *, name: str) -> Roster:
    """Join the rows of a manifest, and number its people, sessions and attempts.

    Subjects are numbered from 0 in natural order of their labels, sessions of a subject by
    `day` if it is given and else in natural order, attempts likewise. An attacker who is also
    a subject has the subject's number; the others come after the subjects. Excluded rows are
    numbered too, so that leaving one out renumbers nobody. A reason to exclude in any row of an
    attempt excludes the attempt.

    Parameters
    ----------
    rows : sequence of Row
    name : str
        How error messages call the manifest.

    Raises
    ------
    CorpusError
        On duplicates, contradictions between rows, or without a usable attempt.
    """
    groups = _captures(rows, name)
    reasons: dict[tuple[str, str, str], set[str]] = defaultdict(set)
    for row in rows:
        if row.excluded_reason is not None:
            reasons[row.try_].add(row.excluded_reason)
    live = [group for group in groups if group[0].try_ not in reasons]
    _check_roles(rows, name)
    check_streams([group[0] for group in live], name)
    same_for_subject(rows, name)

    subjects = _ranks(row.subject for row in rows)
    sessions = _session_ranks(rows, name)
    strangers = {row.attacker for row in rows if row.attacker is not None} - set(subjects)
    people = subjects | {k: len(subjects) + rank for k, rank in _ranks(strangers).items()}
    owners: dict[tuple[str, str, str], set[str]] = defaultdict(set)
    for group in live:
        owners[group[0].try_].add(group[0].role)
    complete = {key for key, roles in owners.items() if roles.issuperset(OWNERS)}
    if not complete:
        raise CorpusError(
            f"{name}: must have an attempt with both {' and '.join(OWNERS)} that is not excluded, got none"
        )
    tries: dict[tuple[str, str], set[str]] = defaultdict(set)
    for subject, session, attempt in complete:
        tries[subject, session].add(attempt)
    attempts = {key: _ranks(labels) for key, labels in tries.items()}

    def piece(group: Sequence[Row]) -> Piece:
        row = group[0]
        ranks = attempts[row.subject, row.session] if row.try_ in complete else {}
        return Piece(
            row=row,
            channels=None if row.channel is None else _channel_order(group),
            subject=subjects[row.subject],
            session=sessions[row.subject, row.session],
            attempt=ranks.get(row.attempt, SPARE),
            attacker=NOBODY if row.attacker is None else people[row.attacker],
        )

    by_sitting: dict[tuple[int, int], list[Piece]] = defaultdict(list)
    spare: list[Piece] = []
    for found in map(piece, live):
        if found.attempt == SPARE:
            spare.append(found)
        else:
            by_sitting[found.subject, found.session].append(found)
    pieces = {key: tuple(sorted(by_sitting[key], key=_order)) for key in sorted(by_sitting)}
    return Roster(
        sittings=tuple(
            Sitting(
                subject=subject,
                session=session,
                attempts=len({one.attempt for one in found}),
                streams=frozenset(one.row.stream for one in found),
            )
            for (subject, session), found in pieces.items()
        ),
        pieces=pieces,
        spare=tuple(spare),
        facts=counts(rows, pieces, reasons, incomplete=len(owners) - len(complete)),
    )


def _order(piece: Piece) -> tuple[Any, ...]:
    row = piece.row
    return row.stream, piece.attempt, piece.attacker, natural(row.device or "")


def _ranks(labels: Iterable[str]) -> dict[str, int]:
    return {label: rank for rank, label in enumerate(sorted(set(labels), key=natural))}


def _channel_order(group: Sequence[Row]) -> tuple[str, ...]:
    """Return the channels of one capture; by number for arrays, as listed for tables."""
    labels = [row.channel for row in group if row.channel is not None]
    return tuple(sorted(labels, key=int)) if group[0].format.numbered else tuple(labels)


def _captures(rows: Sequence[Row], name: str) -> list[list[Row]]:
    groups: dict[tuple[str | None, ...], dict[str | int | None, Row]] = {}
    for row in rows:
        group = groups.setdefault((*row.try_, row.role, row.signal, row.device, row.attacker), {})
        number = row.format.numbered and row.channel is not None
        channel = int(row.channel or 0) if number else row.channel  # 1 and 01 are one channel
        if group:
            _check_sibling(next(iter(group.values())), group.get(channel), row, name)
        group[channel] = row
    captures = [list(group.values()) for group in groups.values()]
    single: dict[tuple[str, ...], Row] = {}
    for capture in captures:
        row = capture[0]
        if row.role not in OWNERS or row.excluded_reason is not None:
            continue
        other = single.setdefault((*row.try_, row.role, row.signal), row)
        if other is not row:
            text = f"must be one {row.role} in an attempt, got {shown(other.device or '')}"
            raise refuse(name, other, row, "device", f"{text} and {shown(row.device or '')}")
    return captures


def _check_sibling(first: Row, twin: Row | None, row: Row, name: str) -> None:
    """Refuse a row that belongs to the capture of `first` but is not just another channel of it."""
    for column in Row.model_fields:
        if column not in ("line", "channel") and getattr(first, column) != getattr(row, column):
            raise refuse(
                name, first, row, column,
                f"must be alike in rows of one capture, got {shown(getattr(first, column))} and "
                f"{shown(getattr(row, column))}; tell two captures of one attempt apart by `device` or "
                "`attacker`",
            )  # fmt: skip
    if twin is not None:
        text = f"must not be duplicates, got the same {row.role} capture of attempt {shown(row.attempt)}"
        raise refuse(name, twin, row, "", f"{text} twice; remove one")
    if first.channel is None or row.channel is None:
        text = "must be given in every row of a capture or in none, got it in one of two"
        raise refuse(name, first, row, "channel", text)


def _check_roles(rows: Sequence[Row], name: str) -> None:
    roles = {row.role for row in rows}
    for role in OWNERS:
        if role not in roles:
            got = ", ".join(sorted(roles)[:8])
            raise CorpusError(f"{name}, `role`: must be {role} in at least one row, got only {got}")


def _session_ranks(rows: Sequence[Row], name: str) -> dict[tuple[str, str], int]:
    """Return the rank of each session among those of its subject.

    Only the owners' rows say when a session was: a recording of another day may stand beside
    them as what the adversary holds.
    """
    first: dict[tuple[str, str], Row] = {}
    labels: dict[str, set[str]] = defaultdict(set)
    for row in rows:
        labels[row.subject].add(row.session)
        if row.role not in OWNERS:
            continue
        other = first.setdefault((row.subject, row.session), row)
        if other.day != row.day:
            text = f"must be one day for one session, got {_day(other)} and {_day(row)}"
            raise refuse(name, other, row, "day", text)
    ranks: dict[tuple[str, str], int] = {}
    for subject, sessions in labels.items():
        known = [first[subject, k] for k in sorted(sessions, key=natural) if (subject, k) in first]
        kinds: dict[type[object], Row] = {}
        for row in known:
            kinds.setdefault(type(row.day), row)
        if len(kinds) > 1:
            one, two, *_ = kinds.values()
            text = "must be all numbers, all dates or all empty for the sessions of one subject"
            raise refuse(name, one, two, "day", f"{text}, got {_day(one)} and {_day(two)}")
        days = {row.session: _ordinal(row.day) for row in known}
        order = sorted(sessions, key=lambda label: (days.get(label, 0), natural(label)))
        ranks |= {(subject, label): rank for rank, label in enumerate(order)}
    return ranks


def _ordinal(day: int | date | None) -> int:
    return day.toordinal() if isinstance(day, date) else day or 0


def _day(row: Row) -> str:
    return "no day" if row.day is None else str(row.day)
