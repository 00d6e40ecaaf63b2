"""B as an oracle: whoever holds its radio may send it helper data and watch what it accepts.

One call is one query for every attempt of a View. The attack holds a stub that passes questions on and
gets accepted or not; B's body, its keys and the record of the questions stay on the other side.
"""

from __future__ import annotations

import copy
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from queue import SimpleQueue
from typing import Any

import numpy as np

from harness import validate
from harness.contracts import ABORTED, Array, Capture, Helper, Witness
from harness.errors import ContractError
from harness.exchange import Honest, call, parts, take

__all__ = ["QUERY_LIMIT", "Asked", "QueriesSpent", "device_of"]

QUERY_LIMIT = 1000
"""Queries per attempt that a device answers (assumption): a session key's device is soon switched off."""


class QueriesSpent(RuntimeError):
    """The device answers no more; the message says after how many queries."""


@dataclass(slots=True)
class Asked:
    """Every query to one View's devices; filled while the attack runs, read by the harness afterwards."""

    attempt: Array  # (rows,) int: index into Honest
    changed: list[Array] = field(default_factory=list)  # a query each: (rows,) elements of helper changed
    own_body: list[bool] = field(default_factory=list)  # B sensed its own body, not a capture sent along
    accepted: list[Array] = field(default_factory=list)  # (rows,) bool
    agreed: list[Array] = field(default_factory=list)  # (rows,) bool: and B's key is A's

    @property
    def queries(self) -> int:
        return len(self.changed)


class _Stub:
    """All that an attack holds of a device."""

    __slots__ = ("_answers", "_questions")

    def __init__(self, questions: SimpleQueue[Any], answers: SimpleQueue[Any]) -> None:
        self._questions, self._answers = questions, answers

    def __call__(self, helper: Helper, capture: Capture | None = None) -> Array:
        self._questions.put((helper, capture))
        answer = self._answers.get()
        if isinstance(answer, Exception):
            raise answer
        return np.asarray(answer)


@contextmanager
def device_of(
    scheme: Any, honest: Honest, attempt: Array, *, limit: int = QUERY_LIMIT
) -> Iterator[tuple[_Stub, Asked]]:
    """The devices B of some attempts, and the record of what they are asked.

    Parameters
    ----------
    scheme : Scheme
        With `reproduce`; the devices get a copy of their own.
    attempt : (rows,) int
        Rows of the View, an attempt each.
    limit : int
        Queries per attempt; one more raises `QueriesSpent`.

    Yields
    ------
    device : Device
    asked : Asked
        Not for the attack.
    """
    asked = Asked(attempt=attempt)
    questions: SimpleQueue[Any] = SimpleQueue()
    answers: SimpleQueue[Any] = SimpleQueue()
    # a thread, so that nothing which an attack can follow from its stub leads to B's body or keys
    worker = threading.Thread(
        target=_serve, args=(scheme, honest, asked, limit, questions, answers), daemon=True
    )
    worker.start()
    try:
        yield _Stub(questions, answers), asked
    finally:
        questions.put(None)
        worker.join()


def _serve(
    scheme: Any,
    honest: Honest,
    asked: Asked,
    limit: int,
    questions: SimpleQueue[Any],
    answers: SimpleQueue[Any],
) -> None:
    own = copy.deepcopy(scheme)
    while (question := questions.get()) is not None:
        try:
            answers.put(_answered(own, honest, asked, limit, *question))
        except Exception as error:  # noqa: BLE001 - whatever goes wrong is the asker's to hear
            answers.put(error)


def _answered(
    scheme: Any, honest: Honest, asked: Asked, limit: int, helper: object, capture: Capture | None
) -> Array:
    """Accepted or not, (rows,) bool; the record grows by one query."""
    if asked.queries >= limit:
        raise QueriesSpent(f"a device must be asked at most {limit} times an attempt, got one query more")
    true = {k: v[asked.attempt] for k, v in honest.helper.items()}
    sent = _fitting(scheme.name, helper, true)
    body = take(honest.b, asked.attempt) if capture is None else _sensed(scheme, capture, asked.attempt)
    keys, accepted = _reproduced(scheme, body, sent, honest.keys_a.shape[1])
    asked.changed.append(_changes(true, sent, len(asked.attempt)))
    asked.own_body.append(capture is None)
    asked.accepted.append(accepted)
    equal = (keys == honest.keys_a[asked.attempt]).all(axis=1)
    asked.agreed.append(accepted & equal & honest.established[asked.attempt])
    return accepted.copy()


def _fitting(name: str, helper: object, true: Helper) -> dict[str, Array]:
    """Helper data of the layout that the scheme publishes; what does not fit no radio would deliver."""
    if not isinstance(helper, Mapping) or set(helper) != set(true):
        got = ", ".join(map(str, helper)) if isinstance(helper, Mapping) else type(helper).__name__
        raise ValueError(
            f"a device of {name} must be sent {', '.join(true) or 'no helper data'}, got {got}"
        )
    for key, own in true.items():
        array = helper[key]
        if not isinstance(array, np.ndarray) or array.shape != own.shape or array.dtype != own.dtype:
            got = f"{getattr(array, 'dtype', type(array).__name__)} of {getattr(array, 'shape', '')}"
            raise ValueError(f"helper[{key!r}] must be {own.dtype} of shape {own.shape}, got {got}")
    return {key: np.array(helper[key]) for key in true}


def _sensed(scheme: Any, capture: Capture, attempt: Array) -> Witness:
    return validate.witness(
        scheme.name, call(scheme.name, "witness()", scheme.witness, capture), len(attempt)
    )


def _reproduced(scheme: Any, body: Witness, sent: dict[str, Array], width: int) -> tuple[Array, Array]:
    """B's keys and whether it accepts; a device that falls over what it was sent accepts nothing."""
    rows = len(body.acquired)
    try:
        return _run(scheme, body, sent, width)
    except ContractError:
        if rows == 1:
            return np.zeros((1, width), np.uint8), np.zeros(1, bool)
    each = [
        _reproduced(scheme, take(body, np.array([i])), {k: v[[i]] for k, v in sent.items()}, width)
        for i in range(rows)
    ]
    return np.concatenate([k for k, _ in each]), np.concatenate([a for _, a in each])


def _run(scheme: Any, body: Witness, sent: Helper, width: int) -> tuple[Array, Array]:
    name, rows = scheme.name, len(body.acquired)
    found = call(name, "reproduce()", scheme.reproduce, body, dict(sent))
    keys, accepted = parts(name, "reproduce()", found, 2)
    keys = validate.key_bits(name, "keys of B", keys, rows, width)
    kept = validate.accepted_flags(name, accepted, rows) & body.acquired
    return keys, kept & ~np.asarray(sent.get(ABORTED, np.zeros(rows, bool)), bool)


def _changes(true: Helper, sent: Helper, rows: int) -> Array:
    """(rows,) elements that differ from what A published."""
    counts = np.zeros(rows, np.intp)
    for key, own in true.items():
        counts += (own != sent[key]).reshape(rows, -1).sum(axis=1)
    return counts
