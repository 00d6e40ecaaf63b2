"""What a recorded corpus says of itself in a result: counts, without paths or names of people."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from harness.contracts import DEVICE_A
from harness.recordings.manifest import Row
from harness.recordings.piece import NOBODY, Piece

__all__ = ["counts"]


def counts(
    rows: Sequence[Row],
    pieces: Mapping[tuple[int, int], Sequence[Piece]],
    reasons: Mapping[tuple[str, str, str], set[str]],
    *,
    incomplete: int,
) -> dict[str, Any]:
    """JSON-ready; `reasons` are those for which attempts were excluded, `incomplete` lack a device."""
    found = [piece for group in pieces.values() for piece in group]
    excluded = Counter("; ".join(sorted(why)) for why in reasons.values())
    streams = Counter(piece.row.stream for piece in found)
    groups = {piece.subject: piece.row.group for piece in found if piece.row.group is not None}
    return {
        "subjects": len({piece.subject for piece in found}),
        "sessions": len(pieces),
        "attempts": len({(piece.subject, piece.session, piece.attempt) for piece in found}),
        "attackers": len({piece.attacker for piece in found} - {NOBODY}),
        "days": len({piece.row.day for piece in found if piece.row.role == DEVICE_A} - {None}),
        "devices": len({piece.row.device for piece in found} - {None}),
        "conditions": sorted({piece.row.condition for piece in found if piece.row.condition is not None}),
        **({"groups": dict(sorted(Counter(groups.values()).items()))} if groups else {}),
        "excluded": {reason: excluded[reason] for reason in sorted(excluded)},
        "incomplete": incomplete,
        "streams": {stream: streams[stream] for stream in sorted(streams)},
        "rows": len(rows),
    }
