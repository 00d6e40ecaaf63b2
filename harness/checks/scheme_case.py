"""A scheme under check: people to run it on, and what it answers to ordinary questions."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cloudpickle
import numpy as np

from harness import validate
from harness.checks.handing import plain, rows_of, writeable
from harness.checks.outcomes import CouldNotRun, NotApplicable, name_of, needed, raised
from harness.checks.sources import chosen_people
from harness.checks.surroundings import Watch
from harness.contracts import ABORTED, DEVICE_A, DEVICE_B, Array, Capture, Helper, Witness
from harness.errors import ContractError
from harness.exchange import call, parts, signal_of
from harness.streams import stream

__all__ = ["ROWS", "TRIED", "Run", "SchemeCase", "attempts_with"]

ROWS = 4  # attempts of a batch
TRIED = 8  # sittings that are looked through for attempts that are acquired


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One honest exchange of a batch."""

    a: Witness
    b: Witness
    keys: Array  # A's
    helper: Helper  # as A handed it over
    published: Helper  # plain copies of it
    keys_b: Array
    accepted: Array

    @property
    def aborted(self) -> Array:
        return np.asarray(self.published.get(ABORTED, np.zeros(len(self.keys), bool)), bool)

    @property
    def established(self) -> Array:
        """(attempts,) A holds a key."""
        return np.asarray(self.a.acquired & ~self.aborted)


