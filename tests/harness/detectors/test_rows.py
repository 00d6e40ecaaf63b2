"""Rows of the detectors: one a detector, whatever became of it."""

from __future__ import annotations

import numpy as np
from tests_support import exchanged

from fixtures.controls import SignCommitment
from harness.collecting import Rows
from harness.contracts import Array, Helper, Witness
from harness.detector_rows import MEASURE, detector_rows
from harness.detectors import SLUGS
from harness.results import Row, keys_of
from harness.vocabulary import MEASURES


class Broken(SignCommitment):
    __slots__ = ()

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        raise RuntimeError("no more")


def rows_of(scheme: SignCommitment, rows: int) -> dict[str, Row]:
    table = Rows(scheme.name, None, "simulated")
    honest = exchanged(SignCommitment(), rows=rows, people=12)
    found = detector_rows(table, scheme, honest, seed=0)
    assert [d.slug for d in found] == list(SLUGS)
    assert len(set(keys_of(table.rows))) == len(SLUGS)
    return {row.method: row for row in table.rows}


def test_every_detector_has_a_row_and_a_word_in_the_vocabulary() -> None:
    rows = rows_of(SignCommitment(), 360)
    assert set(rows) == set(SLUGS) == set(MEASURES[MEASURE].methods)
    for row in rows.values():
        assert (row.measure, row.unit, row.attack) == (MEASURE, "p-value", None)
        if row.status == "measured":
            assert row.value is not None
            assert 0.01 < row.value <= 1
            assert "corrected for all detectors" in str(row.reason)
    assert rows["helper-linkage"].status == "untested"  # one session each
    assert rows["key-bits"].attempts == 360


def test_too_few_attempts_and_a_scheme_that_breaks_are_told_apart() -> None:
    rows = rows_of(Broken(), 24)
    assert rows["key-repeats"].status == "failed"
    assert "no more" in str(rows["key-repeats"].reason)
    assert rows["key-bit-pairs"].status == "untested"
    assert "could show it, and there are 24" in str(rows["key-bit-pairs"].reason)
    assert rows["key-bit-pairs"].value is None
