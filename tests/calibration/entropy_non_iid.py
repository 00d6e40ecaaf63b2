"""Min-entropy estimates of sources whose min-entropy is known: the value must not exceed it.

The standard's limits are one-sided. Of sources that an estimator is made for, the value is to lie at or
below the truth as often as its limit says; of others it may lie above, whatever the length, which is why
the least of all counts.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from calibration.case import Case
from harness.contracts import Array
from harness.estimators.entropy.non_iid import ESTIMATORS, non_iid

__all__ = ["CASES"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shares:
    """Independent symbols."""

    shares: tuple[float, ...]

    @property
    def truth(self) -> float:
        return -math.log2(max(self.shares))

    def symbols(self, rng: np.random.Generator, n: int) -> Array:
        return rng.choice(len(self.shares), n, p=self.shares)


@dataclass(frozen=True, slots=True, kw_only=True)
class Echo:
    """The bit `back` places ago, unless it flips; stays and alternates with equal odds in the long run."""

    back: int
    stays: float

    @property
    def truth(self) -> float:
        return -math.log2(max(self.stays, 1 - self.stays))

    def symbols(self, rng: np.random.Generator, n: int) -> Array:
        rows = -(-n // self.back)
        flips = rng.random((rows, self.back)) >= self.stays
        flips[0] = rng.random(self.back) < 0.5
        return np.bitwise_xor.accumulate(flips, axis=0).ravel()[:n].astype(np.uint8)


Source = Shares | Echo
FAIR = Shares(shares=(0.5, 0.5))
SLIGHT = Shares(shares=(0.6, 0.4))
STRONG = Shares(shares=(0.9, 0.1))
TERNARY = Shares(shares=(0.5, 0.3, 0.2))
BYTES = Shares(shares=(1 / 256,) * 256)
STICKY, PERIOD = Echo(back=1, stays=0.9), Echo(back=7, stays=0.9)


def not_above(rng: np.random.Generator, *, method: str, source: Source, n: int) -> bool:
    return ESTIMATORS[method](source.symbols(rng, n)).value <= source.truth + 1e-12


def assessed_not_above(rng: np.random.Generator, *, source: Source, n: int) -> bool:
    return non_iid(source.symbols(rng, n)).value <= source.truth + 1e-12


def case(
    method: str,
    source: Source,
    channel: str,
    n: int,
    nominal: float,
    *,
    remark: str = "",
    short: bool = False,
) -> Case:
    run: Callable[[np.random.Generator], bool]
    if method == "assessment":
        run = partial(assessed_not_above, source=source, n=n)
    else:
        run = partial(not_above, method=method, source=source, n=n)
    return Case(
        name=f"min-entropy, lower end: {method}",
        channel=f"{channel}, {n} symbols",
        kind="coverage",
        nominal=nominal,
        run=run,
        remark=remark,
        short=short,
    )


COMMON, WINDOW = "most-common-value", "multi-most-common-in-window"
AT_THE_TOP = "no value exceeds a whole symbol"
OF_MAXIMA = "the largest of several shares counts"
LEAST = "the least of ten or seventeen counts"
LARGEST = "the larger of two limits counts"

TOLD = "; reports say that single estimates lie above the truth, and the least of all counts"
CASES: list[Case] = [
    case(COMMON, STRONG, "independent bits .9", 1000, 0.995),
    case(COMMON, SLIGHT, "independent bits .6", 1000, 0.995),
    case(COMMON, FAIR, "fair bits", 1000, 0.995, remark=AT_THE_TOP),
    case(COMMON, TERNARY, "independent .5 .3 .2", 1000, 0.995),
    case(COMMON, BYTES, "256 equal symbols", 5000, 0.995, remark=AT_THE_TOP),
    case("collision", STRONG, "independent bits .9", 2000, 0.995),
    case("collision", SLIGHT, "independent bits .6", 2000, 0.995),
    case("compression", STRONG, "independent bits .9", 12_000, 0.995, remark="takes other blocks as equal"),
    case("compression", FAIR, "fair bits", 12_000, 0.995, remark=AT_THE_TOP),
    case("t-tuple", STRONG, "independent bits .9", 2000, 0.995, remark=OF_MAXIMA),
    case(
        "t-tuple",
        STICKY,
        "bits that stay at .9",
        2000,
        0.995,
        remark="the first bit of a stretch counts in full, and stretches are short" + TOLD,
        short=True,
    ),
    case(
        "longest-repeated-substring",
        STRONG,
        "independent bits .9",
        2000,
        0.995,
        remark="sees how often stretches agree, not which is likeliest" + TOLD,
        short=True,
    ),
    case(
        "lag",
        STRONG,
        "independent bits .9",
        2000,
        0.99,
        remark="repeating a bit is no match for naming the likelier one" + TOLD,
        short=True,
    ),
    case("longest-repeated-substring", FAIR, "fair bits", 2000, 0.995, remark=AT_THE_TOP),
    case(WINDOW, STRONG, "independent bits .9", 2000, 0.99, remark=LARGEST),
    case("lag", PERIOD, "bits that repeat the seventh before at .9", 2000, 0.99, remark=LARGEST),
    case("multi-markov", STICKY, "bits that stay at .9", 2000, 0.99, remark=LARGEST),
    case("lz78y", STICKY, "bits that stay at .9", 2000, 0.99, remark=LARGEST),
    case(
        "markov",
        STICKY,
        "bits that stay at .9",
        2000,
        0.99,
        remark="the standard gives no limit here; the estimate's low and high are open" + TOLD,
        short=True,
    ),
    case("assessment", FAIR, "fair bits", 1000, 0.99, remark=AT_THE_TOP),
    case("assessment", STRONG, "independent bits .9", 1000, 0.99, remark=LEAST),
    case("assessment", STICKY, "bits that stay at .9", 1000, 0.99, remark=LEAST),
    case("assessment", PERIOD, "bits that repeat the seventh before at .9", 1000, 0.99, remark=LEAST),
    case("assessment", TERNARY, "independent .5 .3 .2", 1000, 0.99, remark=LEAST),
]
