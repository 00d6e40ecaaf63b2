"""Rows of what a view tells about the witness and the key."""

from __future__ import annotations

import numpy as np

from harness.collecting import Rows
from harness.errors import InsufficientData
from harness.estimators import leakage
from harness.estimators.leakage import detection, within_subject
from harness.exchange import Honest
from harness.score import Disclosure, Scores
from harness.streams import stream

__all__ = ["information_rows"]


def information_rows(
    table: Rows, scores: Scores, honest: Honest, disclosure: Disclosure, *, key_bits: int, seed: int
) -> None:
    """Add what a view tells about witness symbols and the key, and whether anything was told at all.

    Parameters
    ----------
    table : Rows
        Of one scheme and attack.
    scores : Scores
    honest : Honest
    disclosure : Disclosure
        Says how many bits the key can hold by design.
    key_bits : int
    seed : int
        Of the run; names the streams of the permutations.
    """
    subject = honest.subject[scores.attempt]
    if scores.gain is None:
        table.skip(
            "mutual-information",
            "bit/symbol",
            "the attack believes something of the key, not of the witness",
            status="not-applicable",
        )
    else:
        table.add("mutual-information", leakage.symbol_information(scores.gain, subject))
        table.people("mutual-information", scores.gain, subject)
        try:
            p = leakage.permutation_p_value(
                scores.cross, rng=stream(seed, "permutation", str(table.attack))
            )
            table.add(
                "leakage-test", p, reason="does the view tell an attempt from the same person's others?"
            )
            if scores.likely is not None:
                table.add(
                    "leakage-test",
                    within_subject.min_p_value(
                        scores.likely,
                        honest.a.symbols[scores.attempt],
                        subject,
                        rng=stream(seed, "min-p", str(table.attack)),
                    ),
                    reason=_detectable(len(subject)),
                )
        except InsufficientData as error:
            table.skip("leakage-test", "p-value", str(error))
    if np.isnan(scores.ranks.surprise).any():
        table.skip(
            "mutual-information",
            "bit",
            "no posterior of whole keys: the code is too large to enumerate, or keys were listed",
        )
        return
    entropy = float(min(key_bits, disclosure.secret_bits) if disclosure.labels is not None else key_bits)
    table.add(
        "mutual-information",
        leakage.key_information(scores.ranks.surprise, subject, entropy=entropy),
        reason=f"of {entropy:g} bits that the key promises",
    )


def _detectable(attempts: int) -> str:
    """What the test could have seen."""
    said = "the likeliest symbols, looked at three ways"
    try:
        least = detection.detectable_information(attempts)
    except InsufficientData:
        return f"{said}; {attempts} attempts are too few to see any leak in a single bit"
    return (
        f"{said}; {attempts} independent attempts show {least:.2g} bit in a single bit four times in five"
    )
