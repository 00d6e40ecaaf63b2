"""Channels of one body share what a sum of them counts twice; how much is known for Gaussian ones."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from harness.channel_rows import MOST_CELLS, channel_rows
from harness.collecting import Rows
from harness.contracts import Array, Witness
from harness.exchange import Honest
from harness.findings import scheme_findings
from harness.results import Row
from harness.score import Disclosure

PEOPLE, EACH, STEPS = 100, 10, 20


def binary_entropy(p: float) -> float:
    return float(-p * np.log2(p) - (1 - p) * np.log2(1 - p))


@dataclass(frozen=True)
class Reads:
    channels: Array
    name: str = "reads"
    key_bits: int = 8
    signal: str = "value"


def honest(symbols: Array, alphabet: int = 2) -> Honest:
    rows = len(symbols)
    witness = Witness(symbols=symbols.astype(np.uint8), alphabet=alphabet, acquired=np.ones(rows, bool))
    keys = np.zeros((rows, 8), np.uint8)
    return Honest(
        sitting=np.zeros(rows, int),
        local=np.arange(rows),
        subject=np.arange(rows) // EACH,
        session=np.zeros(rows, int),
        a=witness,
        b=witness,
        keys_a=keys,
        keys_b=keys,
        accepted=np.ones(rows, bool),
        helper={},
        seconds=np.ones(rows),
    )


def signs(rho: float, channels: int = 2) -> Array:
    """Signs of Gaussian channels of correlation rho each with each, channel after channel at every step."""
    rng = np.random.default_rng(4)
    own = rng.standard_normal((PEOPLE * EACH, STEPS, channels))
    common = rng.standard_normal((PEOPLE * EACH, STEPS, 1))
    return (np.sqrt(rho) * common + np.sqrt(1 - rho) * own > 0).reshape(PEOPLE * EACH, -1)


def rows_of(symbols: Array, channels: Array, alphabet: int = 2) -> dict[tuple[str, str], Row]:
    table = Rows("reads", None, "simulated")
    channel_rows(table, Reads(channels), honest(symbols, alphabet))
    return {(r.measure, r.method): r for r in table.rows}


TURNS = np.arange(2 * STEPS) % 2


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_gaussian_channels_share_what_arithmetic_says(rho: float) -> None:
    found = rows_of(signs(rho), TURNS)
    equal = 0.5 + np.arcsin(rho) / np.pi
    truth = {
        ("channel-entropy", "sum-of-channels"): 2.0,
        ("channel-entropy", "joint"): 1 - np.log2(equal),
        ("channel-overlap", "min-entropy"): 1 + np.log2(equal),
        ("channel-overlap", "shannon"): 1 - binary_entropy(equal),
    }
    for key, value in truth.items():
        # 20000 steps: a share of a third errs by .0033, its logarithm by .015; the greatest of few is high
        assert found[key].value == pytest.approx(value, abs=0.05), key
        assert found[key].status == "measured"
    row = found["channel-overlap", "shannon"]
    assert row.low is not None
    assert row.high is not None
    assert row.low - 0.01 <= truth["channel-overlap", "shannon"] <= row.high + 0.01


def test_the_interval_holds_at_its_level() -> None:
    held, tries = 0, 60
    truth = 1 - binary_entropy(0.5 + np.arcsin(0.5) / np.pi)
    for turn in range(tries):
        rng = np.random.default_rng(turn)
        common = rng.standard_normal((100, 20, 1))
        both = (np.sqrt(0.5) * common + np.sqrt(0.5) * rng.standard_normal((100, 20, 2)) > 0).reshape(
            100, -1
        )
        row = rows_of(both, TURNS)["channel-overlap", "shannon"]
        held += bool(row.low is not None and row.high is not None and row.low <= truth <= row.high)
    assert held >= 51  # 95 % of 60 less three standard errors


def test_order_of_channels_does_not_matter_and_leftovers_are_left() -> None:
    symbols = signs(0.5)
    turned = rows_of(symbols, TURNS)
    block = np.concatenate([symbols[:, TURNS == 0], symbols[:, TURNS == 1], symbols[:, :3]], axis=1)
    named = np.r_[np.zeros(STEPS, int), np.full(STEPS, 7), np.full(3, 7)]
    blocks = rows_of(block, named)
    assert {k: r.value for k, r in turned.items()} == {k: r.value for k, r in blocks.items()}


def test_one_channel_is_no_matter_and_too_many_are_untested() -> None:
    assert rows_of(signs(0.5), np.zeros(2 * STEPS, int)) == {}
    channels = int(np.log2(MOST_CELLS)) + 1
    many = rows_of(signs(0.5, channels), np.arange(channels * STEPS) % channels)
    assert [r.status for r in many.values()] == ["untested"]


@pytest.mark.parametrize("named", [np.zeros(3, int), TURNS - 1, TURNS + 0.5])
def test_channels_that_cannot_be_fail_their_row(named: Array) -> None:
    (row,) = rows_of(signs(0.5), named).values()
    assert row.status == "failed"
    assert "`channels` must be" in str(row.reason)


@pytest.mark.parametrize(("rho", "said"), [(0.0, []), (0.6, ["channels-overlap"])])
def test_an_overlap_is_noted_and_its_absence_is_not(rho: float, said: list[str]) -> None:
    rows = list(rows_of(signs(rho), TURNS).values())
    nothing = Disclosure(None, None, ())
    found = list(scheme_findings(replace(Reads(TURNS)), nothing, rows, {}))
    assert [f.id for f in found] == said
    assert all(f.severity == "note" for f in found)
