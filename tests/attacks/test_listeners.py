"""Attacks that only listen or remember reach what arithmetic gives them, and no more."""

from __future__ import annotations

import numpy as np
import pytest
from planted_sources import CheckedKeys, RawSymbols, SymbolCommitment, SymbolSource
from scipy.stats import binom

from attacks.helper_leak import HelperLeak
from attacks.helper_reuse import HelperReuse, _agreeing
from attacks.key_check import KeyCheck
from attacks.past_keys import PastKeys
from attacks.population import Population, _list_pays, keys_recur
from attacks.stacking import equations, solved
from attacks.strings import fitted_chain, likeliest_strings
from fixtures.controls import Channel, SignCommitment
from fixtures.flaws.enrolments import MovedPositions
from harness import audit
from harness.contracts import Confirmed, Linear
from harness.estimators.entropy.joint_min_entropy import joint_min_entropy
from harness.estimators.entropy.symbol_chains import SymbolChain
from schemes.codes import code

CHECKS = 11
"""Rates in this file that are held against the truth; they share a level of .01."""


def odds(result, attack: str, budget: int = 1) -> tuple[float, int]:
    row = result.select(attack=attack, measure="success-odds", budget=budget)[0]
    assert row.status == "measured", row.reason
    return row.value, row.attempts


def assert_rate(value: float, trials: int, truth: float) -> None:
    tail = 0.01 / CHECKS / 2
    low, high = binom.ppf(tail, trials, truth), binom.isf(tail, trials, truth)
    assert low <= round(value * trials) <= high, (value, truth, low / trials, high / trials)


def test_dependent_symbols_under_helper_data_are_decoded_as_far_as_is_left_of_them() -> None:
    """Joined by what stays the same, twelve blocks leave less than a bit; symbol by symbol, 144."""
    source, scheme = SymbolSource(), SymbolCommitment()
    steps = np.full((3, 3), 0.05)
    np.fill_diagonal(steps, 0.9)
    golay = code("golay-24-12")
    positions = np.arange(24 * 12).reshape(12, 24)
    chain = SymbolChain(start=np.full(3, 1 / 3), steps=np.broadcast_to(steps, (143, 3, 3)))
    left = joint_min_entropy(golay.parity, positions, scheme.labels, chain)
    result = audit(scheme, attacks=[HelperLeak()], corpus=source)
    assert_rate(*odds(result, "helper-leak"), 2.0**-left)


def test_dependent_bits_of_a_key_are_listed() -> None:
    """32 bits that stay with .95: the likeliest keys are those with the fewest changes."""
    source = SymbolSource(alphabet=2, stay=0.95, symbols=32)
    result = audit(RawSymbols(), attacks=[Population()], corpus=source)
    none, one = 0.95**31, 31 * 0.95**30 * 0.05
    assert_rate(*odds(result, "population", 1), none / 2)
    # two without a change, and 62 with one: of a hundred guesses 36 go to keys with two
    two = 0.95**29 * 0.05**2 / 2
    assert_rate(*odds(result, "population", 100), none + one + 36 * two)


def test_a_dependence_on_what_lies_further_back_is_learned() -> None:
    """Five interleaved strings: what one, two, three or four bits back is tells nothing."""
    source = SymbolSource(alphabet=2, stay=0.98, symbols=32, back=5)
    result = audit(RawSymbols(), attacks=[Population()], corpus=source)
    none, one = 0.98**27 / 32, 0.98**26 * 0.02 / 32
    assert_rate(*odds(result, "population", 100), 32 * none + 68 * one)


def test_a_list_of_many_contexts_is_a_beam_and_of_few_exact() -> None:
    rng = np.random.default_rng(3)
    strings = rng.integers(0, 2, (50, 12))
    for order in (2, 5):
        chain = fitted_chain(strings, 2, order)
        assert np.allclose(np.exp(chain.follow).sum(axis=1), 1)
        everything = (np.arange(2**12)[:, None] >> np.arange(12)) & 1
        best = np.sort(chain.log_prob(everything))[::-1][:300]
        assert np.allclose(chain.log_prob(likeliest_strings(chain, 12, 300)), best)


def test_a_context_never_seen_says_what_its_end_says() -> None:
    strings = np.tile([0, 1], (10, 8))
    unseen = 0b001  # oldest first; two zeros never follow each other
    assert np.allclose(fitted_chain(strings, 2, 3).follow[unseen], fitted_chain(strings, 2, 2).follow[0b01])


def test_a_few_values_of_short_keys_are_listed_and_an_accident_is_not() -> None:
    rng = np.random.default_rng(0)
    subject = np.repeat(np.arange(40), 10)
    values = rng.integers(0, 2, (4, 16)).astype(np.uint8)
    few = values[rng.integers(0, 4, 400)]
    assert keys_recur(few, subject)
    assert _list_pays(few, subject)
    biased = (rng.random((400, 64)) < 0.1).astype(np.uint8)
    biased[0] = biased[399]  # two people by accident: bits one by one tell more than such a list
    assert keys_recur(biased, subject)
    assert not _list_pays(biased, subject)
    chance = [keys_recur(rng.integers(0, 2, (400, 18)).astype(np.uint8), subject) for _ in range(100)]
    assert sum(chance) <= 2  # at the level .001 each


def test_a_uniform_key_is_left_to_the_dice() -> None:
    source = SymbolSource(alphabet=2, stay=0.5, symbols=32)
    result = audit(RawSymbols(), attacks=[Population()], corpus=source)
    assert odds(result, "population", 2**20)[0] < 0.02


