"""Views of a Gaussian source: an adversary's probes see it under noise of a stated size."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.integrate import quad
from scipy.special import ndtr
from scipy.stats import norm

from harness.contracts import Array, Capture, Exchange, View, Witness

__all__ = [
    "LEARNING",
    "ROWS",
    "FirstChannelSigns",
    "M",
    "bits",
    "capture",
    "information",
    "reached",
    "view",
]

ROWS, M = 150, 40  # of 30 people


@dataclass(frozen=True)
class FirstChannelSigns:
    """The sign of every sample of the first channel, as a scheme for single sensors reads it."""

    def witness(self, capture: Capture) -> Witness:
        x = capture.samples[:, 0]
        return Witness(
            symbols=(x > 0).astype(np.uint8), alphabet=2, acquired=np.ones(len(x), bool),
            features=x[..., None],
        )  # fmt: skip


def capture(samples: Array) -> Capture:
    return Capture(samples=samples, rate_hz=None, signal="level", unit="V")


def probes(x: Array, noise: Array, rng: np.random.Generator) -> Capture:
    """One channel for each size of noise."""
    return capture(x[:, None] + noise[:, None] * rng.standard_normal((len(x), len(noise), x.shape[1])))


def view(noise: dict[str, list[float]], seed: int = 0) -> tuple[View, Array]:
    """A view of several roles, each an array of probes with stated noise; and the victims' symbols."""
    rng = np.random.default_rng(seed)
    theirs, mine = rng.standard_normal((2, ROWS, M))
    scheme = FirstChannelSigns()
    seen = [{r: probes(x, np.array(n), rng) for r, n in noise.items()} for x in (theirs, mine)]
    subject = np.arange(ROWS) // 5
    population = Exchange(
        subject=subject, session=np.zeros(ROWS, int), captures=seen[0], helper={},
        witness=scheme.witness(capture(theirs[:, None])), keys=np.zeros((ROWS, 1), np.uint8),
    )  # fmt: skip
    made = View(
        scheme=scheme, attempts=ROWS, subject=100 + subject, session=np.zeros(ROWS, int),
        captures=seen[1], helper={}, population=population,
    )  # fmt: skip
    return made, (mine > 0).astype(np.uint8)


def bits(log_prob: Array, symbols: Array) -> tuple[float, float]:
    """Bits per symbol that were gained, and the standard error."""
    told = 1 + np.take_along_axis(log_prob, symbols[..., None].astype(int), axis=2)[..., 0] / np.log(2)
    return float(told.mean()), float(told.std() / np.sqrt(told.size))


def information(rho: float) -> float:
    """I(sign of one; the other) of a Gaussian pair, bits."""
    slope = rho / np.sqrt(1 - rho**2)

    def entropy(p: float) -> float:
        p = np.clip(p, 1e-300, 1 - 1e-16)
        return float(-p * np.log2(p) - (1 - p) * np.log2(1 - p))

    return 1 - float(quad(lambda z: norm.pdf(z) * entropy(ndtr(slope * z)), -9, 9)[0])


def reached(noise: float) -> float:
    """Correlation with what is seen under noise of this size."""
    return float(1 / np.sqrt(1 + noise**2))


LEARNING = (20 / (2 * ROWS * M) + 1e-4) / np.log(2)
"""What learning costs in bits: 20 weights fitted on 6000 symbols (Wilks), and the least doubt."""
