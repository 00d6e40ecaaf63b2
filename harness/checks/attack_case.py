"""An attack under check: a scheme and people to set it on, and what it answers to ordinary Views."""

from __future__ import annotations

import copy
from dataclasses import replace
from functools import cached_property
from types import SimpleNamespace
from typing import Any

import cloudpickle
import numpy as np

from harness import interference
from harness.checks.counted_device import CountedDevice
from harness.checks.handing import sealed
from harness.checks.outcomes import CouldNotRun, NotApplicable, name_of, needed, raised
from harness.checks.stage import Stage
from harness.checks.surroundings import Watch
from harness.contracts import Array, Belief, Guesses, View
from harness.device import device_of
from harness.errors import ContractError
from harness.exchange import Honest, call
from harness.interference import Act
from harness.sensors import blanks
from harness.streams import stream
from harness.view import Rows, Unseen, assemble, needs

__all__ = ["AttackCase"]


class AttackCase:
    """What checks of an attack share; everything is computed once and when first asked for."""

    def __init__(self, attack: Any, *, scheme: Any = None, corpus: Any = None, seed: int = 0) -> None:
        self.attack, self.seed = attack, seed
        self.stage = Stage(scheme, corpus, lambda: self.sees | self.likes, seed=seed)
        self.watch = Watch()
        try:
            self.parcel, self.unsent = bytes(cloudpickle.dumps(attack)), ""
        except (Exception, SystemExit) as error:  # noqa: BLE001 - a stranger's parts may raise anything
            self.parcel, self.unsent = b"", raised(error)

    @property
    def plugin(self) -> str:
        return name_of(self.attack)

    @property
    def sees(self) -> frozenset[str]:
        return frozenset(self.attack.sees)

    @property
    def likes(self) -> frozenset[str]:
        return frozenset(getattr(self.attack, "likes", ()))

    @property
    def acts(self) -> bool:
        """Does it write to a sensor?"""
        return interference.interferes(self.attack)

    def rng(self, *names: str | int) -> np.random.Generator:
        return stream(self.seed, "check", *names)

    def fresh(self) -> Any:
        """A copy of the attack; the attack itself if it cannot be copied, which is a check of its own."""
        try:
            return copy.deepcopy(self.attack)
        except (Exception, SystemExit):  # noqa: BLE001 - a stranger's parts may raise anything
            return self.attack

    @property
    def scheme(self) -> Any:
        return self.stage.scheme

    @property
    def honest(self) -> Honest:
        """The scheme's honest runs."""
        return self.stage.honest

    @property
    def people(self) -> tuple[Array, Array]:
        """Attempts under attack, and other people's."""
        return self.stage.people

    # acting on sensors

    @cached_property
    def fitted(self) -> Any:
        """The attack as it acts: fitted to other people, if it knows how."""
        if not self.acts:
            return self.fresh()
        population = self.shown(self.sees | self.likes)[0].population
        with needed("interference-well-formed"):
            return interference.tuned(self.attack, population)

    @cached_property
    def act(self) -> Act | None:
        """What came of writing to the sensors; None if it does not."""
        if not self.acts:
            return None
        with needed("interference-well-formed"):
            return interference.acted(
                copy.deepcopy(self.fitted),
                self.scheme,
                self.honest,
                self.stage.captures,
                attempts=self.people[0],
                limits=interference.device_ranges(self.scheme, self.stage.captures),
                seed=self.seed,
                rng=self.rng("interfere"),
                strength=interference.Strength(label="as-given"),
            )

    def blanks(self) -> dict[str, Any]:
        """Captures of nothing, as an attack that writes to sensors gets them."""
        return blanks(self.attack, self.scheme, self.honest, self.stage.captures, self.people[0])

    # Views

    def shown(
        self, names: frozenset[str], *, honest: Honest | None = None, victims: Array | None = None
    ) -> tuple[View, Rows]:
        """The View of whoever declares these names."""
        shell = SimpleNamespace(name=self.plugin, sees=self.sees & names, likes=names - self.sees)
        attacked, others = self.people
        try:
            return assemble(
                shell,
                self.scheme,
                honest or self.honest,
                self.stage.captures,
                victims=attacked if victims is None else victims,
                population=others,
            )
        except Unseen as reason:
            raise CouldNotRun(f"the corpus cannot show what the attack asks for: {reason}") from reason

    @cached_property
    def view(self) -> tuple[View, Rows]:
        """An ordinary View: all that the attack declares, its wishes included."""
        return self.view_of(self.sees | self.likes)

    def view_of(self, names: frozenset[str], *, victims: Array | None = None) -> tuple[View, Rows]:
        """A View after whatever the attack did to the sensors."""
        act = self.act
        if act is None:
            return self.shown(names, victims=victims)
        disturbed = interference.with_runs(self.honest, [act])
        view, rows = self.shown(names, honest=disturbed, victims=victims)
        limits = interference.device_ranges(self.scheme, self.stage.captures)
        return interference.shown(view, rows, act, limits), rows

    @property
    def asks(self) -> bool:
        """Is it given a device?"""
        declared = needs(self.attack)[1]
        return "device" in declared and callable(getattr(self.scheme, "reproduce", None))

    # questions

    def ask(self, member: str, function: Any, *args: Any, **options: Any) -> Any:
        """Call a method of the attack, watched."""
        with self.watch.over(member):
            return call(self.plugin, member, function, *args, **options)

    def believe(self, view: View, rows: Rows, rng: Any, **options: Any) -> Any:
        """What the attack answers, unchecked; a copy of it is asked unless one is given."""
        return self.heard(view, rows, rng, **options)[0]

    def heard(
        self,
        view: View,
        rows: Rows,
        rng: Any,
        *,
        attack: Any = None,
        device: bool | None = None,
        as_it_is: bool = False,
    ) -> tuple[Any, CountedDevice | None]:
        """The answer, and the device that was asked; the View is copied unless taken as it is."""
        if not as_it_is:
            view = sealed(view)
        own = copy.deepcopy(self.fitted) if attack is None and self.unsent == "" else attack or self.fitted
        if not (self.asks if device is None else device):
            return self.ask("believe()", own.believe, view, rng=rng), None
        act = self.act
        honest = self.honest if act is None else interference.with_runs(self.honest, [act])
        with device_of(self.scheme, honest, rows.attempt) as (stub, _):
            counted = CountedDevice(stub)
            answer = self.ask("believe()", own.believe, replace(view, device=counted), rng=rng)
        return answer, counted

    @cached_property
    def raw(self) -> Any:
        """The unchecked answer to the ordinary View."""
        try:
            return self.believe(*self.view, self.rng("believe"))
        except ContractError as error:
            raise CouldNotRun("an ordinary question fails, see attack-answers") from error

    @cached_property
    def answer(self) -> Belief | Guesses:
        """A sound answer to the ordinary View."""
        from harness.checks.answers import sound

        try:
            return sound(self, self.raw, self.view[0])
        except ContractError as error:
            raise CouldNotRun("an ordinary answer is not sound, see the checks of it") from error

    @property
    def deterministic(self) -> bool:
        """Does another stream get the same answer?"""
        from harness.checks.alike import same_answers
        from harness.checks.answers import sound
        from harness.checks.outcomes import Breach

        again = sound(self, self.believe(*self.view, self.rng("another stream")), self.view[0])
        try:
            same_answers(self.answer, again, when="")
        except Breach:
            return False
        return True

    def acting(self) -> None:
        """Raise NotApplicable unless it writes to a sensor."""
        if not self.acts:
            raise NotApplicable("the attack has no `interfere`")
