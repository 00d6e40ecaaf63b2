"""Linkability: laws of the measure, estimates, likeness of helper data, rows, and bad input."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.collecting import Rows
from harness.contracts import Array, Helper, Linear, Witness
from harness.cosets import coset_weights, packed
from harness.errors import InsufficientData
from harness.estimators.linkage import (
    LEAST_PEOPLE,
    estimated_linkability,
    linkage_p_value,
    local_linkability,
    system_linkability,
)
from harness.exchange import Honest
from harness.gf2 import all_words, product
from harness.likeness import array_likeness, parity_likeness
from harness.linkage_rows import METHODS, linkage_rows
from harness.score import Disclosure, disclosure_of
from harness.vocabulary import MEASURES
from schemes.codes import golay23, hamming
from schemes.commitment import Commitment, commitment

SEEDS = st.integers(0, 2**32)


@settings(max_examples=100, deadline=None)
@given(seed=SEEDS, size=st.integers(2, 8))
def test_merging_scores_or_renaming_them_links_no_better(seed: int, size: int) -> None:
    rng = np.random.default_rng(seed)
    m, n = rng.dirichlet(np.full(size, 0.5), 2)
    whole = system_linkability(m, n)
    assert 0 <= whole <= 1
    order = rng.permutation(size)
    assert system_linkability(m[order], n[order]) == pytest.approx(whole, abs=1e-12)
    merged = system_linkability(*(np.append(p[2:], p[0] + p[1]) for p in (m, n)))
    assert merged <= whole + 1e-12
    assert system_linkability(m, n, prior_ratio=0.5) <= whole + 1e-12


@pytest.mark.parametrize(
    ("m", "n", "words"),
    [
        ([0.5, 0.6], [0.5, 0.5], "`mated` must hold probabilities that sum to 1, got a sum of 1.1"),
        ([0.5, 0.5], [1.5, -0.5], "`non_mated` must hold probabilities"),
        ([0.5, 0.5], [1.0], "must hold probabilities of the same values"),
    ],
)
def test_what_is_no_distribution_is_refused(m: list[float], n: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        system_linkability(np.array(m), np.array(n))


def test_ratios_out_of_range_are_refused() -> None:
    with pytest.raises(ValueError, match="`ratio` must be at least 0, got -1"):
        local_linkability(np.array([-1.0]))
    with pytest.raises(ValueError, match="`prior_ratio` must lie above 0, got 0"):
        local_linkability(np.array([1.0]), prior_ratio=0)


PEOPLE = 12


def pairs(seed: int, shift: float, *, people: int = PEOPLE) -> tuple[Array, Array, Array]:
    score = np.random.default_rng(seed).standard_normal((people, people))
    score[np.diag_indices(people)] += shift
    first = np.repeat(np.arange(people), people)
    return score.ravel(), first, np.tile(np.arange(people), people)


@settings(max_examples=30, deadline=None)
@given(seed=SEEDS, shift=st.floats(0, 4))
def test_only_the_order_of_scores_counts(seed: int, shift: float) -> None:
    score, first, second = pairs(seed, shift)
    here = estimated_linkability(score, first, second)
    rows = np.random.default_rng(seed).permutation(len(score))
    there = estimated_linkability(np.exp(score / 2)[rows], first[rows] + 7, second[rows] + 7)
    for name in ("value", "low", "high"):
        assert getattr(there, name) == pytest.approx(getattr(here, name), abs=1e-12)
    assert 0 <= here.low <= here.value <= here.high <= 1
    assert here.side == "attacker-at-least"


def test_disjoint_scores_are_told_apart_and_equal_ones_are_not() -> None:
    score, first, second = pairs(1, 100)
    # the highest of 132 scores between people is unknown to those it is judged by, and costs two of them
    assert estimated_linkability(score, first, second).value >= 1 - 2 / 132
    apart = estimated_linkability((score > 50).astype(float), first, second)
    assert (apart.value, apart.high) == (1, 1)
    assert apart.low == pytest.approx(0.025 ** (1 / 12))
    constant = estimated_linkability(score * 0, first, second)
    assert (constant.value, constant.high) == (0, 0)
    rng = np.random.default_rng(2)
    assert linkage_p_value(score * 0, first, second, rng=rng).value == 1
    assert linkage_p_value(score, first, second, rng=rng, repetitions=199).value == 1 / 200


def test_the_permutation_test_counts_every_assignment_alike() -> None:
    """Five people: 120 assignments, of which one is as extreme as theirs."""
    found = linkage_p_value(*pairs(1, 100, people=5), rng=np.random.default_rng(1), repetitions=9999)
    # four sigma of 9999 draws at 1/120
    assert found.value == pytest.approx(1 / 120, abs=4 * np.sqrt(1 / 120 / 9999))


def test_people_without_mated_pairs_are_dropped() -> None:
    score, first, second = pairs(1, 2)
    kept = ~((first == 0) & (second == 0))
    found = estimated_linkability(score[kept], first[kept], second[kept])
    assert found.subjects == PEOPLE - 1
    assert found.attempts == PEOPLE - 1


def test_bad_scores_are_named() -> None:
    score, first, second = pairs(1, 1)
    with pytest.raises(ValueError, match="must be of one length"):
        estimated_linkability(score[1:], first, second)
    with pytest.raises(ValueError, match="`score` must hold numbers, got 144 NaN"):
        estimated_linkability(score * np.nan, first, second)
    with pytest.raises(ValueError, match="`level` must lie strictly between 0 and 1, got 0"):
        estimated_linkability(score, first, second, level=0)
    rng = np.random.default_rng(1)
    gap = ~((first == 2) & (second == 4))
    with pytest.raises(ValueError, match="got no score of 2 with 4"):
        linkage_p_value(score[gap], first[gap], second[gap], rng=rng)
    few = pairs(1, 1, people=LEAST_PEOPLE - 1)
    with pytest.raises(InsufficientData, match="needs 5 people with helper data of two sessions, got 4"):
        estimated_linkability(*few)


@settings(max_examples=30, deadline=None)
@given(seed=SEEDS, r=st.integers(1, 6), n=st.integers(1, 9))
def test_fewest_errors_by_enumeration(seed: int, r: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    parity = rng.integers(0, 2, (r, n), dtype=np.uint8)
    usable = rng.random(n) < 0.8
    table = coset_weights(parity, usable)
    words = all_words(n)
    words = words[~words[:, ~usable].any(axis=1)]
    for syndrome in all_words(r):
        fits = words[(product(words, parity.T) == syndrome).all(axis=1)]
        expected = fits.sum(axis=1).min() if len(fits) else table.beyond
        assert table.of(packed(syndrome)) == expected


def test_golay_corrects_three_errors() -> None:
    """Perfect: its 2^11 syndromes are those of 0 to 3 errors, 1 + 23 + 253 + 1771."""
    weights = coset_weights(golay23().parity, np.ones(23, bool)).weights
    assert np.bincount(weights).tolist() == [1, 23, 253, 1771]


def test_a_long_code_lists_as_many_errors_as_it_can() -> None:
    """Sixty-three parities of 127 bits: two errors are listed, a third one is beyond."""
    parity = np.random.default_rng(1).integers(0, 2, (63, 127), dtype=np.uint8)
    table = coset_weights(parity, np.ones(127, bool))
    assert len(table.keys) == 1 + 127 + 127 * 126 // 2
    two, three = (packed(product(np.eye(127, dtype=np.uint8)[:k].sum(axis=0), parity.T)) for k in (2, 3))
    assert (table.of(two), table.of(three), table.beyond) == (2, 3, 3)


def test_likeness_of_arrays_ignores_what_does_not_vary() -> None:
    rng = np.random.default_rng(1)
    bits = rng.integers(0, 2, (6, 40), dtype=np.uint8)
    helper: Helper = {"bits": bits, "constant": np.full((6, 3), 2.5), "aborted": np.arange(6) > 4}
    found = array_likeness(helper, np.arange(6), np.arange(6))
    assert (found.argmax(axis=1) == np.arange(6)).all()
    assert np.array_equal(found, found.T)
    assert np.array_equal(array_likeness({"bits": bits}, np.arange(6), np.arange(6)), found)
    assert not array_likeness({"constant": np.ones((6, 3))}, np.arange(6), np.arange(6)).any()


def test_likeness_of_parities_is_the_distance_of_witnesses() -> None:
    """Up to three errors a Golay block; the message drawn for the offset does not matter."""
    rng = np.random.default_rng(1)
    code = golay23()
    bits = rng.integers(0, 2, 23, dtype=np.uint8)
    words = np.stack([bits] * 3)
    words[1, [2, 9]] ^= 1
    words[2, [0, 4, 20]] ^= 1
    linear = Linear(
        positions=np.arange(23)[None, None], parity=code.parity,
        syndrome=product(words, code.parity.T)[:, None], secret_map=np.eye(12, 23, dtype=np.uint8),
        secret_offset=np.zeros((3, 1, 12), np.uint8),
    )  # fmt: skip
    found = parity_likeness(linear, np.array([0]), np.array([0, 1, 2]))
    assert found is not None
    assert found.tolist() == [[0, -2, -3]]


def test_parities_of_other_bits_are_not_compared() -> None:
    moved = np.stack([np.arange(7), np.roll(np.arange(7), 1)])[:, None]
    linear = Linear(
        positions=moved, parity=hamming(3).parity, syndrome=np.zeros((2, 1, 3), np.uint8),
        secret_map=np.eye(4, 7, dtype=np.uint8), secret_offset=np.zeros((2, 1, 4), np.uint8),
    )  # fmt: skip
    assert parity_likeness(linear, np.array([0]), np.array([1])) is None


LABELS = np.array([[0], [1]], np.uint8)


@dataclass(frozen=True)
class Offset:
    """Three Golay blocks of a binary witness."""

    inner: Commitment
    name: str = "offset"
    key_bits: int = 36
    labels: Any = None

    def linear(self, helper: Helper) -> Linear:
        return self.inner.linear(helper)

    def finish(self, secret: Array, helper: Helper) -> Array:
        return self.inner.finish(secret, helper)


def offset() -> Offset:
    inner = commitment(
        labels=LABELS, blocks=3, straddle=False, sketch="code-offset", code="golay-23-12",
        extraction="identity", key_bits=36,
    )  # fmt: skip
    return Offset(inner=inner, labels=LABELS)


def run(*, habit: float, people: int = PEOPLE, sessions: int = 2, helper: bool = True) -> Honest:
    """Every bit is a person's own with probability `habit`, else drawn anew: two attempts a session."""
    rng = np.random.default_rng(4)
    subject = np.repeat(np.arange(people), 2 * sessions)
    own = rng.integers(0, 2, (people, 69), dtype=np.uint8)[subject]
    fresh = rng.integers(0, 2, own.shape, dtype=np.uint8)
    symbols = np.where(rng.random(own.shape) < habit, own, fresh)
    there = np.ones(len(subject), bool)
    a = Witness(symbols=symbols, alphabet=2, acquired=there)
    keys, published = offset().inner.generate(a, rng=rng)
    return Honest(
        sitting=subject, local=np.arange(len(subject)), subject=subject,
        session=np.tile(np.repeat(np.arange(sessions), 2), people), a=a, b=a, keys_a=keys, keys_b=keys,
        accepted=there, helper=published if helper else {}, seconds=np.ones(len(subject)),
    )  # fmt: skip


