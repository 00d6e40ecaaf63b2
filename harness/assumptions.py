"""Rows that rest on parameters which nobody has measured say so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from harness.cache import Captures
from harness.contracts import Corpus
from harness.results import Row
from harness.view import needs, streams_of

__all__ = ["marked", "resting_on"]


def resting_on(
    corpus: Corpus, captures: Captures, scheme: Any, attacks: Sequence[Any], name: str
) -> tuple[str, ...]:
    """Names of the corpus's unmeasured parameters behind one attack, or behind a combination `a+b`.

    A corpus tells them in `describe()["assumed"]`: by "role:signal" or by role, the names of what the
    captures of that stream rest on.
    """
    stated = corpus.describe().get("assumed", {})
    if not isinstance(stated, Mapping):
        return ()
    members = set(name.split("+"))
    streams = {
        stream
        for attack in attacks
        if attack.name in members
        for role in needs(attack)[0]
        for stream in streams_of(captures, scheme, role).values()
    }
    found = {
        str(parameter)
        for stream in streams
        for key in (stream, stream.partition(":")[0])
        for parameter in stated.get(key, ())
    }
    return tuple(sorted(found))


def marked(rows: Sequence[Row], parameters: Sequence[str]) -> list[Row]:
    """Rows of one attack; they become `assumed` if anything they rest on was not measured."""
    if not parameters:
        return list(rows)
    note = f"rests on {', '.join(parameters)} of the corpus, not measured by anybody: sweep"
    return [
        replace(row, evidence="assumed", reason=f"{row.reason}; {note}" if row.reason else note)
        if row.status == "measured" and row.evidence != "assumed"
        else row
        for row in rows
    ]
