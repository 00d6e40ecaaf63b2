"""A stranger's attack runs in a process of its own that never held a key.

The parent never imports the file: the child reports `name`, `sees` and `likes`, is sent Views, and sends
back plain arrays. Nothing that comes back is unpickled.
"""

from __future__ import annotations

import io
import json
import multiprocessing
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Any

import cloudpickle
import numpy as np

from harness.contracts import Belief, Guesses, View
from harness.errors import ContractError, UsageError

__all__ = ["Stranger", "meet"]

PATIENCE_S = 600.0  # how long a stranger's attack may think about one View
_ENVELOPE = 1 << 31


@dataclass(frozen=True, slots=True)
class Stranger:
    """An attack that lives elsewhere; stands in for it in the parent."""

    spec: str
    name: str
    sees: frozenset[str]
    likes: frozenset[str]
    summary: str

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief | Guesses:
        """Have the attack answer one View in a fresh process; it gets the generator, never the seed."""
        with _child(self.spec) as pipe:
            _receive(self.spec, pipe)
            pipe.send_bytes(cloudpickle.dumps((view, rng)))
            header = _receive(self.spec, pipe)
            array = np.load(io.BytesIO(pipe.recv_bytes(_ENVELOPE)), allow_pickle=False)
            if header["kind"] == "guesses":
                return Guesses(keys=array, work=header["work"])
            return Belief(log_prob=array, about=header["about"], work=header["work"])


def meet(spec: str) -> Stranger:
    """Ask a stranger's attack who it is.

    Raises
    ------
    UsageError
        If the file, the class or a member is missing.
    """
    with _child(spec) as pipe:
        told = _receive(spec, pipe)
    return Stranger(spec, told["name"], frozenset(told["sees"]), frozenset(told["likes"]), told["summary"])


@contextmanager
def _child(spec: str) -> Iterator[Connection]:
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    process = context.Process(target=_serve, args=(spec, there), daemon=True)
    process.start()
    there.close()
    try:
        yield here
    finally:
        here.close()
        process.join(timeout=5)
        if process.is_alive():
            process.kill()
            process.join()


def _receive(spec: str, pipe: Connection) -> dict[str, Any]:
    try:
        if not pipe.poll(PATIENCE_S):
            raise ContractError(spec, "believe()", f"done within {PATIENCE_S:g} s", "no answer")
        message: dict[str, Any] = json.loads(pipe.recv_bytes(1 << 20))
    except (EOFError, OSError, ValueError) as error:
        raise ContractError(spec, "believe()", "a process that answers", "one that ended") from error
    if "usage" in message:
        raise UsageError(str(message["usage"]))
    if "failure" in message:
        raise ContractError(spec, "believe()", "a method that returns", str(message["failure"]))
    return message


def _serve(spec: str, pipe: Connection) -> None:
    """What the child does: introduce itself, then answer one View."""
    from threadpoolctl import threadpool_limits

    from harness.plugins import resolve, summary_of

    try:
        attack = resolve("attack", spec).value
    except (UsageError, ContractError) as error:
        _say(pipe, {"usage": str(error)})
        return
    _say(
        pipe,
        {
            "name": attack.name,
            "sees": sorted(attack.sees),
            "likes": sorted(getattr(attack, "likes", ())),
            "summary": summary_of(attack),
        },
    )
    try:
        parcel = pipe.recv_bytes()
    except EOFError:  # the parent only wanted to know who this is
        return
    view, rng = cloudpickle.loads(parcel)  # from the parent, which is us
    try:
        with threadpool_limits(1):
            outcome = attack.believe(view, rng=rng)
        if isinstance(outcome, Guesses):
            header, array = {"kind": "guesses", "work": float(outcome.work)}, outcome.keys
        elif isinstance(outcome, Belief):
            header = {"kind": "belief", "about": str(outcome.about), "work": float(outcome.work)}
            array = outcome.log_prob
        else:
            raise TypeError(f"believe() must return a Belief or Guesses, got {type(outcome).__name__}")
        answer = io.BytesIO()
        np.save(answer, np.asarray(array), allow_pickle=False)
    except Exception as error:  # noqa: BLE001 - whatever a stranger's code raises is reported, not spread
        _say(pipe, {"failure": "".join(traceback.format_exception_only(error)).strip()})
        return
    _say(pipe, header)
    pipe.send_bytes(answer.getvalue())


def _say(pipe: Connection, message: dict[str, Any]) -> None:
    pipe.send_bytes(json.dumps(message).encode())
