"""Driving the sensors with a waveform that the adversary knows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from attacks.channels import Channel, learned_channel, normalised, part, symbol_table
from attacks.potential import PROPOSED
from attacks.quantising import quantised
from attacks.sensing import position_prior
from attacks.waveforms import on_grid, railed, wave
from harness.contracts import DEVICE_A, Array, Belief, Capture, Exchange, View

SIMULATED = 60  # other people's captures on which the adversary tries its waveform
ROUGHLY = 3  # every third of them at strengths that are tried besides


@dataclass(frozen=True, slots=True, kw_only=True)
class Injection:
    """One waveform in every sensor at once; believes what the owner's quantiser makes of it amid signals.

    Parameters
    ----------
    amplitude : float
        Peak, in standard deviations of other people's signal, or in its unit if `absolute` (assumption:
        that the adversary reaches it, and all sensors alike).
    kind : "wave", "saturation" or "quiet"
        Tones of random phase and loudness; rail to rail; held at one rail, so that nothing is sensed.
    others : tuple of float
        Other amplitudes, tried on a few attempts besides the other kinds.
    hold_s : float
        How long a loudness holds, s.
    rough : bool
        Hard decisions learned on fewer captures, for strengths that are tried besides.
    sigma, limits, others_captures, others_subject
        Learned from other people: standard deviation, least and greatest value, and some captures.
    """

    amplitude: float = 3.0
    kind: str = "wave"
    absolute: bool = False
    others: tuple[float, ...] = (2.0, 5.0)
    hold_s: float = 0.2
    rough: bool = False
    sigma: float | None = None
    limits: tuple[float, float] | None = None
    others_captures: Capture | None = field(default=None, repr=False)
    others_subject: Array | None = field(default=None, repr=False)
    name: str = "injection"
    sees: frozenset[str] = frozenset({"population"})

    def __post_init__(self) -> None:
        if self.kind not in ("wave", "saturation", "quiet"):
            raise ValueError(f"`kind` must be wave, saturation or quiet, got {self.kind!r}")
        if not 0 < self.amplitude < np.inf:
            raise ValueError(f"`amplitude` must be positive and finite, got {self.amplitude!r}")

    potential = PROPOSED["injection"]

    @property
    def strength(self) -> tuple[str, float | None, str]:
        unit = "absolute" if self.absolute else "sigma"
        wave_of = f"{self.amplitude:g}-{unit}"
        return (wave_of, self.amplitude, unit) if self.kind == "wave" else (self.kind, None, "")

    def variants(self) -> Sequence[Injection]:
        rough = replace(self, rough=True)
        others = [a for a in np.atleast_1d(self.others).tolist() if a != self.amplitude]
        kinds = [k for k in ("saturation", "quiet") if k != self.kind]
        return [*(replace(rough, amplitude=a) for a in others), *(replace(rough, kind=k) for k in kinds)]

    def tuned(self, population: Exchange) -> Injection:
        rows = np.unique(np.linspace(0, len(population.subject) - 1, SIMULATED).astype(int))
        sensed = population.captures[DEVICE_A]
        some = replace(sensed, samples=sensed.samples[rows], seconds=None)
        return replace(
            self,
            sigma=float(np.nanstd(some.samples)),
            limits=(float(np.nanmin(some.samples)), float(np.nanmax(some.samples))),
            others_captures=some,
            others_subject=population.subject[rows],
        )

    def interfere(
        self, captures: Mapping[str, Capture], *, rng: np.random.Generator
    ) -> tuple[Mapping[str, Capture], Mapping[str, Array]]:
        first = captures[DEVICE_A]
        driven = self._driven(first, rng)
        added = {
            role: replace(blank, samples=on_grid(driven, first.rate_hz, blank))
            for role, blank in captures.items()
        }
        return added, {"waveform": driven}

    def _driven(self, blank: Capture, rng: np.random.Generator) -> Array:
        if self.sigma is None or self.limits is None:
            raise ValueError("`sigma` and `limits` must be learned from other people, got none")
        if self.kind == "wave":
            peak = self.amplitude if self.absolute else self.amplitude * self.sigma
            return wave(blank, peak, hold_s=self.hold_s, rng=rng)
        rail = 2 * (self.limits[1] - self.limits[0])  # beyond either end whatever else is sensed
        if self.kind == "quiet":
            return np.full((len(blank.samples), blank.samples.shape[2]), rail)
        return railed(blank, rail, hold_s=self.hold_s, rng=rng)

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        some, subject = self.others_captures, self.others_subject
        if some is None or subject is None:
            raise ValueError("other people's captures must be learned before, got none")
        if self.rough:
            some, subject = replace(some, samples=some.samples[::ROUGHLY]), subject[::ROUGHLY]
        trial = self._driven(some, rng)[:, None, :]
        true = quantised(view.scheme, self._recorded(some, some.samples + trial))
        alone = np.where(np.isnan(some.samples), np.nan, trial)
        tried = quantised(view.scheme, self._recorded(some, alone))
        mine = view.notes["waveform"][:, None, :]
        mine = np.broadcast_to(mine, (view.attempts, some.samples.shape[1], mine.shape[2]))
        seen = quantised(view.scheme, self._recorded(some, mine))
        prior = position_prior(view, seen.symbols.shape[1], seen.alphabet)
        told = np.broadcast_to(prior, (view.attempts, *prior.shape)).copy()
        for acquired in (True, False):  # a wave too faint for the owner's threshold may tell all the same
            learn = np.flatnonzero((tried.acquired == acquired) & true.acquired)
            use = np.flatnonzero(seen.acquired == acquired)
            if len(learn) and len(use):
                heard, meant = part(tried, learn), part(true, learn)
                channel: Channel = symbol_table(heard, meant)
                if not self.rough:
                    channel = learned_channel(heard, meant, subject[learn], rng=rng)
                told[use] = channel(part(seen, use))
        return Belief(log_prob=normalised(told))

    def _recorded(self, like: Capture, samples: Array) -> Capture:
        """What a sensor of other people's range makes of it."""
        return replace(like, samples=np.clip(samples, *(self.limits or (-np.inf, np.inf))))
