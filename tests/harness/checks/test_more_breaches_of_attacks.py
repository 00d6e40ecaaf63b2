"""Other ways in which an attack breaks the same promises, and what is said of them."""

from __future__ import annotations

import threading
from typing import Any

import numpy as np
import pytest
from contract_breakers import sound_attacks
from contract_breakers.sound_schemes import Sound

from fixtures.controls import Channel
from harness import check_attack
from harness.contracts import Belief, Guesses


class Wavers(sound_attacks.Sound):
    """Guesses keys every second time."""

    times: list[int] = []  # noqa: RUF012 - shared on purpose: this is the flaw

    def believe(self, view: Any, *, rng: Any) -> Any:
        self.times.append(1)
        if len(self.times) % 2:
            return super().believe(view, rng=rng)
        return Guesses(keys=np.zeros((view.attempts, 1, view.scheme.key_bits), np.uint8))


class Changes(Wavers):
    """Speaks of the key every second time."""

    times: list[int] = []  # noqa: RUF012 - shared on purpose: this is the flaw

    def believe(self, view: Any, *, rng: Any) -> Any:
        self.times.append(1)
        if len(self.times) % 2:
            return sound_attacks.Sound.believe(self, view, rng=rng)
        half = np.full((view.attempts, view.scheme.key_bits, 2), np.log(0.5))
        return Belief(log_prob=half, about="key")


class Mute(sound_attacks.Sound):
    def believe(self, view: Any, *, rng: Any) -> Any:
        return None


class Scribbles(sound_attacks.Writer):
    """Writes on the blanks themselves."""

    def interfere(self, captures: Any, *, rng: Any) -> Any:
        for blank in captures.values():
            if blank.samples.flags.writeable:
                blank.samples[:] = 1.0
        return super().interfere(captures, rng=rng)


class Idle(sound_attacks.Writer):
    """Has a variant that does nothing."""

    def variants(self) -> Any:
        other = sound_attacks.Sound()
        other.strength = ("idle", None, "")
        return [other]


class LockedAttack(sound_attacks.Sound):
    def __init__(self) -> None:
        self.lock = threading.Lock()


MORE_ATTACKS = [
    (Wavers, "same-stream-same-output", "Belief, from the same stream, got Guesses"),
    (Changes, "same-stream-same-output", "`about`"),
    (Mute, "attack-answers", "a Belief or Guesses, got NoneType"),
    (Scribbles, "inputs-untouched", "at interfere()"),
    (Idle, "strengths-well-formed", "an attack that interferes, got Sound"),
    (LockedAttack, "survives-pickling", "one that can be pickled"),
]


@pytest.mark.parametrize(("kind", "check", "told"), MORE_ATTACKS)
def test_it_is_told_of_attacks(kind: Any, check: str, told: str, few: Channel) -> None:
    (found,) = check_attack(kind(), scheme=Sound(), corpus=few, only=[check])
    assert found.status == "broken"
    assert told in found.sentence


def test_what_gives_no_answer_has_no_work(few: Channel) -> None:
    (found,) = check_attack(Mute(), scheme=Sound(), corpus=few, only=["work-in-range"])
    assert found.status == "could-not-run"
