"""Device B in a process of its own, which has seen nothing of device A but its helper data.

The other end is `reproduced_apart`. What the scheme kept in its object, class or module is not there.
"""

from __future__ import annotations

import os
import sys
import traceback
from typing import Any

import cloudpickle
import numpy as np

from harness.children import child
from harness.contracts import Array, Helper, Witness
from harness.errors import ContractError
from harness.isolated import LENGTH
from harness.messages import get, put

__all__ = ["reproduced_apart"]

PATIENCE_S = 120.0
MOST_ANSWER = 2**28  # bytes


def reproduced_apart(plugin: str, parcel: bytes, witness: Witness, helper: Helper) -> tuple[Any, Any]:
    """Keys and accepted flags as a fresh process gives them.

    Parameters
    ----------
    parcel : bytes
        The scheme, pickled before it ran.

    Raises
    ------
    ContractError
        If it fails there.
    """
    # modules beside a test or a script are found there as here
    body = cloudpickle.dumps((sys.path, parcel, witness, dict(helper)))
    with child("harness.checks.apart", plugin, patience_s=PATIENCE_S) as other:
        try:
            other.say.write(LENGTH.pack(len(body)) + body)
            other.say.flush()
            header, arrays = get(other.hear, most=MOST_ANSWER)
        except (ValueError, EOFError, OSError) as error:
            raise ContractError(plugin, "reproduce()", "a process that answers", other.end()) from error
    if "failure" in header or len(arrays) != 2:
        raise ContractError(plugin, "reproduce()", "a method that returns", str(header.get("failure")))
    return arrays[0], arrays[1]


def _serve() -> None:
    # what a plug-in prints must not pass for a message
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    questions = sys.stdin.buffer
    (size,) = LENGTH.unpack(questions.read(LENGTH.size))
    path, parcel, witness, helper = cloudpickle.loads(questions.read(size))  # from the parent, which is us
    sys.path[:] = [*sys.path, *(p for p in path if p not in sys.path)]
    try:
        found: list[Array] = [np.asarray(x) for x in cloudpickle.loads(parcel).reproduce(witness, helper)]
        put(answers, {}, found)
    except (Exception, SystemExit) as error:  # noqa: BLE001 - whatever a stranger's code raises is reported, not spread
        put(answers, {"failure": "".join(traceback.format_exception_only(error)).strip()})


if __name__ == "__main__":
    _serve()
