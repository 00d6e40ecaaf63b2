"""What is left stage by stage: known answers, order, and a control whose truth is known."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t

from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.bits_left import ledger_rows
from harness.contracts import DEVICE_A, DEVICE_B, Array, Estimate
from harness.errors import InsufficientData
from harness.estimators import jackknife
from harness.estimators.extraction_length import FORMS
from harness.estimators.ledger import Stage, after_view, ledger, per_second
from harness.estimators.record import chain_record, independent_record, likeliest_path, uniform_record
from harness.exchange import run_block
from harness.extraction_kind import extraction_kind, worth
from harness.plugins import resolve
from harness.results import Audit, Row
from schemes.extraction import Hkdf, Identity, Toeplitz

BITS = Estimate(
    value=10.0,
    low=8.0,
    high=12.0,
    level=0.95,
    unit="bit",
    side="estimate",
    evidence="modelled",
    subjects=5,
    attempts=50,
    method="x",
)


def chains(alphabet: int) -> st.SearchStrategy[tuple[Array, Array]]:
    share = st.integers(0, 5)
    return st.tuples(
        st.lists(share, min_size=alphabet, max_size=alphabet).filter(any),
        st.lists(
            st.lists(share, min_size=alphabet, max_size=alphabet).filter(any),
            min_size=alphabet,
            max_size=alphabet,
        ),
    ).map(lambda c: (np.array(c[0]) / sum(c[0]), np.array([np.array(r) / sum(r) for r in c[1]])))


@given(st.integers(1, 6), chains(3))
def test_the_likeliest_record_is_the_one_that_enumeration_finds(m: int, chain: tuple[Array, Array]) -> None:
    first, step = chain
    most = max(
        first[path[0]] * math.prod(step[a, b] for a, b in itertools.pairwise(path))
        for path in itertools.product(range(3), repeat=m)
    )
    assert likeliest_path(first, step, m) == pytest.approx(-math.log2(most))


def test_a_record_that_stays_is_far_below_what_its_shares_say() -> None:
    rng = np.random.default_rng(1)
    moves = rng.random((400, 50)) < 0.1
    symbols = (np.cumsum(moves, axis=1) + rng.integers(0, 2, (400, 1))) % 2
    subject = np.arange(400) // 10
    alone = independent_record(symbols, subject, alphabet=2)
    chain = chain_record(symbols, subject, alphabet=2)
    assert alone.value == pytest.approx(50, abs=1.5)
    assert chain.value == pytest.approx(1 - 49 * math.log2(0.9), rel=0.05)
    assert chain.low < 1 - 49 * math.log2(0.9) < chain.high


@given(st.permutations(range(4)), st.integers(0, 2**32 - 1))
def test_names_of_symbols_do_not_matter(order: list[int], seed: int) -> None:
    rng = np.random.default_rng(seed)
    symbols, subject = rng.integers(0, 4, (12, 7)), np.arange(12) // 3
    renamed = np.array(order)[symbols]
    for estimate in (independent_record, chain_record):
        one, other = (estimate(s, subject, alphabet=4) for s in (symbols, renamed))
        assert one.value == pytest.approx(other.value)
        assert one.low == pytest.approx(other.low)


def test_records_that_cannot_be_read_are_refused() -> None:
    subject = np.zeros(2, int)
    for estimate in (independent_record, chain_record):
        with pytest.raises(InsufficientData, match="at least one symbol"):
            estimate(np.zeros((0, 5), np.uint8), np.zeros(0, int), alphabet=2)
        with pytest.raises(ValueError, match="from 0 up to below 2"):
            estimate(np.full((2, 5), 2), subject, alphabet=2)
        with pytest.raises(ValueError, match="from 0 up to below 2"):
            estimate(np.zeros((2, 5)), subject, alphabet=2)
        constant = estimate(np.ones((2, 5), np.uint8), subject, alphabet=2)
        assert constant.value == 0.0
        assert math.isnan(constant.low)  # one person says nothing about others
        one_symbol = estimate(np.array([[0], [1]]), np.array([0, 1]), alphabet=3)
        assert one_symbol.value == 1.0  # and an alphabet with a gap
    with pytest.raises(ValueError, match="at least one symbol of two kinds"):
        uniform_record(0, 2, subjects=1, attempts=1)


def test_the_jackknife_of_a_mean_is_student_s_interval() -> None:
    values = np.array([1.0, 4.0, 2.0, 8.0, 5.0, 7.0])
    value, half = jackknife.over_people(lambda rows: float(values[rows].mean()), np.arange(6))
    assert value == pytest.approx(values.mean())
    assert half == pytest.approx(t.ppf(0.975, 5) * values.std(ddof=1) / math.sqrt(6))
    assert math.isnan(jackknife.over_people(lambda rows: 1.0, np.zeros(5, int))[1])
    with pytest.raises(ValueError, match="at least one attempt"):
        jackknife.over_people(lambda rows: 1.0, np.zeros(0, int))


def test_no_stage_lies_above_the_one_before_it() -> None:
    found = ledger(
        [
            Stage(name="one", bits=BITS),
            Stage(name="unknown", bits=None, note="not disclosed"),
            Stage(name="two", bits=replace(BITS, value=11.0, high=20.0)),
            Stage(name="three", bits=replace(BITS, value=3.0, low=1.0, high=4.0)),
        ]
    )
    assert [s.bits.value for s in found if s.bits] == [10.0, 10.0, 3.0]
    assert found[2].bits is not None
    assert (found[2].bits.low, found[2].bits.high) == (8.0, 12.0)
    assert "no more than after one" in found[2].note
    assert found[1].note == "not disclosed"


def test_a_floor_caps_nothing_after_it() -> None:
    floor = replace(BITS, value=1.0, low=1.0, high=2.0, side="defender-at-least")
    found = ledger(
        [Stage(name="one", bits=BITS), Stage(name="floor", bits=floor), Stage(name="two", bits=BITS)]
    )
    assert [s.bits.value for s in found if s.bits] == [10.0, 1.0, 10.0]


def test_odds_leave_what_their_logarithm_says() -> None:
    seen = replace(BITS, value=0.25, low=0.0, high=0.5, unit="probability", side="attacker-at-least")
    left = after_view(seen)
    assert (left.low, left.value, left.high) == (1.0, 2.0, math.inf)
    assert left.side == "defender-at-most"
    nobody = after_view(replace(seen, value=0.0))
    held = ledger([Stage(name="before", bits=BITS), Stage(name="view", bits=nobody)])[1].bits
    assert held is not None
    assert (held.low, held.value, held.high) == (1.0, 10.0, 12.0)


def test_failed_attempts_cost_time() -> None:
    agreement = replace(BITS, value=0.5, low=0.4, high=0.6, unit="probability")
    seconds = replace(BITS, value=20.0, low=10.0, high=30.0, unit="s")
    found = per_second(BITS, agreement, seconds)
    assert found.value == pytest.approx(10 * 0.5 / 20)
    assert found.low == pytest.approx(8 * 0.4 / 30)
    assert found.high == pytest.approx(12 * 0.6 / 10)
    assert found.unit == "bit/s"


@pytest.fixture(scope="module")
def control() -> Audit:
    """Uniform bits in Golay blocks, and a sensor that reads them with an error of a tenth."""
    channel = Channel(subjects=20, errors=((DEVICE_B, 0.05), ("remote", 0.1)))
    return audit(SignCommitment(), corpus=channel, attacks=["helper-leak", "distant-sensor"])


def left(found: Audit, method: str, unit: str = "bit") -> Row:
    (row,) = (r for r in found.rows if (r.measure, r.method, r.unit) == ("bits-left", method, unit))
    return row


def test_the_ledger_of_a_known_source_is_as_it_must_be(control: Audit) -> None:
    """Twelve bits given the helper data; a guesser by a channel of error .1 finds .8073 of the keys."""
    uniform, given_helper = left(control, "uniform-record"), left(control, "given-helper")
    assert uniform.value is not None
    assert uniform.value % 23 == 0
    blocks = uniform.value / 23
    # a chain fitted to few symbols finds habits where there are none: the value is low, the interval holds
    assert given_helper.value is not None
    assert given_helper.low is not None
    assert given_helper.high is not None
    assert 0.9 * 12 * blocks < given_helper.value <= 12 * blocks
    assert given_helper.low < 12 * blocks <= given_helper.high
    view = left(control, "strongest-view")
    assert view.low is not None
    assert view.high is not None
    assert view.low < -blocks * math.log2(0.8073) < view.high
    assert left(control, "leftover-hash-dodis-2008").value == 0.0
    values = [
        left(control, m).value
        for m in ("uniform-record", "independent-record", "chain-record", "given-helper", "strongest-view")
    ]
    assert values == sorted(values, key=lambda v: -(v or 0.0))


def test_without_a_successful_adversary_the_ledger_says_what_people_could_show() -> None:
    channel = Channel(subjects=8, errors=((DEVICE_B, 0.05),))
    view = left(audit(SignCommitment(), corpus=channel, attacks=["helper-leak"]), "strongest-view")
    assert view.value is not None
    assert view.low is not None
    assert view.low < 6 < view.value
    assert "could not show more than" in str(view.reason)
    assert "no more than after given-helper" in str(view.reason)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated(SignCommitment):
    """The control with a word on its extraction."""

    extraction: object = None


@pytest.mark.parametrize(
    ("stated", "says"),
    [
        (Toeplitz(), "universal hashing (toeplitz), as this scheme states"),
        ("toeplitz", "universal hashing (toeplitz), as this scheme states"),
        (Hkdf(), "of this scheme's hkdf the security is computational, no leftover hash bound holds"),
        (Identity(), "this scheme hashes nothing (identity)"),
        ("own-hash", "for universal hashing only, which 'own-hash' is not known to be"),
        (None, "for universal hashing only, and this scheme does not state its extraction"),
        (3, "does not state its extraction"),
    ],
)
def test_rows_of_the_leftover_hash_say_what_they_are_worth_here(
    control: Audit, stated: object, says: str
) -> None:
    scheme, channel = Stated(extraction=stated), Channel(subjects=1)
    sensed = channel.block(channel.sittings()[0], frozenset({f"{DEVICE_A}:value", f"{DEVICE_B}:value"}))
    captures = {name.partition(":")[0]: s.capture for name, s in sensed.items()}
    honest = run_block(scheme, captures, seed=0, sitting=0, subject=0, session=0)
    own = [r for r in control.rows if r.measure != "bits-left"]
    found = ledger_rows(
        own, honest, scheme="x", key_bits=12, data="simulated", extraction=extraction_kind(scheme)
    )
    rows = [r for r in found if r.method in FORMS and r.unit == "bit"]
    assert len(rows) == 2
    assert all(str(r.reason).endswith(says) for r in rows)
    assert all(r.status == "measured" for r in rows)


def test_a_long_key_of_hkdf_is_capped_by_its_hash() -> None:
    assert worth("hkdf", 257).endswith("a key of 257 bits holds at most the 256 of its hash")
    assert "256" not in worth("hkdf", 256)
    assert "256" not in worth("toeplitz", 300)


def test_ready_schemes_state_their_extraction() -> None:
    assert extraction_kind(resolve("scheme", "level-golay").value) == "hkdf"
    assert extraction_kind(resolve("scheme", "crossing-set").value) == "toeplitz"
    assert extraction_kind(resolve("scheme", "envelope-trend").value) == "hkdf"
