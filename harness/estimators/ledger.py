"""What is left of a record at each stage on its way to a key."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from harness.contracts import Estimate
from harness.estimators.rate import net_rate

__all__ = ["Stage", "after_view", "ledger", "per_second"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One line of the ledger.

    Attributes
    ----------
    name : str
    bits : Estimate or None
        Conditional min-entropy once all stages so far are known to the adversary. None: not known.
    note : str
        Why it is not known, or that the stage before is the tighter one.
    """

    name: str
    bits: Estimate | None
    note: str = ""


def ledger(stages: Sequence[Stage]) -> list[Stage]:
    """The stages in order, none of them above what is left before it.

    Every stage only tells the adversary more, so less is left: where the figure of a later stage lies
    above that of an earlier one, it is the earlier that holds. Stages do not add, and may not be taken in
    another order: each is what is left of the whole, given all that came before.

    Parameters
    ----------
    stages : sequence of Stage

    Returns
    -------
    list of Stage
    """
    found: list[Stage] = []
    least: Stage | None = None
    for stage in stages:
        now = stage
        if stage.bits is not None:
            if least is not None and least.bits is not None:
                tighter = stage.bits.value > least.bits.value
                note = _tighter(stage, least) if tighter else stage.note
                now = replace(stage, bits=_capped(stage.bits, least.bits), note=note)
            if stage.bits.side != "defender-at-least":  # a floor under what is left caps nothing after it
                least = now
        found.append(now)
    return found


def _capped(bits: Estimate, least: Estimate) -> Estimate:
    value = min(bits.value, least.value)
    return replace(
        bits,
        value=value,
        low=bits.low if math.isnan(bits.low) else min(bits.low, value),
        high=float(np.fmin(bits.high, least.high)),  # an open end is bounded by what the other knows
    )


def _tighter(stage: Stage, least: Stage) -> str:
    said = f"no more than after {least.name}, which is the tighter figure"
    return f"{stage.note}; {said}" if stage.note else said


def after_view(odds: Estimate) -> Estimate:
    """Bits that odds at one guess leave: minus log2 of them.

    Parameters
    ----------
    odds : Estimate
        Success odds of the strongest adversary at one guess. They are a lower bound on what an adversary
        gets, so what is left is at most this.

    Returns
    -------
    Estimate
        Value infinite where nobody was successful, so that the stage before holds; `low` is what these
        people could show.

    Examples
    --------
    >>> seen = Estimate(value=0.25, low=0.125, high=0.5, level=0.9, unit="probability",
    ...     side="attacker-at-least", evidence="counted", subjects=9, attempts=90, method="counted")
    >>> left = after_view(seen)
    >>> left.low, left.value, left.high
    (1.0, 2.0, 3.0)
    """

    def bits(probability: float) -> float:
        return -math.log2(probability) + 0.0 if probability > 0 else math.inf

    return replace(
        odds,
        value=bits(odds.value),
        low=bits(odds.high),
        high=bits(odds.low),
        unit="bit",
        side="defender-at-most",
        method="strongest-view",
    )


def per_second(bits: Estimate, agreement: Estimate, seconds: Estimate) -> Estimate:
    """Bits of a stage per second that the user spends, failed attempts included."""
    return replace(net_rate(bits, agreement, seconds), method=bits.method)
