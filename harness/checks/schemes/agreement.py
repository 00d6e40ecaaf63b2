"""Devices that see the same agree, and so do devices that see almost the same, as far as is stated."""

from __future__ import annotations

import numpy as np

from harness import validate
from harness.checks.outcomes import Breach, at, needed
from harness.checks.registry import check
from harness.checks.scheme_case import Run, SchemeCase, attempts_with
from harness.checks.wrong_symbols import with_errors
from harness.contracts import Array

__all__ = ["must_agree"]


def must_agree(run: Run, rows: Array, *, member: str, when: str) -> None:
    """Raise a Breach at the first of these attempts in which B has not accepted A's key."""
    refused = rows[~run.accepted[rows]]
    if len(refused):
        raise Breach(member, "accepted", f"True {when}", "False", row=int(refused[0]))
    wrong = (run.keys != run.keys_b)[rows].any(axis=1)
    if wrong.any():
        row = int(rows[wrong.argmax()])
        bits = int((run.keys[row] != run.keys_b[row]).sum())
        raise Breach(member, "keys", f"A's key {when}", f"a key of which {bits} bits differ", row=row)


def _member(case: SchemeCase) -> str:
    return "agree()" if case.interactive else "reproduce()"


@check("scheme", "noise-free-agrees")
def noise_free_agrees(case: SchemeCase) -> None:
    """Where B has exactly A's witness, and A holds a key, B accepts and has A's key."""
    own, a = case.fresh(), case.run.a
    rows = attempts_with(case, lambda run: run.established)
    with at(_member(case)):
        run = case.exchange(own, own, a, a, case.rng("generate"))
    rows = rows[run.established[rows]]
    must_agree(run, rows, member=_member(case), when="where B has A's own witness")


@check("scheme", "corrects-as-stated")
def corrects_as_stated(case: SchemeCase) -> None:
    """As many errors as `corrects` says, in whatever places, leave A and B with the same key: wrong bits in
    every block of `linear`, or wrong symbols of the witness where there is no `linear`.
    """
    case.has("corrects")
    stated = case.scheme.corrects
    if not isinstance(stated, int | np.integer) or isinstance(stated, bool) or stated < 0:
        raise Breach("the scheme", "corrects", "a whole number of at least 0", repr(stated))
    a = case.run.a
    rows = attempts_with(case, lambda run: run.established)
    own = case.fresh()
    again = case.exchange(own, own, a, a, case.rng("generate"))
    for trial in range(8):
        with needed("disclosure-well-formed"):
            rng = case.rng("errors", trial)
            wrong = with_errors(case, a, again.published, int(stated), rng, rows)
        own = case.fresh()
        with at(_member(case)):
            run = case.exchange(own, own, a, wrong, case.rng("generate"))
        when = f"with {stated} errors, as `corrects` says"
        must_agree(run, rows[run.established[rows]], member=_member(case), when=when)


@check("scheme", "channels-numbered")
def channels_numbered(case: SchemeCase) -> None:
    """`channels` says of every symbol which channel of the capture it is from, numbered from 0."""
    case.has("channels")
    m, there = case.witnesses[0].symbols.shape[1], case.both[0].samples.shape[1]
    with at("channels"):
        found = validate.channels(case.plugin, case.scheme.channels, m)
    if found.max() >= there:
        symbol = int(found.argmax())
        raise Breach(
            "channels", f"symbol {symbol}", f"below the {there} of the capture", int(found[symbol])
        )
