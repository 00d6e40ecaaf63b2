"""The ledger of a scheme: from the rows of its honest runs and of its strongest adversary."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from harness.collecting import Rows
from harness.contracts import Estimate
from harness.errors import InsufficientData
from harness.estimators import ledger, record
from harness.estimators.extraction_length import FORMS, extractable
from harness.estimators.ledger import Stage
from harness.exchange import Honest
from harness.extraction_kind import worth
from harness.results import Row

__all__ = ["MEASURE", "STAGES", "ledger_rows"]

MEASURE = "bits-left"
EPSILON_BITS = 32
"""An extracted key may be this far from uniform: statistical distance 2^-32."""
STAGES = (
    "uniform-record",
    "independent-record",
    "chain-record",
    "key-length",
    "given-helper",
    "strongest-view",
)
"""Stages in order; extraction follows in both published forms."""

_TOLD = {
    "uniform-record": "as many bits as the symbols could hold",
    "independent-record": "symbols as unequal as seen, if independent",
    "chain-record": "each symbol depending on the one before it",
    "key-length": "as many bits as the key can hold",
    "given-helper": "the key, once the helper data are public",
    "strongest-view": "the key, by the odds at one guess of the strongest adversary that was tried",
}


def ledger_rows(
    rows: Sequence[Row],
    honest: Honest,
    *,
    scheme: str,
    key_bits: int,
    data: str,
    extraction: str | None = None,
) -> list[Row]:
    """What is left at each stage, per attempt and per second.

    Parameters
    ----------
    rows : sequence of Row
        Of this scheme: honest runs and attacks.
    honest : Honest
    scheme, data : str
    key_bits : int
    extraction : str, optional
        Its kind, from `harness.extraction_kind`: what the rows for it are worth.

    Returns
    -------
    list of Row
        Measure "bits-left", method = stage; unit "bit" per attempt, "bit/s" for what is left in the end.
    """
    table = Rows(scheme, None, data)
    stages = ledger.ledger(
        [*_of_record(honest), _key(honest, key_bits), _given_helper(rows), _strongest(rows)]
    )
    for stage in stages:
        if stage.bits is None or not math.isfinite(stage.bits.value):
            table.skip(MEASURE, "bit", stage.note or "nothing bounds it", method=stage.name)
        else:
            said = _TOLD[stage.name]
            table.add(MEASURE, stage.bits, reason=f"{said}; {stage.note}" if stage.note else said)
    known = [s.bits for s in stages if s.bits is not None and math.isfinite(s.bits.value)]
    if known:
        _end(table, known[-1], rows, worth(extraction, key_bits))
    return table.rows


def _of_record(honest: Honest) -> list[Stage]:
    usable = honest.a.acquired
    if not usable.any():
        return [Stage(name=n, bits=None, note="no attempt was acquired") for n in STAGES[:3]]
    symbols, subject = honest.a.symbols[usable], honest.subject[usable]
    alphabet = honest.a.alphabet
    people, attempts = len(set(subject.tolist())), len(symbols)
    try:
        found = [
            record.uniform_record(symbols.shape[1], alphabet, subjects=people, attempts=attempts),
            record.independent_record(symbols, subject, alphabet=alphabet),
            record.chain_record(symbols, subject, alphabet=alphabet),
        ]
    except (InsufficientData, ValueError) as error:
        return [Stage(name=n, bits=None, note=str(error)) for n in STAGES[:3]]
    return [Stage(name=e.method, bits=e) for e in found]


def _key(honest: Honest, key_bits: int) -> Stage:
    people = len(set(honest.subject.tolist()))
    bits = record.uniform_record(key_bits, 2, subjects=people, attempts=honest.attempts)
    return Stage(name="key-length", bits=replace(bits, method="key-length"))


def _given_helper(rows: Sequence[Row]) -> Stage:
    """The least of the figures for all people; those of the worst person stand beside it in the table."""
    candidates = [
        r
        for r in rows
        if r.attack is None
        and r.measure == "min-entropy"
        and r.unit == "bit"
        and r.status == "measured"
        and not r.method.endswith("worst-subject")
    ]
    exact = [r for r in candidates if "chain-bound" not in r.method] or candidates
    if not exact:
        why = next(
            (r.reason for r in rows if r.measure == "min-entropy" and r.unit == "bit" and r.reason),
            "what the helper data leave is not known",
        )
        return Stage(name="given-helper", bits=None, note=why)
    least = min(exact, key=lambda r: r.value if r.value is not None else math.inf)
    return Stage(
        name="given-helper",
        bits=replace(_estimate(least), method="given-helper"),
        note=f"by {least.method}",
    )


def _strongest(rows: Sequence[Row]) -> Stage:
    odds = [
        r
        for r in rows
        if r.attack is not None and r.measure == "success-odds" and r.budget == 1 and r.status == "measured"
    ]
    if not odds:
        return Stage(name="strongest-view", bits=None, note="no adversary was measured")
    best = max(odds, key=lambda r: (r.value or 0.0, r.high or 0.0))
    bits = ledger.after_view(_estimate(best))
    return Stage(
        name="strongest-view",
        bits=bits,
        note=f"{best.attack}; these people could not show more than {bits.low:.3g} bits",
    )


def _end(table: Rows, last: Estimate, rows: Sequence[Row], worth_of_it: str) -> None:
    """Extraction, and time: of the last stage that is known."""
    seconds = _one(rows, "time")
    agreement = _one(rows, "key-agreement")
    lengths = [extractable(last, epsilon=2.0**-EPSILON_BITS, form=form) for form in FORMS]
    for length, extra in zip(lengths, FORMS.values(), strict=True):
        said = f"m - 2 log2(1/e) + {extra:g}; {worth_of_it}"
        table.add(
            MEASURE,
            length,
            reason=f"uniform but for e = 2^-{EPSILON_BITS}, whatever the adversary computes: {said}",
        )
    if agreement is None or seconds is None or not seconds.value > 0:
        table.skip(MEASURE, "bit/s", "the captures do not say how long sensing took", method=last.method)
        return
    for bits in (last, lengths[0]):
        table.add(
            MEASURE,
            ledger.per_second(bits, agreement, seconds),
            reason="for each second of sensing, failed attempts included",
        )


def _one(rows: Sequence[Row], measure: str) -> Estimate | None:
    found = [r for r in rows if r.attack is None and r.measure == measure and r.status == "measured"]
    return _estimate(found[0]) if found else None


def _estimate(row: Row) -> Estimate:
    """The estimate that a measured row came from; an open end is NaN."""
    nan = math.nan
    return Estimate(
        value=nan if row.value is None else row.value,
        low=nan if row.low is None else row.low,
        high=nan if row.high is None else row.high,
        level=nan if row.level is None else row.level,
        unit=row.unit,
        side=row.side or "estimate",
        evidence=row.evidence or "counted",
        subjects=row.subjects,
        attempts=row.attempts,
        method=row.method,
    )
