"""Several probes of one thing: averaging keeps what they have in common, and little of their noise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from attacks.choosing import best_capture
from attacks.sensing import sensed_belief
from harness.contracts import Belief, Capture, View

__all__ = ["array_belief", "averaged"]


def averaged(capture: Capture) -> Capture:
    """The mean of all channels, as the only one.

    Probes that see one field at equal strength under independent noise of equal size reach a
    correlation of 1 / √(1 + 1 / (n SNR)) with it, n being their number and SNR that of one.
    """
    return replace(capture, samples=capture.samples.mean(axis=1, keepdims=True))


def array_belief(view: View, role: str, *, rng: np.random.Generator) -> Belief:
    """Belief from one role's captures of several channels: averaged, or as the scheme reads them.

    What told more of other people is used; with nobody to learn from, the mean. A
    capture of one channel is handed on as it is.

    Parameters
    ----------
    view : View
    role : str
        Whose captures.
    rng : numpy.random.Generator
    """
    if view.captures[role].samples.shape[1] == 1:
        return sensed_belief(view, role, rng=rng)
    learned = view.population
    ways: list[Callable[[Capture], Capture]] = [averaged, _as_it_is]
    way = ways[0]
    if learned is not None and learned.witness is not None and role in learned.captures:
        theirs = [way(learned.captures[role]) for way in ways]
        way = ways[best_capture(view.scheme, theirs, learned.witness, learned.subject, rng=rng)]
    heard = {role: way(view.captures[role])}
    if learned is not None and role in learned.captures:
        learned = replace(learned, captures={role: way(learned.captures[role])})
    return sensed_belief(replace(view, captures=heard, population=learned), role, rng=rng)


def _as_it_is(capture: Capture) -> Capture:
    return capture
