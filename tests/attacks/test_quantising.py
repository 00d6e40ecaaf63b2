"""The owner's quantiser on adversaries' captures: each attempt for itself, whatever was asked before."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from attacks.quantising import names_of, quantised, shifted, some_of
from fixtures.scenario import CargoBike
from schemes.envelope_trend import EnvelopeTrend
from schemes.interval_gray import IntervalGray


def captures(signal: str):
    corpus = CargoBike(subjects=1, sessions=1, attempts=4)
    (sitting,) = corpus.sittings()
    return corpus.block(sitting, frozenset({f"mimic:{signal}"}))[f"mimic:{signal}"].capture


def same(some, other) -> bool:
    return bool(
        (some.symbols == other.symbols).all()
        and (some.acquired == other.acquired).all()
        and np.array_equal(some.features, other.features)
    )


def test_attempts_are_what_the_scheme_makes_of_them_in_any_order_and_company() -> None:
    for scheme, signal, lag in ((EnvelopeTrend(), "emg", 150), (IntervalGray(), "intervals", 1)):
        capture = captures(signal)
        for moved in (0, lag):
            whole = scheme.witness(shifted(capture, moved))
            assert same(quantised(scheme, capture, lag=moved), whole)
            order = np.array([3, 0, 2])
            part = quantised(scheme, some_of(capture, order), lag=moved)
            assert (part.symbols == whole.symbols[order]).all()
            assert same(quantised(scheme, capture, lag=moved, names=names_of(capture)), whole)


def test_other_parameters_times_and_units_are_another_question() -> None:
    capture = captures("emg")
    first, second = EnvelopeTrend(), EnvelopeTrend(thresholds=(-0.2, 0.0, 0.2))
    assert not (quantised(first, capture).symbols == quantised(second, capture).symbols).all()
    assert names_of(capture) != names_of(replace(capture, unit="mV"))
    assert names_of(capture) != names_of(replace(capture, seconds=np.ones(4)))


def test_schemes_of_one_name_from_two_places_are_two() -> None:
    def made(sign: int):
        class Local(EnvelopeTrend):
            def witness(self, capture):
                found = super().witness(capture)
                return found if sign > 0 else replace(found, symbols=found.alphabet - 1 - found.symbols)

        return Local()

    capture = captures("emg")
    there, back = quantised(made(1), capture), quantised(made(-1), capture)
    assert (there.symbols == 3 - back.symbols).all()


ASKED: list[int] = []


class Dear(EnvelopeTrend):
    whole_batches = True

    def witness(self, capture):
        ASKED.append(len(capture.samples))
        return super().witness(capture)


def test_a_scheme_whose_calls_are_dear_is_asked_for_all_at_once_and_for_nothing_twice() -> None:
    ASKED.clear()
    capture = captures("emg")
    some = quantised(Dear(), some_of(capture, np.array([1, 3])))
    twice = some_of(capture, np.array([0, 1, 2, 3, 2]))
    whole = quantised(Dear(), twice)
    assert ASKED == [2, 2]
    assert (whole.symbols[[1, 3]] == some.symbols).all()
    assert same(whole, EnvelopeTrend().witness(twice))
