"""Who is under attack: a scheme, people whom it ran on, and their captures."""

from __future__ import annotations

import weakref
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from harness.cache import Captures, render
from harness.checks.attack_scheme import chosen_pair
from harness.checks.outcomes import CouldNotRun
from harness.checks.written_files import own_folder, remove_own
from harness.contracts import DEVICE_A, DEVICE_B, Array
from harness.exchange import Honest, join, run_block, signal_of
from harness.view import session_ranks

__all__ = ["Stage"]

SITTINGS = 16  # of a corpus, at most
VICTIMS = 3  # attempts under attack


class Stage:
    """Runs of a scheme on a few people; everything is computed once and when first asked for.

    Parameters
    ----------
    roles : callable
        Gives the names whose captures are kept besides the devices'; asked when they are needed.
    """

    def __init__(self, scheme: Any, corpus: Any, roles: Any, *, seed: int) -> None:
        self._wanted, self._roles, self.seed = (scheme, corpus), roles, seed

    def _new_folder(self) -> Path:
        """A folder that goes when this does."""
        folder = own_folder()
        weakref.finalize(self, remove_own, folder)
        return folder

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
        folder = self._new_folder()
        roles = {name.partition(":")[0] for name in self._roles()}
        stored: dict[tuple[int, str], Any] = {}
        for index, sitting in enumerate(sittings):
            wanted = devices | {s for s in sitting.streams if s.partition(":")[0] in roles}
            stored |= dict(render(corpus, index, sitting, frozenset(wanted), folder))
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
