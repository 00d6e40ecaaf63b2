"""How little keeps the owner's devices from agreeing."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom, hypergeom

from attacks.denial import Denial
from attacks.tampering import changeable, flipped, zeroed
from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import DEVICE_B
from harness.results import Audit

ERROR = 0.05


@pytest.fixture(scope="module")
def result() -> Audit:
    people = Channel(subjects=40, errors=((DEVICE_B, ERROR),))
    return audit(SignCommitment(), attacks=Denial(ladder=(0.1, 1.0, 3.0)), corpus=people)


def agreement_after(changed: int) -> float:
    """P(at most three errors) where `changed` of 23 places are turned over at random."""
    total = 0.0
    for errors in range(24):
        hit = np.arange(24)
        left = errors + changed - 2 * hit  # changes that meet an error undo it
        kept = hypergeom.pmf(hit, 23, errors, changed)[left <= 3].sum()
        total += binom.pmf(errors, 23, ERROR) * kept
    return float(total)


@pytest.mark.parametrize("changed", [1, 2, 4, 8])
def test_agreement_under_changed_helper_data_is_the_binomials(result: Audit, changed: int) -> None:
    (row,) = result.select(measure="agreement-under-tampering", method=f"changed-{changed}")
    assert row.value is not None
    low, high = binom.interval(1 - 0.01 / 4, 400, agreement_after(changed))
    assert low <= round(row.value * 400) <= high


def test_the_least_change_that_halves_agreement_is_named(result: Audit) -> None:
    assert agreement_after(2) > 0.55 > 0.45 > agreement_after(4)
    (row,) = result.select(measure="least-tampering", method="half-agreement")
    assert (row.value, row.unit) == (4.0, "element")


def test_agreement_falls_with_the_amplitude_and_the_least_one_is_bracketed(result: Audit) -> None:
    rates = [
        result.select(measure="agreement-under-interference", method=f"{a:g}-sigma")[0].value
        for a in (0, 0.1, 1.0, 3.0)
    ]
    assert all(r is not None for r in rates)
    assert rates[0] == result.select(attack=None, measure="key-agreement")[0].value
    assert rates[1] > 0.7 > 0.3 > rates[2] > rates[3]
    (row,) = result.select(measure="least-disturbance", method="half-agreement")
    assert (row.value, row.low, row.high, row.evidence) == (1.0, 0.1, 1.0, "assumed")


def test_it_learns_nothing_of_the_key(result: Audit) -> None:
    (odds,) = result.select(attack="denial", measure="success-odds", budget=1)
    assert odds.value == 2.0**-12


def test_exactly_so_many_elements_are_changed() -> None:
    helper = {"offset": np.zeros((30, 2, 7), np.uint8), "salt": np.full((30, 4), 200, np.uint8)}
    assert changeable(helper) == 18
    found = flipped(helper, 5, rng=np.random.default_rng(0))
    count = sum((found[k] != helper[k]).reshape(30, -1).sum(axis=1) for k in helper)
    assert (count == 5).all()
    assert set(np.unique(found["salt"])) == {200, 201}
    assert len(np.unique(found["offset"].reshape(30, -1), axis=0)) > 20  # other places in other attempts
    assert not any(v.any() for v in zeroed(helper).values())