class SchemeCase:
    """What checks of a scheme share; everything is computed once and when first asked for."""

    def __init__(self, scheme: Any, *, corpus: Any = None, seed: int = 0) -> None:
        self.scheme, self.seed = scheme, seed
        # before anything runs: afterwards, what its class or module keeps would go along
        self.parcel, self.unsent = _parcel(scheme)
        self._corpus = corpus
        self.watch = Watch()

    @property
    def plugin(self) -> str:
        return name_of(self.scheme)

    @property
    def width(self) -> int:
        return int(self.scheme.key_bits)

    @property
    def interactive(self) -> bool:
        return callable(getattr(self.scheme, "agree", None))

    @property
    def by_processes(self) -> bool:
        """Does it say that its calls are processes?"""
        return getattr(self.scheme, "whole_batches", False) is True

    def has(self, *members: str) -> None:
        """Raise NotApplicable unless the scheme has these members."""
        missing = [m for m in members if getattr(self.scheme, m, None) is None]
        if missing:
            raise NotApplicable(f"the scheme has no `{missing[0]}`")

    def fresh(self) -> Any:
        """A copy of the scheme; the scheme itself if it cannot be copied, which is a check of its own."""
        try:
            return copy.deepcopy(self.scheme)
        except (Exception, SystemExit):  # noqa: BLE001 - a stranger's parts may raise anything
            return self.scheme

    def rng(self, *names: str | int) -> np.random.Generator:
        return stream(self.seed, "check", *names)

    # captures

    @cached_property
    def people(self) -> Any:
        return chosen_people(self.scheme, self._corpus, seed=self.seed)

    def captures(self, index: int) -> tuple[Capture, Capture]:
        """Both devices' captures in a sitting that has both, at most ROWS attempts."""
        wanted = {role: f"{role}:{signal_of(self.scheme, role)}" for role in (DEVICE_A, DEVICE_B)}
        fitting = [s for s in self.people.sittings() if set(wanted.values()) <= s.streams]
        if not fitting:
            raise CouldNotRun(
                f"{self.people.name} holds no sitting with {' and '.join(wanted.values())}: give a corpus "
                "that does"
            )
        sitting = fitting[index % len(fitting)]
        block = self.people.block(sitting, frozenset(wanted.values()))
        rows = np.arange(min(ROWS, sitting.attempts))
        return rows_of(block[wanted[DEVICE_A]].capture, rows), rows_of(
            block[wanted[DEVICE_B]].capture, rows
        )

    @cached_property
    def both(self) -> tuple[Capture, Capture]:
        """Captures of the first sitting in which anything is acquired."""
        scheme = self.fresh()
        for index in range(min(TRIED, len(self.people.sittings()))):
            a, b = self.captures(index)
            try:
                if self.sense(scheme, a).acquired.any() and self.sense(scheme, b).acquired.any():
                    return a, b
            except ContractError:  # another check's matter
                return a, b
        return self.captures(0)

    # questions

    def ask(self, member: str, function: Callable[..., Any], *args: Any, **options: Any) -> Any:
        """Call a method of the scheme, watched."""
        with self.watch.over(member):
            return call(self.plugin, member, function, *args, **options)

    def sense(self, scheme: Any, capture: Capture) -> Witness:
        """A validated witness."""
        answer = self.ask("witness()", scheme.witness, writeable(capture))
        return validate.witness(self.plugin, answer, len(capture.samples))

    def generate(self, scheme: Any, a: Witness, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Validated keys, and helper data as they came."""
        answer = self.ask("generate()", scheme.generate, writeable(a), rng=rng)
        keys, helper = parts(self.plugin, "generate()", answer, 2)
        validate.helper_data(self.plugin, helper, len(a.acquired))
        return self._keys("keys of A", keys, len(a.acquired)), helper

    def reproduce(self, scheme: Any, b: Witness, helper: Helper) -> tuple[Array, Array]:
        """Validated keys and accepted flags."""
        answer = self.ask("reproduce()", scheme.reproduce, writeable(b), helper)
        keys, accepted = parts(self.plugin, "reproduce()", answer, 2)
        rows = len(b.acquired)
        return self._keys("keys of B", keys, rows), validate.accepted_flags(self.plugin, accepted, rows)

    def agree(self, scheme: Any, a: Witness, b: Witness, rng: np.random.Generator) -> Run:
        """Both devices in rounds."""
        answer = self.ask("agree()", scheme.agree, writeable(a), writeable(b), rng=rng)
        keys, keys_b, accepted, helper = parts(self.plugin, "agree()", answer, 4)
        rows = len(a.acquired)
        published = plain(validate.helper_data(self.plugin, helper, rows))
        return Run(
            a=a,
            b=b,
            keys=self._keys("keys of A", keys, rows),
            helper=helper,
            published=published,
            keys_b=self._keys("keys of B", keys_b, rows),
            accepted=validate.accepted_flags(self.plugin, accepted, rows),
        )

    def exchange(self, device_a: Any, device_b: Any, a: Witness, b: Witness, rng: Any) -> Run:
        """One exchange; rounds run on the first copy alone."""
        if self.interactive:
            return self.agree(device_a, a, b, rng)
        keys, helper = self.generate(device_a, a, rng)
        published = plain(helper)
        keys_b, accepted = self.reproduce(device_b, b, helper)
        return Run(
            a=a, b=b, keys=keys, helper=helper, published=published, keys_b=keys_b, accepted=accepted
        )

    def _keys(self, field: str, value: object, rows: int) -> Array:
        return validate.key_bits(self.plugin, field, value, rows, self.width)

    # ordinary answers

    @cached_property
    def witnesses(self) -> tuple[Witness, Witness]:
        """Both devices' witnesses of an ordinary batch."""
        scheme = self.fresh()
        with needed("witness-well-formed"):
            a, b = (self.sense(scheme, capture) for capture in self.both)
        if not a.acquired.any():
            raise CouldNotRun(
                f"nothing that {self.people.name} holds is acquired: give a corpus whose captures are long "
                "enough"
            )
        return a, b

    @cached_property
    def run(self) -> Run:
        """An ordinary exchange, both devices on one object: what separate copies change is a check."""
        a, b = self.witnesses
        own = self.fresh()
        with needed("keys-well-formed or helper-well-formed"):
            return self.exchange(own, own, a, b, self.rng("generate"))


def _parcel(plugin: Any) -> tuple[bytes | None, str]:
    try:
        return bytes(cloudpickle.dumps(plugin)), ""
    except (Exception, SystemExit) as error:  # noqa: BLE001 - a stranger's parts may raise anything
        return None, raised(error)


def attempts_with(case: SchemeCase, wanted: Callable[[Run], Array]) -> Array:
    """Rows of the ordinary run for which something holds; CouldNotRun if there are none."""
    rows = np.flatnonzero(wanted(case.run))
    if not len(rows):
        raise CouldNotRun(
            f"no attempt of {case.people.name} came so far: give a corpus on which A holds keys"
        )
    return rows
