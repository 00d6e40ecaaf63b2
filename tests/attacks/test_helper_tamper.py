"""Accept and reject tell where the devices differ, and no more; a check that binds helper data stops it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from active_support import Stage, staged
from scipy.stats import binom

from attacks.helper_tamper import HelperTamper, differences
from attacks.levers import levers_of
from fixtures.active_controls import CheckedSigns, OneWay, one_way_odds
from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import DEVICE_B
from harness.device import device_of
from schemes.commitment import commitment

ODDS = {"key": one_way_odds(0.2)[1], "helper": one_way_odds(0.2)[0]}
LEVEL = 1 - 0.01 / 3
PEOPLE = OneWay(subjects=200)


@pytest.fixture(scope="module")
def stages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Stage]:
    schemes: dict[str, Any] = {b: CheckedSigns(code="hamming-7-4", binds=b) for b in ("key", "helper")} | {
        "nothing": SignCommitment(code="hamming-7-4")
    }
    return {name: staged(PEOPLE, s, tmp_path_factory.mktemp(name)) for name, s in schemes.items()}


@pytest.mark.parametrize("binds", ["nothing", "key", "helper"])
def test_the_odds_are_those_of_all_that_queries_can_tell(stages: dict[str, Stage], binds: str) -> None:
    answers = stages[binds].both(HelperTamper())
    chance = np.concatenate([a.scores.ranks.success(1, offline=False)[0] for a in answers if a.scores])
    # a perfect code without a check accepts whatever it is sent: nothing but the size of the key
    truth = {**ODDS, "nothing": 2.0**-4}[binds]
    low, high = binom.interval(LEVEL, len(chance), truth)
    assert len(chance) == 2000
    assert low <= np.ceil(chance.sum())  # means of shares of ties vary less than the binomial does
    assert np.floor(chance.sum()) <= high


def test_the_three_truths_are_far_enough_apart_to_tell() -> None:
    assert 2.0**-4 < ODDS["helper"] - 0.02 < ODDS["key"] - 0.07


@pytest.mark.parametrize(("binds", "noticed"), [("nothing", 0.0), ("helper", 1.0)])
def test_a_check_on_the_helper_data_notices_and_a_bare_sketch_does_not(binds: str, noticed: float) -> None:
    scheme: Any = CheckedSigns(binds=binds) if binds == "helper" else SignCommitment()
    people = Channel(subjects=6, attempts=2, errors=((DEVICE_B, 0.02),))
    result = audit(scheme, attacks=HelperTamper(), corpus=people)
    (row,) = result.select(attack="helper-tamper", measure="tampering-noticed")
    assert row.value == noticed
    (spent,) = result.select(attack="helper-tamper", measure="queries-to-recovery")
    assert spent.status == "not-applicable"  # 12 uniform bits stay hidden whatever is asked


@pytest.mark.parametrize("sketch", ["code-offset", "syndrome"])
@pytest.mark.parametrize("blocks", [1, 3])
def test_every_difference_is_found_by_accept_and_reject_alone(
    sketch: str, blocks: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    class Signs(SignCommitment):
        """Three errors of [24,12] are corrected and four are noticed."""

        @property
        def _commitment(self) -> Any:
            return commitment(
                labels=self.labels,
                blocks=self.blocks,
                straddle=False,
                sketch=sketch,
                code=self.code,
                extraction="identity",
                key_bits=self.key_bits,
            )

    scheme = Signs(code="golay-24-12", blocks=blocks)
    people = Channel(subjects=10, length=24 * blocks, errors=((DEVICE_B, 0.04),))
    stage = staged(people, scheme, tmp_path_factory.mktemp("people"))
    rows = np.arange(stage.honest.attempts)
    levers = levers_of(scheme, stage.honest.helper)
    assert levers is not None
    with device_of(scheme, stage.honest, rows) as (device, asked):
        accepted = device(dict(stage.honest.helper))
        differ, known = differences(device, stage.honest.helper, levers, accepted, 24 * blocks, 1000)
    assert accepted.sum() > 50
    assert known[accepted].all()
    assert not known[~accepted].any()
    truth = stage.honest.a.symbols != stage.honest.b.symbols
    np.testing.assert_array_equal(differ[accepted], truth[accepted])
    assert asked.queries <= 1 + blocks * (7 + 24)  # at most 2t + 1 to the edge, then every place


def test_too_few_queries_leave_later_blocks_unknown(tmp_path_factory: pytest.TempPathFactory) -> None:
    people = Channel(subjects=4, length=48, errors=((DEVICE_B, 0.02),))
    scheme = SignCommitment(code="golay-24-12", blocks=2)
    stage = staged(people, scheme, tmp_path_factory.mktemp("people"))
    levers = levers_of(scheme, stage.honest.helper)
    assert levers is not None
    rows = np.arange(stage.honest.attempts)
    with device_of(scheme, stage.honest, rows) as (device, asked):
        accepted = device(dict(stage.honest.helper))
        _, known = differences(device, stage.honest.helper, levers, accepted, 48, 50)
    assert asked.queries <= 51
    assert known[accepted, :24].all()
    assert not known[:, 24:].any()


def test_a_scheme_that_discloses_nothing_has_no_levers() -> None:
    assert levers_of(object(), {"offset": np.zeros((1, 1, 7), np.uint8)}) is None


def test_under_a_check_on_the_helper_data_no_difference_is_taken_for_known(
    stages: dict[str, Stage],
) -> None:
    stage = stages["helper"]
    levers = levers_of(stage.scheme, stage.honest.helper)
    assert levers is not None
    with device_of(stage.scheme, stage.honest, np.arange(stage.honest.attempts)) as (device, _):
        accepted = device(dict(stage.honest.helper))
        differ, known = differences(device, stage.honest.helper, levers, accepted, 7, 100)
    assert accepted.mean() > 0.5
    assert not known.any()
    assert not differ.any()
