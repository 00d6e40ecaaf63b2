"""What a scheme leaves as it found it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from harness.checks.handing import bytes_of, plain, read_only, writeable
from harness.checks.outcomes import Breach
from harness.checks.registry import check
from harness.checks.scheme_case import SchemeCase

__all__: list[str] = []


def _asked(case: SchemeCase, copied: Any) -> Iterator[tuple[str, dict[str, Any], Any]]:
    """Each method with its inputs, made by `copied`, and what calls it."""
    own, run, a = case.fresh(), case.run, case.both[0]
    capture = copied(a)
    yield "witness()", {"capture": capture}, lambda: own.witness(capture)
    mine, theirs = copied(run.a), copied(run.b)
    if case.interactive:
        inputs = {"a": mine, "b": theirs}
        yield "agree()", inputs, lambda: own.agree(mine, theirs, rng=case.rng("generate"))
        return
    yield "generate()", {"witness": mine}, lambda: own.generate(mine, rng=case.rng("generate"))
    helper = copied(plain(run.published))
    inputs = {"witness": theirs, "helper": helper}
    yield "reproduce()", inputs, lambda: own.reproduce(theirs, helper)


@check("scheme", "inputs-untouched")
def inputs_untouched(case: SchemeCase) -> None:
    """Captures, witnesses and helper data that are handed over stay as they are, and may be read-only."""
    for copied, kind in ((writeable, "writeable"), (read_only, "read-only")):
        for member, inputs, ask in _asked(case, copied):
            before = bytes_of(inputs)
            try:
                ask()
            except ValueError as error:
                if kind == "read-only" and "read-only" in str(error):
                    raise Breach(member, next(iter(inputs)), "left as it was handed over", error) from error
                raise
            after = bytes_of(inputs)
            for name, held in before.items():
                if after.get(name) != held:
                    raise Breach(member, name, f"its bytes as they were, in a {kind} array", "others")


def _watched(case: SchemeCase, kind: str) -> None:
    """Every call so far, and one of each method more."""
    for member, _, ask in _asked(case, writeable):
        case.ask(member, ask)
    case.watch.judge(kind)


@check("scheme", "random-state-untouched")
def random_state_untouched(case: SchemeCase) -> None:
    """Global random state is neither drawn from nor set: neither numpy's nor that of `random`."""
    _watched(case, "random state")


@check("scheme", "environment-untouched")
def environment_untouched(case: SchemeCase) -> None:
    """The process stays as it is: environment variables, working directory, import path, warnings
    filters, numpy's error state, umask, standard output and error; no thread is left running.
    """
    _watched(case, "environment")


@check("scheme", "files-untouched")
def files_untouched(case: SchemeCase) -> None:
    """No file is left behind, changed or removed, wherever it lies; one that is made and removed again is
    fine. No program is started, as its files are not seen, unless `whole_batches` says that calls are
    processes.
    """
    _watched(case, "files")
    if not case.by_processes:
        case.watch.judge("programs")
