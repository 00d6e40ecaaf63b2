"""Pass one: every sitting is rendered or read once, and every scheme runs on it honestly."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from harness.cache import Captures, one_kind, render
from harness.contracts import DEVICE_A, DEVICE_B, Capture, Corpus
from harness.errors import CorpusError
from harness.exchange import Honest, join, run_block, signal_of
from harness.logs import LoggedCorpus
from harness.tasks import Run
from harness.view import needs, streams_of

__all__ = ["exchanged", "rendered"]


def rendered(run: Run, schemes: Sequence[Any], attacks: Sequence[Any]) -> Captures:
    """Pass one, first half: every stream that anyone needs, once."""
    sittings = run.corpus.sittings()
    if not sittings:
        raise CorpusError(f"{run.corpus.name} must hold at least one attempt of both devices, got none")
    blank = Captures(sittings, {})
    wanted: set[str] = set()
    for scheme in schemes:
        for role in (DEVICE_A, DEVICE_B):
            stream_name = f"{role}:{signal_of(scheme, role)}"
            if signal_of(scheme, role) not in blank.signals(role):
                raise CorpusError(
                    f"{run.corpus.name} must hold {stream_name} for scheme {scheme.name}, found only "
                    f"{', '.join(f'{role}:{s}' for s in blank.signals(role)) or f'no {role}'}"
                )
            wanted.add(stream_name)
        for attack in attacks:
            for role in needs(attack)[0]:
                wanted |= set(streams_of(blank, scheme, role).values())
    tasks = [
        (run.corpus, sittings, range(i, min(i + run.chunk, len(sittings))), frozenset(wanted), run.folder)
        for i in range(0, len(sittings), run.chunk)
    ]
    parts = run.map("sensing", _render_some, tasks)
    captures = Captures(sittings, {key: cached for part in parts for key, cached in part})
    for name in sorted(wanted):
        one_kind(captures, name)
    return captures


def _render_some(
    corpus: Corpus, sittings: Any, indices: range, streams: frozenset[str], folder: Path
) -> list[Any]:
    return [pair for i in indices for pair in render(corpus, i, sittings[i], streams, folder)]


def exchanged(run: Run, scheme: Any, captures: Captures) -> Honest:
    """Pass one, second half: A and B of every sitting."""
    if isinstance(run.corpus, LoggedCorpus):  # it happened already
        done = [run.corpus.finished(s, i) for i, s in enumerate(captures.sittings)]
        return join(scheme.name, done)
    indices = range(len(captures.sittings))
    tasks = [
        (scheme, captures, range(i, min(i + run.chunk, len(indices))), run.seed)
        for i in range(0, len(indices), run.chunk)
    ]
    parts = run.map(f"{scheme.name}: exchange", _exchange_some, tasks)
    return join(scheme.name, [block for part in parts for block in part])


def _exchange_some(scheme: Any, captures: Captures, indices: range, seed: int) -> list[Honest]:
    blocks = []
    for i in indices:
        sitting = captures.sittings[i]
        both: dict[str, Capture] = {}
        for role in (DEVICE_A, DEVICE_B):
            name = f"{role}:{signal_of(scheme, role)}"
            cached = captures.of(i, name)
            if cached is None or not np.array_equal(cached.attempt, np.arange(sitting.attempts)):
                raise CorpusError(
                    f"every attempt of subject {sitting.subject}, session {sitting.session} must have "
                    f"one {name}"
                )
            both[role] = cached.load()
        blocks.append(
            run_block(scheme, both, seed=seed, sitting=i, subject=sitting.subject, session=sitting.session)
        )
    return blocks
