"""The intake check itself: one pass over a corpus, a sitting at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from harness.contracts import DEVICE_A, DEVICE_B, Array, Corpus
from harness.exchange import signal_of
from harness.intake import thresholds
from harness.intake.alike import Fingerprints
from harness.intake.clocks import Clock, clocks
from harness.intake.coverage import Presence, covered, unread_roles
from harness.intake.onsets import shifts
from harness.intake.opening import Lenient
from harness.intake.overlaps import Overlaps
from harness.intake.record import Inspection, Shift, StreamReport, Trace
from harness.intake.remarks import remarks
from harness.intake.resolution import resolution
from harness.intake.strata import Strata
from harness.intake.streams import Quality, quality
from harness.intake.taken import Taken, each_sitting

__all__ = ["inspect"]

_POINTS = 300  # of a trace


def inspect(
    source: str | Path | Corpus,
    *,
    attacks: Sequence[Any] = (),
    schemes: Iterable[Any] = (),
    synchronise: bool = False,
    progress: Callable[[str, int, int], None] | None = None,
) -> Inspection:
    """Look at every capture of a corpus, and say what it is good for.

    Parameters
    ----------
    source : str, Path or Corpus
        A manifest, its folder, or a corpus. Of a damaged recorded one the usable part is looked at.
    attacks, schemes : sequence of plug-ins
        Whom the corpus is to serve.
    synchronise : bool
        Also find the onset of activity in both devices of each attempt, and say what aligning them gains.
    progress : callable
        Called with a stage, sittings done, and all sittings.

    Raises
    ------
    CorpusError
        If nothing of a recorded corpus can be read.
    """
    lenient = Lenient(source) if isinstance(source, str | Path) else None
    corpus: Any = source if lenient is None else lenient.corpus
    sittings = each_sitting(corpus) if lenient is None else lenient.sittings()
    total = len(corpus.sittings())
    streams = _Streams()
    presence, strata, prints, overlaps = Presence(), Strata(), Fingerprints(), Overlaps()
    pairs: list[Clock] = []
    moved: list[Shift] = []
    for done, sitting in enumerate(sittings, start=1):
        for taken in sitting:
            streams.see(taken)
            presence.see(taken)
            prints.see(taken)
            overlaps.see(taken)
        strata.see(sitting)
        pairs += clocks(sitting)
        if synchronise:
            moved += shifts(sitting)
        if progress is not None:
            progress("captures", done, total)
    alike = prints.found()
    complete = presence.complete
    return Inspection(
        name=corpus.name,
        data=corpus.data,
        complaints=tuple(lenient.complaints) if lenient else (),
        remarks=tuple(remarks(streams.reports(), pairs, alike, overlaps.found())),
        counts=_counts(presence, corpus),
        streams=tuple(streams.reports()),
        clocks=tuple(pairs),
        alike=tuple(alike),
        compared={"pairs": prints.pairs, "left_out": prints.left_out},
        coverage=tuple(covered(attacks, presence)),
        unread=unread_roles(attacks, presence),
        schemes={s.name: _runs(s, presence) for s in schemes},
        resolution=resolution([key[0] for key in complete]),
        strata=tuple(strata.found()),
        shifts=tuple(moved) if synchronise else None,
        thresholds={n.lower(): float(getattr(thresholds, n)) for n in thresholds.__all__},
    )


class _Streams:
    """Measures of every capture, and a picture of the first one of each stream."""

    def __init__(self) -> None:
        self._found: dict[str, list[tuple[str, Quality]]] = {}
        self._first: dict[str, tuple[Taken, Trace | None]] = {}

    def see(self, taken: Taken) -> None:
        self._found.setdefault(taken.stream, []).append((taken.place, quality(taken)))
        if taken.stream not in self._first:
            self._first[taken.stream] = taken, _trace(taken)

    def reports(self) -> list[StreamReport]:
        return [
            StreamReport(
                stream=stream,
                unit=self._first[stream][0].unit,
                channels=len(self._first[stream][0].samples),
                captures=tuple(found),
                trace=self._first[stream][1],
            )
            for stream, found in sorted(self._found.items())
        ]


def _trace(taken: Taken) -> Trace | None:
    own: Array = taken.samples[0]
    if len(own) < 2:
        return None
    parts: Iterator[Array] = iter(np.array_split(own, min(_POINTS, len(own))))
    ends = [
        (float(np.nanmin(p)), float(np.nanmax(p))) if not np.isnan(p).all() else (np.nan,) * 2
        for p in parts
    ]
    return Trace(
        place=taken.place,
        seconds=taken.seconds,
        low=tuple(low for low, _ in ends),
        high=tuple(high for _, high in ends),
    )


def _counts(presence: Presence, corpus: Any) -> Mapping[str, Any]:
    complete = presence.complete
    described = dict(corpus.describe())
    facts = {k: described[k] for k in ("excluded", "incomplete", "attackers") if k in described}
    return {
        "subjects": len({key[0] for key in complete}),
        "sessions": len({key[:2] for key in complete}),
        "attempts": len(complete),
        "roles": {
            role: sum(role in own for own in presence.roles.values()) for role in sorted(presence.signals)
        },
        "sessions_of_each": _spread([key[:1] for key in {(k[0], k[1]) for k in complete}]),
        "attempts_of_each": _spread([key[:2] for key in complete]),
        **facts,
    }


def _spread(keys: Sequence[tuple[int, ...]]) -> list[int]:
    """Least and greatest number of entries with one key."""
    if not keys:
        return [0, 0]
    found = [keys.count(key) for key in set(keys)] if len(keys) < 1000 else list(_tally(keys).values())
    return [min(found), max(found)]


def _tally(keys: Sequence[tuple[int, ...]]) -> dict[tuple[int, ...], int]:
    found: dict[tuple[int, ...], int] = {}
    for key in keys:
        found[key] = found.get(key, 0) + 1
    return found


def _runs(scheme: Any, presence: Presence) -> bool:
    return all(
        signal_of(scheme, role) in presence.signals.get(role, set()) for role in (DEVICE_A, DEVICE_B)
    )
