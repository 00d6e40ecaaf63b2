"""Keeping the owner's devices from agreeing: how little it takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from attacks.potential import PROPOSED
from attacks.tampering import changeable, flipped
from attacks.waveforms import on_grid, wave
from harness.contracts import DEVICE_B, Array, Belief, Capture, Exchange, View

CHANGED = (1, 2, 4, 8, 16, 32, 64)  # elements of helper data
EVERY = 6  # of other people's captures, one in so many suffices for a deviation


@dataclass(frozen=True, slots=True, kw_only=True)
class Denial:
    """A wave in device B alone, louder and louder; and more and more elements of helper data changed.

    It learns nothing of the key and believes nothing of it. Its main run is undisturbed, so that helper
    data are changed in honest runs.

    Parameters
    ----------
    amplitude : float
        Peak in standard deviations of other people's signal at device B; 0 = no wave (assumption: that the
        adversary reaches it).
    ladder : tuple of float
        Amplitudes tried on a few attempts.
    hold_s : float
        How long a loudness holds, s.
    sigma : float, optional
        Learned from other people.
    """

    amplitude: float = 0.0
    ladder: tuple[float, ...] = (0.1, 0.2, 0.5, 1.0, 2.0)
    hold_s: float = 0.2
    sigma: float | None = None
    name: str = "denial"
    sees: frozenset[str] = frozenset({"helper", "population"})
    likes: frozenset[str] = frozenset({"device"})
    potential = PROPOSED["denial"]

    @property
    def strength(self) -> tuple[str, float | None, str]:
        return f"{self.amplitude:g}-sigma", self.amplitude, "sigma"

    def variants(self) -> Sequence[Denial]:
        return [replace(self, amplitude=a, likes=frozenset()) for a in np.atleast_1d(self.ladder).tolist()]

    def tuned(self, population: Exchange) -> Denial:
        some = population.captures[DEVICE_B].samples[::EVERY]
        return replace(self, sigma=float(np.nanstd(some)))

    def interfere(
        self, captures: Mapping[str, Capture], *, rng: np.random.Generator
    ) -> tuple[Mapping[str, Capture], Mapping[str, Array]]:
        if self.amplitude == 0:
            return {}, {}
        if self.sigma is None:
            raise ValueError("`sigma` must be learned from other people, got none")
        blank = captures[DEVICE_B]
        driven = wave(blank, self.amplitude * self.sigma, hold_s=self.hold_s, rng=rng)
        return {DEVICE_B: replace(blank, samples=on_grid(driven, blank.rate_hz, blank))}, {}

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        total = changeable(view.helper)
        if view.device is not None and total:
            view.device(dict(view.helper))
            for count in CHANGED:
                if count <= total:
                    view.device(flipped(view.helper, count, rng=rng))
        nothing = np.full((view.attempts, int(view.scheme.key_bits), 2), np.log(0.5))
        return Belief(log_prob=nothing, about="key")