def rows_of(honest: Honest, disclosure: Disclosure | None = None) -> dict[tuple[str, str], Any]:
    table = Rows("offset", None, "simulated")
    linkage_rows(table, offset(), honest, disclosure or disclosure_of(offset(), honest), seed=3)
    assert {(r.measure, r.method) for r in table.rows} == set(
        itertools.product(("linkage", "linkage-test"), METHODS)
    )
    assert all(r.unit in MEASURES[r.measure].units for r in table.rows)
    return {(r.measure, r.method): r for r in table.rows}


def test_a_witness_that_comes_again_links_by_its_parities_alone() -> None:
    """The offset hides it from a score that knows no code."""
    found = rows_of(run(habit=0.97))
    assert found["linkage", "parities"].low > 0.7
    assert found["linkage-test", "parities"].value == 0.001
    assert found["linkage", "published-arrays"].low == 0
    assert found["linkage-test", "published-arrays"].value > 0.05


def test_a_fresh_witness_does_not_link() -> None:
    found = rows_of(run(habit=0.0))
    for method in METHODS:
        assert found["linkage", method].low == 0
        assert found["linkage-test", method].value > 0.05


def test_same_seed_same_rows() -> None:
    assert rows_of(run(habit=0.5)) == rows_of(run(habit=0.5))


@pytest.mark.parametrize(
    ("honest", "status", "words"),
    [
        (run(habit=0, helper=False), "not-applicable", "publishes no helper data"),
        (run(habit=0, sessions=1), "untested", "nobody established keys in two sessions"),
        (run(habit=0, people=3), "untested", "needs 5 people with helper data of two sessions, got 3"),
    ],
)
def test_cells_without_numbers_say_why(honest: Honest, status: str, words: str) -> None:
    blank = Disclosure(None, None, ()) if not honest.helper else None
    for row in rows_of(honest, blank).values():
        assert row.status == status
        assert words in str(row.reason)


def test_without_a_disclosure_the_parities_are_untested() -> None:
    found = rows_of(run(habit=0.97), Disclosure(None, None, ("offset",)))
    assert found["linkage", "published-arrays"].status == "measured"
    assert found["linkage", "parities"].status == "untested"
