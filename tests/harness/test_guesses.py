"""How many guesses odds cost: known answers on ranks that are known."""

from __future__ import annotations

import numpy as np
import pytest

from harness.contracts import Array, Estimate
from harness.estimators.guesses import guesses_for_odds
from harness.estimators.proportion import clustered_rate
from harness.ranking import Ranks

PEOPLE = np.repeat(np.arange(40), 5)


def ranks(place: Array) -> Ranks:
    """Keys without ties at a known place."""
    return Ranks(
        fewer_low=place - 1,
        fewer_high=place - 1,
        upto_low=place,
        upto_high=place,
        surprise=np.full(len(place), np.nan),
    )


def rate(low: Array, high: Array) -> Estimate:
    return clustered_rate(low, high, PEOPLE, side="attacker-at-least")


def found(place: Array, target: float) -> Estimate | None:
    own = ranks(place)
    return guesses_for_odds(
        lambda budget: own.success(budget, offline=True),
        rate,
        target=target,
        key_bits=40,
        method="at",
    )


@pytest.mark.parametrize(("target", "bits"), [(0.005, 2), (0.5, 12), (1.0, 22)])
def test_the_budget_is_the_quantile_of_the_places(target: float, bits: int) -> None:
    # one key in place 4, half of them up to 4096, the last in place 2^22
    place = np.r_[4.0, np.full(99, 4096.0), np.full(100, 2.0**22)]
    told = found(place, target)
    assert told is not None
    assert told.value == pytest.approx(bits, abs=41 / 2**14)
    assert told.low <= told.value
    assert not told.high < told.value


def test_ends_are_where_the_limits_of_the_odds_reach_the_target() -> None:
    place = 2.0 ** np.random.default_rng(0).uniform(0, 40, len(PEOPLE))
    told = found(place, 0.3)
    assert told is not None
    own = ranks(place)
    for end, limit in ((told.low, "high"), (told.high, "low")):
        before = rate(*own.success(int(2 ** (end - 0.02)), offline=True))
        at = rate(*own.success(int(2**end) + 1, offline=True))
        assert getattr(before, limit) < 0.3 <= getattr(at, limit)


def test_no_answer_where_keys_are_never_reached() -> None:
    place = np.r_[np.full(150, 8.0), np.full(50, np.inf)]
    assert found(place, 0.9) is None
    low = found(place, 0.7)
    assert low is not None
    assert low.value == pytest.approx(3, abs=41 / 2**14)
    assert np.isnan(low.high)  # the lower limit of .75 stays below .7 even with all keys
