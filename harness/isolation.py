"""A stranger's attack runs in a process of its own that is not handed keys.

The parent never imports the file. It starts a child that introduces the attack, or answers one View
with plain arrays; nothing that comes back is unpickled. The child gets a generator, never the seed.

What it does not do: the child runs as the same user, so it is kept from keys by never being given
them, not by a wall around the file system. Audit attacks from people you would let run a program.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import traceback
from dataclasses import dataclass, replace
from typing import Any

import cloudpickle
import numpy as np

from harness.contracts import Belief, Guesses, View
from harness.errors import ContractError, UsageError
from harness.exchange import sent
from harness.plugins import shown
from harness.validate import attack_members

__all__ = ["Stranger", "meet"]

PATIENCE_S = 600.0  # how long a stranger's attack may think about one View


@dataclass(frozen=True, slots=True)
class Stranger:
    """An attack that lives elsewhere; stands in for it in the parent."""

    spec: str
    name: str
    sees: frozenset[str]
    likes: frozenset[str]
    summary: str
    interferes: bool
    scheme: str | None = None  # where the child finds the View's scheme itself; None: it is sent

    def against(self, scheme: str | None) -> Stranger:
        """The same attack on a scheme from a file or package of its own.

        Such a scheme is never sent: what it kept in its class or module while A ran would go along.
        """
        return replace(self, scheme=scheme)

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief | Guesses:
        """Have the attack answer one View in a fresh process."""
        shown_view = view if self.scheme is None else replace(view, scheme=None)
        parcel = sent(view.scheme.name, (shown_view, rng, self.scheme))
        header, array = _run(self.spec, parcel, self.name)
        # the child is the stranger's: what it sends may be anything
        work, about = header.get("work"), header.get("about", "witness")
        if not isinstance(work, int | float) or not isinstance(about, str):
            raise ContractError(self.name, "believe()", "a Belief or Guesses", f"{header!r}"[:120])
        try:
            values = np.lib.format.read_array(io.BytesIO(array), allow_pickle=False)
        except (ValueError, EOFError, MemoryError, OverflowError) as error:
            raise ContractError(self.name, "believe()", "plain numeric arrays", str(error)) from error
        if header.get("kind") == "guesses":
            return Guesses(keys=values, work=work)
        return Belief(log_prob=values, about=about, work=work)


def meet(spec: str) -> Stranger:
    """Ask a stranger's attack who it is.

    Raises
    ------
    UsageError
        If the file, the class or a member is missing.
    """
    who = shown(spec)
    told, _ = _run(spec, b"", who)
    try:
        stranger = Stranger(
            spec=spec,
            name=told["name"],
            sees=frozenset(told["sees"]),
            likes=frozenset(told["likes"]),
            summary=str(told["summary"]),
            interferes=bool(told["interferes"]),
        )
    except (KeyError, TypeError) as error:
        raise UsageError(f"{who} must introduce itself as an attack, got {told!r}"[:300]) from error
    attack_members(stranger)
    return stranger


def _run(spec: str, parcel: bytes, who: str) -> tuple[dict[str, Any], bytes]:
    """One child, one question: the header of its answer, and the bytes behind it."""
    try:
        done = subprocess.run(
            # -P: what happens to lie in the working folder must not stand in for a library
            [sys.executable, "-P", "-m", "harness.isolation", spec],
            input=parcel,
            capture_output=True,
            timeout=PATIENCE_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise ContractError(who, "believe()", f"done within {PATIENCE_S:g} s", "no answer") from error
    head, _, rest = done.stdout.partition(b"\n")
    try:
        message: dict[str, Any] = json.loads(head)
        if not isinstance(message, dict):
            raise ValueError("not an answer")
    except (ValueError, RecursionError) as error:
        last = done.stderr.decode(errors="replace").strip().rpartition("\n")[2]
        got = f"one that ended with status {done.returncode}: {last}"
        raise ContractError(
            who, "believe()" if parcel else "import", "a process that answers", got
        ) from error
    if "usage" in message:
        if parcel:
            raise ContractError(who, "believe()", "there as it was before", str(message["usage"]))
        raise UsageError(str(message["usage"]))
    if "failure" in message:
        raise ContractError(who, "believe()", "a method that returns", str(message["failure"]))
    return message, rest


def _serve(spec: str) -> None:
    """What the child does: introduce its attack if it is sent nothing, else answer the View it is sent."""
    # answers go to the real standard output; whatever the plug-in prints goes to standard error
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    from threadpoolctl import threadpool_limits

    from harness.plugins import resolve, summary_of

    def say(message: dict[str, Any], more: bytes = b"") -> None:
        answers.write(json.dumps(message).encode() + b"\n" + more)
        answers.flush()

    try:
        attack = resolve("attack", spec).value
    except (UsageError, ContractError) as error:
        say({"usage": str(error)})
        return
    parcel = sys.stdin.buffer.read()
    if not parcel:
        say(
            {
                "name": attack.name,
                "sees": sorted(attack.sees),
                "likes": sorted(getattr(attack, "likes", ())),
                "summary": summary_of(attack),
                "interferes": callable(getattr(attack, "interfere", None)),
            }
        )
        return
    view, rng, scheme = cloudpickle.loads(parcel)  # from the parent, which is us
    try:
        if scheme is not None:
            view = replace(view, scheme=resolve("scheme", scheme).value)
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
        say({"failure": "".join(traceback.format_exception_only(error)).strip()})
        return
    say(header, answer.getvalue())


if __name__ == "__main__":
    _serve(sys.argv[1])
