"""What a scheme leaves as it found it, in the calls of all its members."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from typing import Any, TypeAlias

import numpy as np

from harness.checks.handing import bytes_of, plain, read_only, writeable
from harness.checks.outcomes import Breach
from harness.checks.registry import check
from harness.checks.scheme_case import SchemeCase
from harness.contracts import Array, Linear
from harness.errors import ContractError

__all__: list[str] = []


_Asked: TypeAlias = Iterator[tuple[str, dict[str, Any], Any]]
_READ = ("labels", "channels", "segments", "corrects", "needed")


def _asked(case: SchemeCase, copied: Any) -> _Asked:
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


def _optional(case: SchemeCase, copied: Any) -> _Asked:
    """The same of every optional member that is there."""
    own, run = case.fresh(), case.run
    m, alphabet = run.a.symbols.shape[1], run.a.alphabet
    given: dict[str, dict[str, Any]] = {
        "sensing_seconds": {"capture": case.both[0]},
        "assisted": {"witness": run.b, "helper": run.published},
        "linear": {"helper": run.published},
        "finish": {"secret": _secret(case), "helper": run.published},
        "confirm": {"keys": run.keys, "helper": run.published},
        "sharpen": {
            "log_prob": np.full((len(run.keys), m, alphabet), -np.log(alphabet)),
            "helper": run.published,
        },
        "listed": {"helper": run.published},
    }
    for name in _READ:
        yield name, {}, lambda name=name: getattr(own, name, None)
    for name, inputs in given.items():
        method = getattr(own, name, None)
        if callable(method):
            handed = {key: copied(value) for key, value in inputs.items()}
            yield f"{name}()", handed, lambda method=method, handed=handed: method(*handed.values())


def _secret(case: SchemeCase) -> Array:
    """What `finish` gets: noughts, as many as `linear` says."""
    run, told = case.run, None
    if callable(getattr(case.scheme, "linear", None)):
        with suppress(ContractError):  # another promise
            told = case.ask("linear()", case.fresh().linear, writeable(run.published))
    wide = np.shape(told.positions)[1] * len(told.secret_map) if isinstance(told, Linear) else case.width
    return np.zeros((len(run.keys), wide), np.uint8)


@check("scheme", "inputs-untouched")
def inputs_untouched(case: SchemeCase) -> None:
    """Captures, witnesses, helper data and whatever else is handed over stay as they are, and may be
    read-only.
    """
    for copied, kind in ((writeable, "writeable"), (read_only, "read-only")):
        for member, inputs, ask in _asked(case, copied):
            _left_alone(case, member, inputs, ask, kind)
        for member, inputs, ask in _optional(case, copied):
            with suppress(ContractError):  # whether it answers at all is another promise
                _left_alone(case, member, inputs, ask, kind)


def _left_alone(case: SchemeCase, member: str, inputs: dict[str, Any], ask: Any, kind: str) -> None:
    before = bytes_of(inputs)
    try:
        case.ask(member, ask)
    except ContractError as error:
        if kind == "read-only" and "read-only" in error.got:
            raise Breach(member, next(iter(inputs)), "left as it was handed over", error.got) from error
        raise
    after = bytes_of(inputs)
    for name, held in before.items():
        if after.get(name) != held:
            raise Breach(member, name, f"its bytes as they were, in a {kind} array", "others")


def _watched(case: SchemeCase, kind: str) -> None:
    """Every call so far, and one of each member more."""
    for member, _, ask in _asked(case, writeable):
        case.ask(member, ask)
    for member, _, ask in _optional(case, writeable):
        with suppress(ContractError):  # whether it answers at all is another promise
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
