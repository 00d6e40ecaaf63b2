"""A stranger's attack runs in a process of its own that is not handed keys.

The parent never imports the file. It starts a child (`harness.isolated`) that introduces the attack, or
answers one View, or says what it adds to the sensors, in plain arrays; nothing that comes back is
unpickled. The child gets a generator, never the seed. Where the attack may ask a device, the child's
questions are passed on, and it hears what the device accepts.

What it does not do: the child runs as the same user, so it is kept from keys by never being given
them, not by a wall around the file system. Audit attacks from people you would let run a program.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from harness.children import child
from harness.contracts import Array, Belief, Capture, Device, Exchange, Guesses, View
from harness.device import QueriesSpent
from harness.errors import ContractError, UsageError
from harness.exchange import sent
from harness.isolated import LENGTH, Task
from harness.messages import get, put
from harness.plugins import shown
from harness.validate import attack_members

__all__ = ["Stranger", "meet"]

PATIENCE_S = 600.0  # how long a stranger's attack may think about one View
MOST_ANSWER = 2**31  # bytes of one message


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
    strength: tuple[Any, ...] | None = None
    others: tuple[tuple[Any, ...] | None, ...] = ()  # strengths of its variants
    tunes: bool = False
    population: Exchange | None = None  # what it was tuned to
    variant: int | None = None

    def __deepcopy__(self, memo: dict[int, Any]) -> Stranger:
        return self  # nothing in it changes

    def against(self, scheme: str | None) -> Stranger:
        """The same attack on a scheme from a file or package of its own.

        Such a scheme is never sent: what it kept in its class or module while A ran would go along.
        """
        return replace(self, scheme=scheme)

    def tuned(self, population: Exchange) -> Stranger:
        """The attack as it will be once it has looked at other people."""
        return replace(self, population=population) if self.tunes else self

    def variants(self) -> list[Stranger]:
        """The same attack at every other strength."""
        return [replace(self, variant=i, strength=s, others=()) for i, s in enumerate(self.others)]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief | Guesses:
        """Have the attack answer one View in a fresh process."""
        device = view.device
        view_shown = replace(view, device=None, scheme=view.scheme if self.scheme is None else None)
        task = Task(
            rng=rng,
            view=view_shown,
            scheme=self.scheme,
            asks=device is not None,
            population=self.population,
            variant=self.variant,
        )
        header, arrays = _converse(self.spec, sent(view.scheme.name, task), self.name, "believe()", device)
        # the child is the stranger's: what it sends may be anything
        work, about = header.get("work"), header.get("about", "witness")
        if not isinstance(work, int | float) or not isinstance(about, str) or len(arrays) != 1:
            raise ContractError(self.name, "believe()", "a Belief or Guesses", f"{header!r}"[:120])
        if header.get("kind") == "guesses":
            return Guesses(keys=arrays[0], work=work)
        return Belief(log_prob=arrays[0], about=about, work=work)

    def interfere(
        self, captures: Mapping[str, Capture], *, rng: np.random.Generator
    ) -> tuple[Mapping[str, Capture], Mapping[str, Array]]:
        """Have the attack say, in a fresh process, what it adds to the sensors."""
        task = Task(rng=rng, blanks=captures, population=self.population, variant=self.variant)
        header, arrays = _converse(self.spec, sent(self.name, task), self.name, "interfere()", None)
        roles, notes = _names(header.get("roles")), _names(header.get("notes"))
        if len(arrays) != len(roles) + len(notes):
            got = f"{header!r}"[:120]
            raise ContractError(self.name, "interfere()", "an array for each role and note", got)
        kinds = {role: captures[role] for role in roles if role in captures}
        blank = next(iter(captures.values()))
        added = {
            role: replace(kinds.get(role, blank), samples=samples)
            for role, samples in zip(roles, arrays, strict=False)
        }
        return added, dict(zip(notes, arrays[len(roles) :], strict=True))


def meet(spec: str) -> Stranger:
    """Ask a stranger's attack who it is.

    Raises
    ------
    UsageError
        If the file, the class or a member is missing.
    """
    who = shown(spec)
    told, _ = _converse(spec, b"", who, "import", None)
    try:
        stranger = Stranger(
            spec=spec,
            name=told["name"],
            sees=frozenset(told["sees"]),
            likes=frozenset(told["likes"]),
            summary=str(told["summary"]),
            interferes=bool(told["interferes"]),
            tunes=bool(told["tunes"]),
            strength=None if told["strength"] is None else tuple(told["strength"]),
            others=tuple(None if s is None else tuple(s) for s in told["variants"]),
        )
    except (KeyError, TypeError) as error:
        raise UsageError(f"{who} must introduce itself as an attack, got {told!r}"[:300]) from error
    attack_members(stranger)
    return stranger


def _names(value: object) -> list[str]:
    return value if isinstance(value, list) and all(isinstance(v, str) for v in value) else []


def _converse(
    spec: str, parcel: bytes, who: str, doing: str, device: Device | None
) -> tuple[dict[str, Any], list[Array]]:
    """One child, one task: its answer, after whatever it asked a device."""
    with child("harness.isolated", spec, patience_s=PATIENCE_S) as other:
        try:
            other.say.write(LENGTH.pack(len(parcel)) + parcel)
            other.say.flush()
            header, arrays = get(other.hear, most=MOST_ANSWER)
            while header.get("kind") == "query" and device is not None:
                put(other.say, *_passed_on(device, header, arrays))
                header, arrays = get(other.hear, most=MOST_ANSWER)
        except (ValueError, EOFError, OSError) as error:
            if other.overdue():
                raise ContractError(who, doing, f"done within {PATIENCE_S:g} s", "no answer") from error
            if isinstance(error, ValueError) and doing != "import":
                raise ContractError(who, doing, "plain numeric arrays", str(error)) from error
            raise ContractError(who, doing, "a process that answers", other.end()) from error
    if "usage" in header:
        if parcel:
            raise ContractError(who, doing, "there as it was before", str(header["usage"]))
        raise UsageError(str(header["usage"]))
    if "failure" in header:
        raise ContractError(who, doing, "a method that returns", str(header["failure"]))
    return header, arrays


def _passed_on(
    device: Device, header: Mapping[str, Any], arrays: list[Array]
) -> tuple[dict[str, Any], list[Array]]:
    """What B's radio answers to a question as it came."""
    names, told = _names(header.get("helper")), header.get("capture")
    helper, more = dict(zip(names, arrays, strict=False)), arrays[len(names) :]
    try:
        capture = None
        if told is not None:
            capture = Capture(
                samples=more[0],
                rate_hz=told["rate_hz"],
                signal=told["signal"],
                unit=told["unit"],
                seconds=more[1] if told["timed"] else None,
            )
        return {"kind": "answer"}, [device(helper, capture)]
    except (ValueError, TypeError, KeyError, IndexError, ContractError, QueriesSpent) as error:
        return {"refused": str(error), "spent": isinstance(error, QueriesSpent)}, []
