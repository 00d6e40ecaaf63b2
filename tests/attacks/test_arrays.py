"""Averaging probes, and choosing between ways of sensing by what they told of other people."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from gaussian_views import LEARNING, ROWS, bits, capture, information, reached, view

from attacks.arrays import array_belief, averaged
from attacks.choosing import best_for_others, best_witness
from attacks.distant_sensor import DistantSensor
from attacks.sensing import sensed_belief
from attacks.touching_partner import ROLES, TouchingPartner


@pytest.mark.parametrize("count", [1, 4, 16])
def test_an_array_reaches_the_information_of_its_correlation(count: int) -> None:
    noise = 1.5
    made, symbols = view({"remote": [noise] * count})
    value, error = bits(DistantSensor().believe(made, rng=np.random.default_rng(1)).log_prob, symbols)
    wanted = information(reached(noise / np.sqrt(count)))
    assert wanted - LEARNING - 4 * error < value < wanted + 4 * error


def test_one_channel_is_handed_on_untouched() -> None:
    made, _ = view({"remote": [1.0]})
    plain, through = (
        ask(made, "remote", rng=np.random.default_rng(1)).log_prob for ask in (sensed_belief, array_belief)
    )
    np.testing.assert_array_equal(through, plain)


def test_a_mean_that_a_broken_probe_spoils_is_not_used() -> None:
    made, symbols = view({"remote": [0.3, 30.0, 30.0]})
    value, error = bits(array_belief(made, "remote", rng=np.random.default_rng(1)).log_prob, symbols)
    assert value > information(reached(0.3)) - 0.01 - 4 * error
    spoiled = reached(np.sqrt(0.3**2 + 2 * 30.0**2) / 3)
    assert value > information(spoiled) + 0.3


def test_with_nobody_to_learn_from_probes_are_averaged() -> None:
    made, symbols = view({"remote": [1.5] * 9})
    alone = replace(made, population=None)
    guessed = array_belief(alone, "remote", rng=np.random.default_rng(1)).log_prob.argmax(axis=2)
    # the mean of nine has the sign of what it is of in 1 − arccos(ρ)/π of cases, ρ = 1/√1.25
    right = 1 - np.arccos(1 / np.sqrt(1.25)) / np.pi
    assert (guessed == symbols).mean() == pytest.approx(right, abs=4 * 0.5 / np.sqrt(symbols.size))


def test_averaging_keeps_shape_and_unit() -> None:
    one = averaged(capture(np.arange(12.0).reshape(2, 3, 2)))
    np.testing.assert_array_equal(one.samples, [[[2, 3]], [[8, 9]]])
    assert (one.unit, one.signal, one.rate_hz) == ("V", "level", None)


@pytest.mark.parametrize(
    ("touch", "shake", "better"), [(0.5, 2.0, "partner-touch"), (2.0, 0.5, "handshake")]
)
def test_a_partner_takes_the_contact_that_told_more(touch: float, shake: float, better: str) -> None:
    made, symbols = view({"partner-touch": [touch], "handshake": [shake]})
    assert best_for_others(made, ROLES, rng=np.random.default_rng(0)) == better
    value, error = bits(TouchingPartner().believe(made, rng=np.random.default_rng(1)).log_prob, symbols)
    assert value > information(reached(0.5)) - 0.01 - 4 * error


def test_a_partner_who_shook_no_hands_touches() -> None:
    made, _ = view({"partner-touch": [1.0]})
    for known in (made, replace(made, population=None)):
        assert best_for_others(known, ROLES, rng=np.random.default_rng(0)) == "partner-touch"


def test_the_better_witness_is_chosen_on_people_not_learned_from() -> None:
    made, _ = view({"good": [0.5], "bad": [5.0]})
    assert made.population is not None
    assert made.population.witness is not None
    ways = [made.scheme.witness(made.population.captures[role]) for role in ("bad", "good")]
    options = (made.population.witness, made.population.subject)
    assert best_witness(ways, *options, rng=np.random.default_rng(0)) == 1
    assert best_witness(ways[::-1], *options, rng=np.random.default_rng(0)) == 0
    # two people cannot both be learned from and judged by
    assert best_witness(ways, options[0], np.arange(ROWS) % 2, rng=np.random.default_rng(0)) == 0
