"""What is left of a record at each stage on its way to a key."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from harness.contracts import Estimate
from harness.estimators.rate import net_rate

__all__ = ["EPSILON_BITS", "Stage", "after_extraction", "after_view", "ledger", "per_second"]

EPSILON_BITS = 32
"""An extracted key may be this far from uniform: statistical distance 2^-32."""


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
            if least is not None and least.bits is not None and stage.bits.value > least.bits.value:
                now = replace(stage, bits=_capped(stage.bits, least.bits), note=_tighter(stage, least))
            if stage.bits.side != "defender-at-least":  # a floor under what is left caps nothing after it
                least = now
        found.append(now)
    return found


def _capped(bits: Estimate, least: Estimate) -> Estimate:
    return replace(
        bits,
        value=least.value,
        low=bits.low if math.isnan(bits.low) else min(bits.low, least.value),
        high=least.high if math.isnan(bits.high) else min(bits.high, least.high),
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


def after_extraction(bits: Estimate, *, epsilon_bits: float = EPSILON_BITS, with_two: bool) -> Estimate:
    """Length of a key that is uniform but for a distance of 2^-epsilon_bits.

    Parameters
    ----------
    bits : Estimate
        Average min-entropy before extraction.
    epsilon_bits : float
        log2 of 1/epsilon.
    with_two : bool
        The form ``m - 2 log2(1/epsilon) + 2`` of Dodis, Ostrovsky, Reyzin and Smith (SIAM J. Comput. 38
        (2008) 97–139); without, that of textbooks, two bits shorter.

    Returns
    -------
    Estimate
        Never below 0.

    Raises
    ------
    ValueError
        If `epsilon_bits` is negative.

    Examples
    --------
    >>> m = Estimate(value=131.0, low=131.0, high=131.0, level=0.95, unit="bit", side="estimate",
    ...     evidence="exact", subjects=1, attempts=1, method="source")
    >>> after_extraction(m, with_two=True).value, after_extraction(m, with_two=False).value
    (69.0, 67.0)
    """
    if not epsilon_bits >= 0:
        raise ValueError(f"`epsilon_bits` must be at least 0, got {epsilon_bits}")
    cost = 2 * epsilon_bits - (2 if with_two else 0)
    return replace(
        bits,
        value=max(bits.value - cost, 0.0),
        low=max(bits.low - cost, 0.0) if bits.low == bits.low else bits.low,
        high=max(bits.high - cost, 0.0) if bits.high == bits.high else bits.high,
        method="leftover-hash" if with_two else "leftover-hash-textbook",
    )


def per_second(bits: Estimate, agreement: Estimate, seconds: Estimate) -> Estimate:
    """Bits of a stage per second that the user spends, failed attempts included."""
    return replace(net_rate(bits, agreement, seconds), method=bits.method)
