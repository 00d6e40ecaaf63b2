"""The fifteen tests: what they see, what they cannot see, and what they refuse."""

from __future__ import annotations

import hashlib
import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from harness.collecting import Rows
from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.randomness import counts, excursions, patterns, structure
from harness.estimators.randomness.suite import TESTS, assess, p_values
from harness.randomness_rows import randomness_rows
from harness.streams import stream

MANY = 2_000_000


def hashed_counter(n: int) -> Array:
    """Bits that anybody can compute."""
    blocks = (hashlib.sha256(i.to_bytes(8, "big")).digest() for i in range(-(-n // 256)))
    return np.unpackbits(np.frombuffer(b"".join(blocks), np.uint8))[None, :n]


def test_a_hashed_counter_passes_every_test_and_is_no_secret() -> None:
    found, skipped = p_values(hashed_counter(MANY))
    assert not skipped
    p = np.concatenate([v.ravel() for v in found.values()])
    # all outcomes together at the level .01, by Bonferroni
    assert np.nanmin(p) > 0.01 / len(p)


def test_biased_and_periodic_bits_fail() -> None:
    rng = stream(0, "biased")
    biased = (rng.random((1, 1_000_000)) < 0.6).astype(np.uint8)
    periodic = np.tile(np.array([0, 1, 1, 0, 1, 0, 0, 1], np.uint8), 125_000)[None]
    for bits, seen_by in ((biased, "frequency"), (periodic, "spectral")):
        found, _ = p_values(bits)
        assert np.nanmin(found[seen_by]) < 1e-6


@given(st.integers(0, 2**32 - 1))
def test_swapping_ones_and_zeros_changes_nothing_where_it_must_not(seed: int) -> None:
    bits = np.random.default_rng(seed).integers(0, 2, (2, 1024)).astype(np.uint8)
    for test in (
        counts.frequency,
        counts.block_frequency,
        counts.runs,
        counts.cumulative_sums,
        patterns.serial,
    ):
        assert test(1 - bits) == pytest.approx(test(bits))
        assert ((test(bits) >= 0) & (test(bits) <= 1)).all()
    assert counts.cumulative_sums(bits[:, ::-1]) == pytest.approx(counts.cumulative_sums(bits)[:, ::-1])


@given(st.integers(0, 2**32 - 1), st.integers(2, 40))
def test_a_register_of_the_found_length_makes_the_bits_and_no_shorter_one_does(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    bits = rng.integers(0, 2, (3, n)).astype(np.uint8)
    found = structure.shortest_registers(bits)
    for sequence, length in zip(bits, found, strict=True):
        assert _generable(sequence, int(length))
        assert length == 0 or not _generable(sequence, int(length) - 1)


def _generable(bits: Array, length: int) -> bool:
    """Is there a linear recurrence of this length? By elimination over GF(2)."""
    rows = [np.r_[bits[i - length : i][::-1], bits[i]].astype(np.uint8) for i in range(length, len(bits))]
    if not rows:
        return True
    matrix = np.array(rows)
    rank = 0
    for column in range(length):
        pivots = np.flatnonzero(matrix[rank:, column]) + rank
        if len(pivots):
            matrix[[rank, pivots[0]]] = matrix[[pivots[0], rank]]
            others = np.flatnonzero(matrix[:, column])
            matrix[others[others != rank]] ^= matrix[rank]
            rank += 1
    return not matrix[rank:, length].any()


def test_ranks_are_those_of_elimination() -> None:
    rng = stream(1, "ranks")
    matrices = rng.integers(0, 2, (200, 32, 32)).astype(np.uint8)
    matrices[::3, 5] = matrices[::3, 7] ^ matrices[::3, 9]
    rows = np.packbits(matrices, axis=2).astype(np.uint64) @ (
        np.uint64(1) << np.array([24, 16, 8, 0], np.uint64)
    )
    from harness.gf2 import solver

    assert structure._ranks(rows).tolist() == [32 - solver(m).dimension for m in matrices]


def test_templates_do_not_overlap_themselves() -> None:
    assert len(patterns.aperiodic_templates(9)) == 148
    assert patterns.run_chances("printed") == pytest.approx(
        [0.367879, 0.183940, 0.137955, 0.099634, 0.069935, 0.140657], abs=1e-6
    )
    with pytest.raises(ValueError, match="corrected or printed"):
        patterns.run_chances("newer")


def test_chances_of_classes_are_those_of_all_sequences() -> None:
    every = np.array(list(itertools.product([0, 1], repeat=10)), np.uint8)
    longest = np.array([max(len(r) for r in "".join(map(str, s)).split("0")) for s in every.tolist()])
    seen = [(longest <= 1).mean(), (longest == 2).mean(), (longest == 3).mean(), (longest > 3).mean()]
    assert counts.longest_run_chances(10, 1, 4) == pytest.approx(seen)
    kinds = structure._classes(structure.shortest_registers(every), 10)
    assert structure.complexity_chances(10) == pytest.approx(np.bincount(kinds, minlength=7) / len(every))


def test_heights_of_a_spectrum_vary_as_derived_and_more_than_printed() -> None:
    """Their number below the threshold over 40 000 sequences, to four standard errors of the variance."""
    rng, n, below = stream(5, "spectra"), 1024, []
    for _ in range(10):
        bits = rng.integers(0, 2, (4000, n)).astype(np.uint8)
        heights = np.abs(np.fft.rfft(2.0 * bits - 1, axis=1))[:, : n // 2]
        below.append((heights < np.sqrt(np.log(20) * n)).sum(axis=1))
    seen = np.concatenate(below).var()
    reach = 4 * np.sqrt(2 / 40_000)
    assert seen == pytest.approx(n / 2 * (0.05 * 0.95 - (0.05 * np.log(0.05)) ** 2), rel=reach)
    assert seen > n * 0.05 * 0.95 / 4 * (1 + reach)


def test_the_assessment_over_sequences() -> None:
    rng = stream(2, "assessment")
    fair = assess(rng.random(200))
    assert fair.exact[0] <= fair.passing <= fair.exact[1]
    assert fair.region[0] == pytest.approx(0.99 - 3 * np.sqrt(0.01 * 0.99 / 200))
    assert fair.uniformity is not None
    assert fair.uniformity > 1e-4
    lumpy = assess(np.full(200, 0.5))
    assert lumpy.uniformity is not None
    assert lumpy.uniformity < 1e-4
    assert assess(np.full(20, 0.5)).uniformity is None
    with pytest.raises(InsufficientData, match="at least one sequence"):
        assess(np.full(3, np.nan))


@pytest.mark.parametrize("name", list(TESTS))
def test_too_few_bits_and_no_bits_are_refused_in_one_sentence(name: str) -> None:
    with pytest.raises(InsufficientData, match=f"{name} needs at least"):
        TESTS[name](np.zeros((1, 50), np.uint8))
    for wrong in (
        np.full((1, 2_000), 2),
        np.full((1, 2_000), -1),
        np.zeros((1, 2_000)),
        np.zeros(2_000, int),
    ):
        with pytest.raises(ValueError, match="`bits` must be 0 and 1"):
            TESTS[name](wrong)


def test_walks_that_hardly_return_are_left_out() -> None:
    assert np.isnan(excursions.excursions(np.ones((1, 2_000), np.uint8))).all()
    assert "fewer than 500" in p_values(np.ones((1, 2_000), np.uint8))[1]["random-excursions"]


def test_rows_name_every_test_and_say_what_they_are_not() -> None:
    table = Rows("wrist", None, "simulated")
    keys = stream(3, "keys").integers(0, 2, (60, 128)).astype(np.uint8)
    randomness_rows(table, keys, np.repeat(np.arange(6), 10))
    assert {r.method for r in table.rows} == set(TESTS)
    measured = [r for r in table.rows if r.status == "measured"]
    assert {"frequency", "runs", "serial"} <= {r.method for r in measured}
    assert all("not secrecy" in str(r.reason) for r in measured)
    assert min(r.value or 0 for r in measured) > 0.01
    bad = Rows("wrist", None, "simulated")
    randomness_rows(bad, np.zeros((60, 128), np.uint8), np.repeat(np.arange(6), 10))
    assert min(r.value for r in bad.rows if r.value is not None) < 1e-6
    none = Rows("wrist", None, "simulated")
    randomness_rows(none, np.zeros((0, 128), np.uint8), np.zeros(0, int))
    assert {r.status for r in none.rows} == {"untested"}


def test_corrected_for_all_tests_random_keys_fail_rarely() -> None:
    rng, runs = stream(4, "rows"), 200
    failed = 0
    for _ in range(runs):
        table = Rows("wrist", None, "simulated")
        randomness_rows(table, rng.integers(0, 2, (40, 64)).astype(np.uint8), np.zeros(40, int))
        failed += min(r.value for r in table.rows if r.value is not None) < 0.05
    assert failed <= binom.isf(0.005, runs, 0.05)
