"""A part of a recorded corpus: the attempts of one day, device, condition or declared group."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from harness.contracts import Sitting
from harness.errors import UsageError
from harness.recordings.facts import counts
from harness.recordings.manifest import OWNERS
from harness.recordings.roster import Piece, Roster

__all__ = ["STRATA", "selected"]

STRATA = ("day", "device", "condition", "group")


def selected(people: Roster, only: Mapping[str, str], *, name: str) -> Roster:
    """Return the attempts whose owners' rows hold all of these values.

    People and sessions keep their numbers, so that results of two parts of a corpus speak of the same ones;
    attempts are numbered anew in each session. A device is one of the owners', either of the two.

    Parameters
    ----------
    people : Roster
    only : mapping of column to value
        As the manifest writes it.
    name : str
        How error messages call the manifest.

    Raises
    ------
    UsageError
        If a column is none that tells attempts apart, or no attempt is left.
    """
    for column in only:
        if column not in STRATA:
            raise UsageError(f"attempts can be selected by {', '.join(STRATA)}, got {column!r}")
    pieces: dict[tuple[int, int], tuple[Piece, ...]] = {}
    for key, group in people.pieces.items():
        kept = sorted(
            {p.attempt for p in group if all(_holds(group, p.attempt, *one) for one in only.items())}
        )
        ranks = {attempt: rank for rank, attempt in enumerate(kept)}
        if kept:
            pieces[key] = tuple(replace(p, attempt=ranks[p.attempt]) for p in group if p.attempt in ranks)
    if not pieces:
        column, value = next(iter(only.items()))
        found = {
            _cell(p, column) for group in people.pieces.values() for p in group if p.row.role in OWNERS
        }
        known = ", ".join(sorted(x for x in found if x is not None)[:10]) or "none"
        raise UsageError(f"{name} must hold attempts with {column} {value!r}, got {known}")
    rows = [p.row for group in pieces.values() for p in group]
    facts = counts(rows, pieces, {}, incomplete=0)
    same = {key: people.facts[key] for key in ("excluded", "incomplete", "rows")}
    return Roster(
        sittings=tuple(
            Sitting(
                subject=subject,
                session=session,
                attempts=len({p.attempt for p in group}),
                streams=frozenset(p.row.stream for p in group),
            )
            for (subject, session), group in pieces.items()
        ),
        pieces=pieces,
        spare=(),
        facts={**facts, **same, "only": dict(sorted(only.items()))},
    )


def _holds(group: Sequence[Piece], attempt: int, column: str, value: str) -> bool:
    return any(_cell(p, column) == value for p in group if p.attempt == attempt and p.row.role in OWNERS)


def _cell(piece: Piece, column: str) -> str | None:
    value = getattr(piece.row, column)
    return None if value is None else str(value)