@pytest.mark.parametrize("sessions", [2, 3])
def test_equations_of_several_enrolments_add_up(sessions: int) -> None:
    """44 equations each on 92 signs, all of them even: two enrolments leave 5 signs, three leave one."""
    channel = Channel(length=92, fresh=False, subjects=60, sessions=sessions, attempts=1)
    result = audit(MovedPositions(), attacks=[HelperReuse()], corpus=channel)
    reached = {2: 2.0**-5, 3: (2.0**-5 + 0.5) / 2}
    assert_rate(*odds(result, "helper-reuse"), reached[sessions])
    assert odds(result, "helper-reuse", 2**20)[0] == 1


def test_fresh_witnesses_make_reuse_worthless() -> None:
    channel = Channel(length=92, fresh=True, subjects=20, sessions=2, attempts=2)
    result = audit(MovedPositions(), attacks=[HelperReuse()], corpus=channel)
    assert odds(result, "helper-reuse", 2**20)[0] == 0


def test_keys_that_come_again_are_tried_again() -> None:
    scheme = RawSymbols(key_bits=23)
    again = Channel(length=23, fresh=False, subjects=20, attempts=2)
    result = audit(_signs(scheme), attacks=[PastKeys()], corpus=again)
    assert odds(result, "past-keys")[0] == 1
    fresh = Channel(length=23, fresh=True, subjects=20, attempts=2)
    result = audit(_signs(scheme), attacks=[PastKeys()], corpus=fresh)
    assert odds(result, "past-keys", 100)[0] == 0


def test_signs_that_mostly_come_again_are_expected_again() -> None:
    """The last session sees one sign in ten of the first anew: the code forgives three of 23."""
    channel = Channel(length=23, fresh=False, errors=(("device-b", 0.0),), subjects=40, attempts=2)
    result = audit(SignCommitment(), attacks=[PastKeys()], corpus=channel)
    assert odds(result, "past-keys")[0] == 1


def _signs(scheme: RawSymbols) -> RawSymbols:
    """The raw scheme, reading signs."""

    class Signs(RawSymbols):
        def witness(self, capture):
            from dataclasses import replace

            return super().witness(replace(capture, samples=(capture.samples > 0).astype(float)))

    return Signs(key_bits=scheme.key_bits)


def test_parts_of_a_key_fall_one_by_one() -> None:
    scheme = CheckedKeys()
    assert isinstance(scheme, Confirmed)
    channel = Channel(length=32, subjects=10, attempts=3)
    result = audit(scheme, attacks=[KeyCheck()], corpus=channel)
    assert odds(result, "key-check")[0] > 0.99  # two in 2^32 values share a check
    (left,) = result.select(attack=None, method="separately-confirmed")
    assert (left.value, left.evidence, left.side) == (10.0, "exact", "defender-at-most")  # 4 x 2^8
    # off line the 4 x 256 trials count
    assert odds(result, "key-check", 2**20)[0] > 0.99


def test_short_check_values_leave_what_they_do_not_tell() -> None:
    """Four check bits for eight: one value in sixteen passes, about 16 + 1 of each part."""
    channel = Channel(length=16, subjects=20, attempts=5)
    result = audit(CheckedKeys(key_bits=16, check_bits=4), attacks=[KeyCheck()], corpus=channel)
    got = odds(result, "key-check", 100)[0]
    assert 0.2 < got < 0.6  # a hundred of about 17 x 17
    assert odds(result, "key-check", 1)[0] < 0.05


def test_many_parts_that_no_check_tells_apart_are_left_alone() -> None:
    """Eight parts of eight bits whose one-bit checks let half of all values pass: no list, no overflow."""
    channel = Channel(length=64, subjects=4, attempts=2)
    result = audit(CheckedKeys(key_bits=64, check_bits=1), attacks=[KeyCheck()], corpus=channel)
    assert odds(result, "key-check", 2**20)[0] < 0.01


def test_checks_that_do_not_fit_the_key_are_named() -> None:
    class Wrong(CheckedKeys):
        def confirm(self, keys, helper):
            return ~super().confirm(keys, helper)

    result = audit(Wrong(), attacks=[KeyCheck()], corpus=Channel(length=32, subjects=4, attempts=2))
    (row,) = result.select(attack=None, method="separately-confirmed")
    assert row.status == "failed"
    assert "true of every key that A established" in str(row.reason)


def test_one_enrolment_that_differs_does_not_spoil_the_others() -> None:
    rng = np.random.default_rng(3)
    witness, other = rng.integers(0, 2, (2, 15)).astype(np.uint8)
    places = np.stack([rng.permutation(15) for _ in range(6)])
    parity = rng.integers(0, 2, (4, 15)).astype(np.uint8)
    brought = [witness] * 5 + [other]  # the oldest is another witness
    said = np.stack([parity @ w[place] % 2 for w, place in zip(brought, places, strict=True)])
    nothing = np.zeros((6, 1, 1), np.uint8)
    whole = Linear(
        positions=places[:, None],
        parity=parity,
        syndrome=said[:, None].astype(np.uint8),
        secret_map=np.zeros((1, 15), np.uint8),
        secret_offset=nothing,
    )
    sides = [equations(whole, row, 15) for row in range(6)]
    assert solved(*(np.concatenate(parts) for parts in zip(*sides, strict=True))) is None
    found = _agreeing(whole, list(range(6)), 15)
    assert found is not None
    assert (found[0] == witness).all()
    assert len(found[1]) == 0


def test_a_scheme_without_checks_gives_nothing() -> None:
    channel = Channel(length=23, subjects=10, attempts=2)
    result = audit(SignCommitment(), attacks=[KeyCheck()], corpus=channel)
    assert odds(result, "key-check", 100)[0] < 0.2  # 100 of 2^12
