"""Rows of a source: pooled beside the worst person, told apart by their method."""

from __future__ import annotations

import numpy as np
import pytest

from harness.collecting import Rows
from harness.contracts import Array, Witness
from harness.estimators.entropy.most_common import most_common_value, worst_subject
from harness.estimators.entropy.non_iid import ESTIMATORS, non_iid
from harness.exchange import Honest
from harness.rows import Row
from harness.source_rows import ASSESSED, RESTART, WORST, source_rows
from harness.streams import stream


def honest(symbols: Array, subject: Array, *, alphabet: int, acquired: Array | None = None) -> Honest:
    n = len(symbols)
    got = np.ones(n, bool) if acquired is None else acquired
    witness = Witness(symbols=symbols.astype(np.uint8), alphabet=alphabet, acquired=got)
    return Honest(
        sitting=subject,
        local=np.arange(n),
        subject=subject,
        session=np.zeros(n, int),
        a=witness,
        b=witness,
        keys_a=np.zeros((n, 1), np.uint8),
        keys_b=np.zeros((n, 1), np.uint8),
        accepted=np.ones(n, bool),
        helper={},
        seconds=np.ones(n),
    )


def rows_of(*args: Array, alphabet: int, acquired: Array | None = None) -> dict[str, Row]:
    table = Rows("scheme", None, "simulated")
    source_rows(table, honest(*args, alphabet=alphabet, acquired=acquired))
    keys = [(r.scheme, r.attack, r.measure, r.budget, r.unit, r.method) for r in table.rows]
    assert len(set(keys)) == len(keys)
    assert {(r.measure, r.unit) for r in table.rows} == {("min-entropy", "bit/symbol")}
    return {r.method: r for r in table.rows}


SUBJECT = np.repeat(np.arange(6), 5)


def test_every_method_has_a_pooled_row_and_one_of_the_worst_person() -> None:
    found = rows_of(stream(0, "fair").integers(0, 2, (30, 100)), SUBJECT, alphabet=2)
    methods = {*ESTIMATORS, ASSESSED}
    assert set(found) == methods | {m + WORST for m in methods} | {RESTART + WORST}
    for method in methods:
        pooled, worst = found[method], found[method + WORST]
        if worst.status == "measured":
            assert (worst.subjects, worst.attempts) == (1, 5)
            assert worst.reason is not None
            assert "subject " in worst.reason
            assert "below the standard's sample size" in worst.reason
            assert worst.side == "defender-at-most"
        if pooled.status == "measured":
            assert (pooled.subjects, pooled.attempts) == (6, 30)
            assert "pooled" in str(pooled.reason)


def test_pooling_hides_people_and_the_worst_does_not() -> None:
    ones = np.where(SUBJECT % 2 == 0, 0.9, 0.1)[:, None]
    symbols = (stream(1, "split").random((30, 200)) < ones).astype(int)
    found = rows_of(symbols, SUBJECT, alphabet=2)
    pooled, worst = found["most-common-value"], found["most-common-value" + WORST]
    assert pooled.value is not None
    assert worst.value is not None
    assert pooled.value > 0.8
    assert worst.value < -np.log2(0.9) < pooled.value


def test_the_least_is_what_the_assessment_of_that_person_says() -> None:
    symbols = stream(2, "three").choice(3, (30, 60), p=[0.5, 0.3, 0.2])
    found = rows_of(symbols, SUBJECT, alphabet=3)
    each = [non_iid(symbols[p == SUBJECT].ravel(), alphabet=3).value for p in range(6)]
    assert found[ASSESSED + WORST].value == pytest.approx(min(each))
    assert f"subject {int(np.argmin(each))}," in str(found[ASSESSED + WORST].reason)
    measured = [found[m + WORST].value for m in ESTIMATORS if found[m + WORST].value is not None]
    assert found[ASSESSED + WORST].value == min(v for v in measured if v is not None)


def test_wider_symbols_have_the_lesser_figure_of_symbols_and_bits() -> None:
    symbols = stream(3, "four").integers(0, 3, (30, 60))
    found = rows_of(symbols, SUBJECT, alphabet=3)
    outcomes = [o for o in non_iid(symbols.ravel(), alphabet=3).outcomes if o.method == "t-tuple"]
    assert len(outcomes) == 2
    assert found["t-tuple"].value == min(o.per_symbol for o in outcomes if o.per_symbol is not None)
    assert "of the 2 bits of a symbol" in str(found["collision"].reason)


def test_people_whose_attempts_begin_alike_do_not_pass_as_restarts() -> None:
    symbols = stream(4, "alike").integers(0, 2, (120, 100))
    symbols[:, 0] = 1
    found = rows_of(symbols, np.repeat([0, 1], 60), alphabet=2)
    reason = str(found[RESTART + WORST].reason)
    assert "60 restarts of 100 symbols: an analogue, below the standard's" in reason
    assert "not passed (a symbol is too common" in reason
    assert "2 of 2 people repeat" in reason


def test_sound_people_pass() -> None:
    found = rows_of(stream(5, "sound").integers(0, 2, (120, 100)), np.repeat([0, 1], 60), alphabet=2)
    reason = str(found[RESTART + WORST].reason)
    assert "; passed; 0 of 2 people" in reason
    restart, assessed = found[RESTART + WORST], found[ASSESSED + WORST]
    assert restart.value is not None
    assert assessed.value is not None
    assert restart.value <= assessed.value
    assert restart.low is None


def test_rows_that_are_there_are_left_alone() -> None:
    symbols = stream(6, "there").integers(0, 2, (30, 100))
    table = Rows("scheme", None, "simulated")
    table.add("min-entropy", most_common_value(symbols), reason="first")
    table.add("min-entropy", worst_subject(symbols, SUBJECT)[0], reason="first")
    source_rows(table, honest(symbols, SUBJECT, alphabet=2))
    methods = [r.method for r in table.rows]
    assert len(set(methods)) == len(methods)
    assert [r.reason for r in table.rows if r.method.startswith("most-common")] == ["first", "first"]


def test_attempts_that_were_not_acquired_do_not_count() -> None:
    symbols = stream(7, "acquired").integers(0, 2, (30, 100))
    acquired = np.arange(30) % 5 != 0
    expected = rows_of(symbols[acquired], SUBJECT[acquired], alphabet=2)
    assert rows_of(symbols, SUBJECT, alphabet=2, acquired=acquired) == expected


def test_nobody_acquired_is_untested_in_one_sentence() -> None:
    found = rows_of(np.zeros((4, 9), int), np.arange(4), alphabet=2, acquired=np.zeros(4, bool))
    assert {r.status for r in found.values()} == {"untested"}
    assert set(found) == {ASSESSED, ASSESSED + WORST, RESTART + WORST}


def test_one_attempt_a_person_is_no_restart() -> None:
    found = rows_of(stream(8, "one").integers(0, 2, (3, 100)), np.arange(3), alphabet=2)
    assert found[RESTART + WORST].status == "untested"
    assert "two restarts" in str(found[RESTART + WORST].reason)
    assert found[ASSESSED + WORST].status == "measured"


def test_symbols_that_never_change_hold_nothing() -> None:
    found = rows_of(np.ones((10, 40), int), np.repeat([0, 1], 5), alphabet=2)
    assert found[ASSESSED + WORST].value == found[ASSESSED].value == 0
    assert found[RESTART + WORST].value == 0
