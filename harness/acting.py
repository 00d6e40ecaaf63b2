"""An attack at the sensors of some people, and at a few of their attempts at its other strengths too."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from harness import interference
from harness.asking import Scene, asked_of
from harness.cache import Captures
from harness.contracts import Array
from harness.exchange import Honest
from harness.interference import Act, Strength
from harness.streams import stream
from harness.view import assemble

__all__ = ["disturb"]


def disturb(
    attack: Any,
    scheme: Any,
    honest: Honest,
    captures: Captures,
    people: Array,
    learned: Array,
    *,
    fold: int,
    seed: int,
) -> tuple[Scene, Sequence[Act]]:
    """Let an attack disturb the sensors of one fold.

    Parameters
    ----------
    people, learned : (…,) int
        Attempts to disturb, and other people's to learn from.

    Returns
    -------
    scene : Scene
        The attack as fitted to other people, and the runs that it disturbed.
    acts : sequence of Act
        The same first, then one for each other strength.

    Raises
    ------
    Unseen
        If the corpus cannot show what the attack asks for.
    ContractError
        If the attack or the scheme broke its promise.
    """
    before, _ = assemble(attack, scheme, honest, captures, victims=people, population=learned)
    fitted = interference.tuned(attack, before.population)
    limits = interference.device_ranges(scheme, captures)

    def scene_of(some: Any, attempts: Array, strength: Strength) -> Scene:
        act = interference.acted(
            some,
            scheme,
            honest,
            captures,
            attempts=attempts,
            limits=limits,
            seed=seed,
            rng=stream(seed, "interfere", attack.name, fold, strength.label),
            strength=strength,
        )
        return Scene(some, interference.with_runs(honest, [act]), act, limits)

    main = scene_of(fitted, people, interference.strength_of(fitted))
    acts = [interference.remembered(main.act, runs=True)]
    few = interference.few_per_sitting(honest, people)
    for strength, other in interference.variants(fitted):
        scene = scene_of(other, few, strength)
        victims = few[scene.honest.established[few]]
        right = None
        if len(victims):
            purpose = (seed, f"attack {strength.label}", fold)
            told = asked_of(other, scheme, scene.honest, captures, victims, learned, purpose, scene=scene)
            right = interference.symbols_right(told, scene.honest)
        acts.append(interference.remembered(scene.act, right=right))
    return main, acts
