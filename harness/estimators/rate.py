"""How fast a scheme makes key, in every way of counting that is in use, and which one counts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from harness.contracts import Estimate

__all__ = ["COUNTS", "STRENGTH_BITS", "net_rate", "rates", "time_to_strength", "usual_bits"]

STRENGTH_BITS = 128
COUNTS = "average-given-helper"
"""The rate that counts: bits that a guesser who holds the helper data still has to guess, per second that
the user spends, failed attempts included."""

_OF_TIME = {"defender-at-most": "defender-at-least", "defender-at-least": "defender-at-most"}
"""What bounds a rate on one side bounds the time on the other."""


def usual_bits(
    *,
    symbols: int,
    alphabet: int,
    witness_bits: int,
    used_bits: int,
    code_length: int,
    parities: int,
    blocks: int,
) -> dict[str, float]:
    """Bits per attempt by the usual ways of counting; none of them is a security figure.

    Parameters
    ----------
    symbols, alphabet, witness_bits : int
        Of a whole witness.
    used_bits, code_length, parities, blocks : int
        Witness bits in a block, length of its code, parities published for it, and number of blocks.

    Returns
    -------
    dict
        ``symbol-log2``: all symbols taken as uniform. ``witness-bits``: the bits that encode them
        taken as uniform. ``code-rate-of-symbols``, ``code-rate``: these times k/n.
        ``bits-minus-parities``: bits of a block less the parities published for it.

    Examples
    --------
    >>> one = dict(symbols=4, alphabet=4, witness_bits=8, used_bits=8)
    >>> usual_bits(**one, code_length=8, parities=4, blocks=1)["bits-minus-parities"]
    4.0
    """
    share = (code_length - parities) / code_length
    raw = symbols * math.log2(alphabet)
    return {
        "symbol-log2": raw,
        "witness-bits": float(witness_bits),
        "code-rate-of-symbols": raw * share,
        "code-rate": witness_bits * share,
        "bits-minus-parities": float(max(0, (used_bits - parities) * blocks)),
    }


def rates(bits: Mapping[str, float], seconds: Estimate) -> list[Estimate]:
    """Bits per second of sensing for each way of counting.

    Parameters
    ----------
    bits : mapping
        Method -> bits per attempt, from `usual_bits`.
    seconds : Estimate
        Mean time of an attempt.

    Returns
    -------
    list of Estimate
        Unit "bit/s"; the interval is that of the time, open (NaN) above where that reaches down to 0.
    """
    return [
        replace(
            seconds,
            value=value / seconds.value,
            low=value / seconds.high,
            high=_per_second(value, seconds.low),
            unit="bit/s",
            side="estimate",
            method=method,
        )
        for method, value in bits.items()
    ]


def _per_second(bits: float, seconds: float) -> float:
    return bits / seconds if seconds > 0 else float("nan")


def time_to_strength(rate: Estimate) -> Estimate | None:
    """Seconds until `STRENGTH_BITS` bits are there at this rate; None if they never are."""
    if not rate.value > 0:
        return None

    def seconds(bits_per_second: float) -> float:
        return STRENGTH_BITS / bits_per_second if bits_per_second > 0 else float("nan")

    return replace(
        rate,
        value=seconds(rate.value),
        low=seconds(rate.high),
        high=seconds(rate.low),
        unit="s",
        side=_OF_TIME.get(rate.side, rate.side),
    )


def net_rate(strength: Estimate, agreement: Estimate, seconds: Estimate) -> Estimate:
    """Bits that are left per second, failed attempts included.

    The ends combine the least favourable ends of the three, so the interval holds at least at the
    sum of their error rates.

    Parameters
    ----------
    strength : Estimate
        Bits left of a key given the helper data.
    agreement : Estimate
        Share of attempts that end in a shared key.
    seconds : Estimate
        Mean time of an attempt.
    """
    return replace(
        strength,
        value=strength.value * agreement.value / seconds.value,
        low=strength.low * agreement.low / seconds.high,
        high=_per_second(strength.high * agreement.high, seconds.low),
        level=max(0.5, 1 - (1 - strength.level) - (1 - agreement.level) - (1 - seconds.level)),
        unit="bit/s",
        method=COUNTS,
    )
