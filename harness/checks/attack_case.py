"""An attack under check: a scheme and people to set it on, and what it answers to ordinary Views."""

from __future__ import annotations

import copy
import tempfile
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import cloudpickle
import numpy as np

from harness import interference
from harness.cache import Captures, render
from harness.checks.attack_scheme import chosen_pair
from harness.checks.counted_device import CountedDevice
from harness.checks.handing import sealed
from harness.checks.outcomes import CouldNotRun, NotApplicable, needed
from harness.checks.surroundings import Watch
from harness.contracts import DEVICE_A, DEVICE_B, Array, Belief, Exchange, Guesses, View
from harness.device import device_of
from harness.errors import ContractError
from harness.exchange import Honest, call, join, run_block, signal_of
from harness.interference import Act
from harness.sensors import blanks
from harness.streams import stream
from harness.view import WORDS, Rows, Unseen, assemble, needs, session_ranks

__all__ = ["AttackCase"]

SITTINGS = 16  # of a corpus, at most
VICTIMS = 3  # attempts under attack


class AttackCase:
    """What checks of an attack share; everything is computed once and when first asked for."""

    def __init__(self, attack: Any, *, scheme: Any = None, corpus: Any = None, seed: int = 0) -> None:
        self.attack, self.seed = attack, seed
        self._wanted = (scheme, corpus)
        self.watch = Watch()
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        try:
            self.parcel, self.unsent = bytes(cloudpickle.dumps(attack)), ""
        except Exception as error:  # noqa: BLE001 - a stranger's parts may raise anything
            self.parcel, self.unsent = b"", f"{type(error).__name__}: {error}"

    def __enter__(self) -> AttackCase:
        return self

    def __exit__(self, *error: object) -> None:
        if self._folder is not None:
            self._folder.cleanup()

    @property
    def plugin(self) -> str:
        return str(getattr(self.attack, "name", type(self.attack).__name__))

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
        except Exception:  # noqa: BLE001 - a stranger's parts may raise anything
            return self.attack

    # scheme and people

    @cached_property
    def _pair(self) -> tuple[Any, Any]:
        return chosen_pair(*self._wanted, seed=self.seed)

    @property
    def scheme(self) -> Any:
        return self._pair[0]

    @cached_property
    def captures(self) -> Captures:
        """Every stream of a few sittings, stored once."""
        corpus = self._pair[1]
        sittings = list(corpus.sittings())[:SITTINGS]
        devices = {f"{role}:{signal_of(self.scheme, role)}" for role in (DEVICE_A, DEVICE_B)}
        sittings = [s for s in sittings if devices <= s.streams]
        if not sittings:
            raise CouldNotRun(f"{corpus.name} holds no sitting of both devices: give a corpus that does")
        self._folder = tempfile.TemporaryDirectory(prefix="keyassay-check-")
        roles = {name.partition(":")[0] for name in self.sees | self.likes}
        stored: dict[tuple[int, str], Any] = {}
        for index, sitting in enumerate(sittings):
            wanted = devices | {s for s in sitting.streams if s.partition(":")[0] in roles}
            stored |= dict(render(corpus, index, sitting, frozenset(wanted), Path(self._folder.name)))
        return Captures(sittings, stored)

    @cached_property
    def honest(self) -> Honest:
        """The scheme's honest runs."""
        blocks = []
        for index, sitting in enumerate(self.captures.sittings):
            both = {}
            for role in (DEVICE_A, DEVICE_B):
                cached = self.captures.of(index, f"{role}:{signal_of(self.scheme, role)}")
                if cached is None:
                    raise CouldNotRun(f"{role} is missing in a sitting: give a corpus that holds it")
                both[role] = cached.load()
            blocks.append(
                run_block(
                    self.scheme,
                    both,
                    seed=self.seed,
                    sitting=index,
                    subject=sitting.subject,
                    session=sitting.session,
                )
            )
        return join(self.scheme.name, blocks)

    @cached_property
    def people(self) -> tuple[Array, Array]:
        """Attempts under attack, of one or two people in one session each, and other people's."""
        honest = self.honest
        ranks, established = session_ranks(honest), honest.established
        everyone = np.unique(honest.subject)
        chosen = everyone[-2:] if len(everyone) > 3 else everyone[-1:]
        for rank in sorted(np.unique(ranks), reverse=True):
            own = np.isin(honest.subject, chosen) & established & (ranks == rank)
            if own.any():
                picked = np.flatnonzero(own)
                # of both people, if there are two
                turn = np.argsort(np.arange(len(picked)) % max(1, len(picked) // 2), kind="stable")
                victims = np.sort(picked[turn][:VICTIMS])
                return victims, np.flatnonzero(~np.isin(honest.subject, chosen))
        raise CouldNotRun(f"{self._pair[1].name} holds no attempt in which {self.scheme.name} makes a key")

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
                self.captures,
                attempts=self.people[0],
                limits=interference.device_ranges(self.scheme, self.captures),
                seed=self.seed,
                rng=self.rng("interfere"),
                strength=interference.Strength(label="as-given"),
            )

    def blanks(self) -> dict[str, Any]:
        """Captures of nothing, as an attack that writes to sensors gets them."""
        return blanks(self.attack, self.scheme, self.honest, self.captures, self.people[0])

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
                self.captures,
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
        limits = interference.device_ranges(self.scheme, self.captures)
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

    # what it did not ask for

    def everything(self) -> tuple[View, Rows, list[str]]:
        """The ordinary View with all that the attack has not declared besides, and what that is.

        Captures of other roles are device A's own: whoever reads them answers otherwise.
        """
        view, rows = self.view
        declared = self.sees | self.likes
        more, _ = self.view_of(declared | WORDS)
        own = self._owners(rows)
        extra = [role for role in _ROLES if role not in {n.partition(":")[0] for n in view.captures}]
        population = view.population
        if population is None:
            population = more.population if "population" not in declared else None
        else:
            decoys = dict.fromkeys(extra, population.captures[DEVICE_A])
            population = _with_captures(population, decoys)
        history = more.history
        if history is not None and "labels" not in declared and view.history is not None:
            history = replace(history, captures=view.history.captures)
        found = replace(
            view,
            captures={**dict(view.captures), **dict.fromkeys(extra, own)},
            helper=view.helper if "helper" in declared else more.helper,
            population=population,
            history=history,
        )
        return found, rows, [*extra, *sorted(WORDS - declared)]

    def _owners(self, rows: Rows) -> Any:
        shell = SimpleNamespace(name=self.plugin, sees=frozenset({DEVICE_A}), likes=frozenset())
        view, found = assemble(
            shell,
            self.scheme,
            self.honest,
            self.captures,
            victims=self.people[0],
            population=np.zeros(0, int),
        )
        capture = view.captures[DEVICE_A]
        place = np.searchsorted(found.attempt, rows.attempt)
        return replace(
            capture,
            samples=capture.samples[place],
            seconds=None if capture.seconds is None else capture.seconds[place],
        )

    def acting(self) -> None:
        """Raise NotApplicable unless it writes to a sensor."""
        if not self.acts:
            raise NotApplicable("the attack has no `interfere`")


_ROLES = (
    "mimic", "remote", "other-site", "earlier", "camera", "partner-touch", "handshake", "neighbour",
)  # fmt: skip


def _with_captures(population: Exchange, more: dict[str, Any]) -> Exchange:
    return replace(population, captures={**dict(population.captures), **more})
