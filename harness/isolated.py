"""The process in which a stranger's attack runs: it introduces itself, or does the one thing it is told.

The other end is `harness.isolation`. What the plug-in prints goes to standard error.
"""

from __future__ import annotations

import os
import signal
import struct
import sys
import threading
import time
import traceback
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import IO, Any

import cloudpickle
import numpy as np

from harness.contracts import Array, Belief, Capture, Exchange, Guesses, Helper, View
from harness.device import QueriesSpent
from harness.errors import ContractError, UsageError
from harness.messages import get, put

__all__ = ["LENGTH", "Task", "serve"]

LENGTH = struct.Struct(">Q")  # bytes of the parcel that follows
MOST_ANSWER = 2**31  # bytes that a device may answer: the other end is trusted

Answer = tuple[dict[str, Any], list[Array]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What a parcel asks for: an answer to a View, or what is added to sensors of which it holds blanks."""

    rng: np.random.Generator
    view: View | None = None
    blanks: Mapping[str, Capture] = field(default_factory=dict)
    scheme: str | None = None  # where the View's scheme is found; None: it is in the View
    asks: bool = False  # there is a device at the other end
    population: Exchange | None = None  # people that the attack is tuned to first
    variant: int | None = None  # number of the variant that acts


class _Device:
    """B's radio, at the other end of the pipe."""

    def __init__(self, questions: IO[bytes], answers: IO[bytes]) -> None:
        self._questions, self._answers = questions, answers

    def __call__(self, helper: Helper, capture: Capture | None = None) -> Array:
        names = list(map(str, helper))
        arrays = [np.asarray(helper[name]) for name in names]
        told, more = (None, []) if capture is None else described(capture)
        put(self._answers, {"kind": "query", "helper": names, "capture": told}, arrays + more)
        header, answered = get(self._questions, most=MOST_ANSWER)
        if "refused" in header:
            raise (QueriesSpent if header["spent"] else ValueError)(header["refused"])
        return answered[0]


def described(capture: Capture) -> tuple[dict[str, Any], list[Array]]:
    """A capture as a message carries it."""
    told = {
        "signal": str(capture.signal),
        "unit": str(capture.unit),
        "rate_hz": None if capture.rate_hz is None else float(capture.rate_hz),
        "timed": capture.seconds is not None,
    }
    timed = [] if capture.seconds is None else [np.asarray(capture.seconds)]
    return told, [np.asarray(capture.samples), *timed]


def serve(spec: str) -> None:
    """Introduce the attack if the parcel is empty, else do what the parcel says."""
    # whatever a plug-in reads or prints must not pass for a message
    questions, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.dup2(2, 1)
    from threadpoolctl import threadpool_limits

    from harness.plugins import resolve

    try:
        attack = resolve("attack", spec).value
    except (UsageError, ContractError) as error:
        put(answers, {"usage": str(error)})
        return
    (size,) = LENGTH.unpack(questions.read(LENGTH.size))
    parcel = questions.read(size)
    try:
        with threadpool_limits(1):
            if parcel:  # from the parent, which is us
                device = _Device(questions, answers)
                header, arrays = _done(attack, cloudpickle.loads(parcel), device)
            else:
                header, arrays = _introduced(attack), []
        put(answers, header, arrays)
    except Exception as error:  # noqa: BLE001 - whatever a stranger's code raises is reported, not spread
        put(answers, {"failure": "".join(traceback.format_exception_only(error)).strip()})


def _not_orphaned(parent: int) -> None:
    """End with our parent: it cannot end us if it was killed itself."""
    while os.getppid() == parent:
        time.sleep(1.0)
    os.killpg(0, signal.SIGKILL)


def _introduced(attack: Any) -> dict[str, Any]:
    from harness.plugins import summary_of

    acts = callable(getattr(attack, "interfere", None))
    others = attack.variants() if acts and callable(getattr(attack, "variants", None)) else []
    return {
        "name": attack.name,
        "sees": sorted(attack.sees),
        "likes": sorted(getattr(attack, "likes", ())),
        "summary": summary_of(attack),
        "interferes": acts,
        "tunes": acts and callable(getattr(attack, "tuned", None)),
        "strength": _strength(attack) if acts else None,
        "variants": [_strength(other) for other in others],
    }


def _strength(attack: Any) -> list[Any] | None:
    stated = getattr(attack, "strength", None)
    return None if stated is None else list(stated)


def _done(attack: Any, task: Task, device: _Device) -> Answer:
    from harness.plugins import resolve

    if task.population is not None:
        attack = attack.tuned(task.population)
    if task.variant is not None:
        attack = list(attack.variants())[task.variant]
    view = task.view
    if view is None:
        return _interfered(*attack.interfere(task.blanks, rng=task.rng))
    if task.scheme is not None:
        view = replace(view, scheme=resolve("scheme", task.scheme).value)
    if task.asks:
        view = replace(view, device=device)
    outcome = attack.believe(view, rng=task.rng)
    if isinstance(outcome, Guesses):
        return {"kind": "guesses", "work": float(outcome.work)}, [np.asarray(outcome.keys)]
    if isinstance(outcome, Belief):
        header = {"kind": "belief", "about": str(outcome.about), "work": float(outcome.work)}
        return header, [np.asarray(outcome.log_prob)]
    raise TypeError(f"believe() must return a Belief or Guesses, got {type(outcome).__name__}")


def _interfered(wanted: Any, notes: Any) -> Answer:
    if not isinstance(wanted, Mapping) or not all(isinstance(c, Capture) for c in wanted.values()):
        raise TypeError("interfere() must return captures by role, and its notes")
    if not isinstance(notes, Mapping):
        raise TypeError(f"interfere() must return a mapping of notes, got {type(notes).__name__}")
    header = {"kind": "interference", "roles": list(map(str, wanted)), "notes": list(map(str, notes))}
    return header, [np.asarray(a) for a in (*(c.samples for c in wanted.values()), *notes.values())]


if __name__ == "__main__":
    threading.Thread(target=_not_orphaned, args=(os.getppid(),), daemon=True).start()
    serve(sys.argv[1])
