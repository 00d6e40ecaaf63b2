"""From honest runs to rows of the result table: what the scheme does for its owner."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from harness.accumulation_rows import accumulation_rows
from harness.channel_rows import channel_rows
from harness.collecting import Rows
from harness.confirmation_rows import confirmation_rows
from harness.contracts import Estimate
from harness.decoding import witness_bits
from harness.detector_rows import detector_rows
from harness.entropy_measures import entropy_rows
from harness.errors import ContractError
from harness.estimators import means, proportion, rate
from harness.exchange import Honest, strangers
from harness.linkage_rows import linkage_rows
from harness.listing_rows import listing_rows
from harness.logs import Logged
from harness.randomness_rows import randomness_rows
from harness.results import PerSubject, Row
from harness.score import Disclosure
from harness.source_rows import source_rows

__all__ = ["honest_rows"]


def honest_rows(
    scheme: Any, honest: Honest, disclosure: Disclosure, *, data: str, seed: int
) -> tuple[list[Row], list[PerSubject], dict[str, Any]]:
    """What the scheme does for its owner: agreement, failures, time, entropy, linkage, rate.

    Returns
    -------
    rows, per_subject, facts
        `facts` carries what the findings need: key repeats, strangers' successes, who is worst, detections.
    """
    table = Rows(scheme.name, None, data)
    facts: dict[str, Any] = {}
    subject = honest.subject
    agreed = honest.agreed.astype(float)
    agreement = proportion.clustered_rate(agreed, agreed, subject, side="estimate")
    table.add("key-agreement", agreement, reason="failures to acquire count as failures")
    table.people("key-agreement", agreed, subject)
    failed = 1.0 - (honest.a.acquired & honest.b.acquired)
    table.add("failure-to-acquire", proportion.clustered_rate(failed, failed, subject, side="estimate"))
    table.people("failure-to-acquire", failed, subject)
    _mismatch(table, honest, disclosure)
    _strangers(table, scheme, honest, seed, facts)
    _repeats(table, honest, facts)
    seconds = means.subject_mean(honest.seconds, subject, unit="s", side="estimate", method="per-attempt")
    if honest.seconds.any():
        table.add("time", seconds)
        table.people("time", honest.seconds, subject)
    else:
        table.skip("time", "s", "nothing says how long sensing took", method="per-attempt")
    _public_bits(table, honest)
    strength = entropy_rows(table, scheme, honest, disclosure, facts, seed=seed)
    channel_rows(table, scheme, honest)
    confirmation_rows(table, scheme, honest)
    listing_rows(table, scheme, honest)
    source_rows(table, honest)
    randomness_rows(table, honest.keys_a[honest.established], subject[honest.established])
    accumulation_rows(table, honest, limit=_most_of_one(strength, int(scheme.key_bits)))
    linkage_rows(table, scheme, honest, disclosure, seed=seed)
    facts["detections"] = detector_rows(table, scheme, honest, seed=seed)
    _rates(table, honest, disclosure, seconds, agreement, strength)
    return table.rows, table.per_subject, facts


def _most_of_one(strength: Estimate | None, key_bits: int) -> float:
    """Bits of one attempt's key at most: its length, or the upper end of what is left if that is less.

    A floor under what is left, such as a bound by a chain, says nothing of the most.
    """
    if strength is None or strength.side == "defender-at-least":
        return float(key_bits)
    return float(np.fmin(key_bits, strength.high))


def _mismatch(table: Rows, honest: Honest, disclosure: Disclosure) -> None:
    both = honest.a.acquired & honest.b.acquired
    if not both.any():
        table.skip("bit-mismatch", "probability", "no attempt was acquired by both devices")
        return
    labels = disclosure.labels
    a, b = honest.a.symbols[both], honest.b.symbols[both]
    method = "symbols"
    if labels is not None:
        a, b, method = witness_bits(a, labels), witness_bits(b, labels), "witness-bits"
    values = (a != b).mean(axis=1)
    subject = honest.subject[both]
    table.add(
        "bit-mismatch",
        means.subject_mean(values, subject, unit="probability", side="estimate", method=method),
    )
    table.people("bit-mismatch", values, subject)


def _strangers(table: Rows, scheme: Any, honest: Honest, seed: int, facts: dict[str, Any]) -> None:
    if len(np.unique(honest.subject)) < 2:
        table.skip("strangers-agreement", "probability", "strangers need at least two subjects")
        return
    if isinstance(scheme, Logged) and not callable(getattr(scheme, "reproduce", None)):
        why = "a log of finished exchanges cannot be run again with another body"
        table.skip("strangers-agreement", "probability", why)
        return
    try:
        hit = strangers(scheme, honest, seed=seed)[0]
    except ContractError as error:
        table.skip("strangers-agreement", "probability", str(error), status="failed")
        return
    usable = honest.established
    if not usable.any():
        table.skip("strangers-agreement", "probability", "no attempt established a key")
        return
    values = hit[usable].astype(float)
    facts["strangers"] = (values, honest.subject[usable])
    table.add(
        "strangers-agreement",
        proportion.clustered_rate(values, values, honest.subject[usable], side="estimate"),
        reason="one stranger each, on A's helper data",
    )
    table.people("strangers-agreement", values, honest.subject[usable])


def _repeats(table: Rows, honest: Honest, facts: dict[str, Any]) -> None:
    usable = honest.established
    if usable.sum() < 2:
        table.skip("key-repeats", "probability", "fewer than two attempts established a key")
        return
    packed = np.packbits(honest.keys_a[usable], axis=1)
    _, index, count = np.unique(packed, axis=0, return_inverse=True, return_counts=True)
    n, width = int(usable.sum()), honest.keys_a.shape[1]
    repeated = (count[index.ravel()] > 1).astype(float)
    pairs = int((count * (count - 1) // 2).sum())
    facts["repeats"] = {"pairs": pairs, "keys": n, "expected-pairs": math.ldexp(n * (n - 1) / 2, -width)}
    table.add(
        "key-repeats",
        proportion.clustered_rate(repeated, repeated, honest.subject[usable], side="estimate"),
        reason="share of keys that another attempt had too",
    )
    table.people("key-repeats", repeated, honest.subject[usable])


def _public_bits(table: Rows, honest: Honest) -> None:
    """Everything that is published, for each bit of the key: arrays of 0 and 1 count a bit an element."""
    published = 0
    for name, array in honest.helper.items():
        if name != "aborted":
            binary = array.dtype.kind in "bui" and (array.size == 0 or int(array.max()) <= 1)
            published += array[0].size * (1 if binary else 8 * array.dtype.itemsize)
    value = published / honest.keys_a.shape[1]
    counted = Estimate(
        value=value,
        low=value,
        high=value,
        level=0.95,
        unit="bit/bit",
        side="estimate",
        evidence="exact",
        subjects=len(np.unique(honest.subject)),
        attempts=honest.attempts,
        method="helper-arrays",
    )
    table.add("public-bits", counted, reason="public bits for each bit of the key, as they are stored")


def _rates(
    table: Rows,
    honest: Honest,
    disclosure: Disclosure,
    seconds: Estimate,
    agreement: Estimate,
    strength: Estimate | None,
) -> None:
    if not seconds.value > 0:
        why = "nothing says how long sensing took"
        table.skip("rate", "bit/s", why)
        return
    m, alphabet = honest.a.symbols.shape[1], honest.a.alphabet
    bits = {"symbol-log2": m * float(np.log2(alphabet))}
    if disclosure.labels is not None:
        used, parities = disclosure.block_bits
        bits = rate.usual_bits(
            symbols=m,
            alphabet=alphabet,
            witness_bits=used * disclosure.blocks,
            used_bits=used,
            code_length=disclosure.code_length,
            parities=parities,
            blocks=disclosure.blocks,
        )
    found = rate.rates(bits, seconds)
    if strength is not None:
        found.append(rate.net_rate(strength, agreement, seconds))
    else:
        why = "what is left given the helper data is not known, so no rate counts"
        table.skip("rate", "bit/s", why, method=rate.COUNTS)
        table.skip("time-to-key", "s", why, method=rate.COUNTS)
    for estimate in found:
        counts = estimate.method == rate.COUNTS
        reason = "a usual claim, not a security figure"
        if counts and strength is not None:
            reason = f"this one counts; bits left by {strength.method}"
        table.add("rate", estimate, reason=reason)
        time = rate.time_to_strength(estimate)
        if time is None:
            table.skip(
                "time-to-key", "s", "at this rate never", method=estimate.method, status="not-applicable"
            )
        else:
            table.add("time-to-key", time, reason=f"until {rate.STRENGTH_BITS} bits; {reason}")
