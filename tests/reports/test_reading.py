"""Verdicts and what else is read off an audit."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from harness.results import Audit, Finding, Row
from harness.threats import STANDARD_ADVERSARIES
from reports.reading import chosen, not_run, outcome, promised_odds, resolution

BITS = 12


def _row(**changes: Any) -> Row:
    base: dict[str, Any] = {
        "scheme": "s",
        "attack": "a",
        "measure": "success-odds",
        "budget": 1,
        "value": 0.0,
        "low": 0.0,
        "high": 0.02,
        "level": 0.95,
        "unit": "probability",
        "side": "attacker-at-least",
        "evidence": "counted",
        "data": "simulated",
        "subjects": 60,
        "attempts": 600,
        "method": "clustered",
        "status": "measured",
        "reason": None,
    }
    return Row(**{**base, **changes})


def _audit(*rows: Row, findings: list[Finding] | None = None, **changes: Any) -> Audit:
    facts: dict[str, Any] = {
        "settings": {},
        "corpus": {},
        "schemes": [{"name": "s", "key_bits": BITS}],
        "attacks": [{"name": "a"}],
        "versions": {},
    }
    return Audit(rows=rows, per_subject=[], findings=findings or [], **{**facts, **changes})


def _verdict(audit: Audit) -> str:
    return outcome(audit, "s", "a").verdict.text


def test_the_promise_is_guesses_over_keys() -> None:
    assert promised_odds(12, 1) == 2.0**-12
    assert promised_odds(128, 2**40) == 2.0**-88
    assert promised_odds(64, 2**64) == 1.0
    assert promised_odds(4, 100) == 1.0


def test_a_lower_limit_above_the_promise_gains() -> None:
    audit = _audit(_row(), _row(budget=10, value=0.01, low=1.001 * 10 / 2**BITS, high=0.03))
    # one limit of many above the promise: only a finding, which is corrected for all tests, makes it a gain
    assert _verdict(audit) == "undecided: above the promise at 10 guesses"
    assert outcome(audit, "s", "a").verdict.tone == "hint"


def test_exact_odds_above_the_promise_gain() -> None:
    exact = 2.0**-BITS * 2
    assert _verdict(_audit(_row(value=exact, low=exact, high=exact, evidence="exact"))).startswith("gains")


def test_a_value_above_the_promise_is_not_enough() -> None:
    audit = _audit(_row(), _row(budget=10, value=0.01, low=0.999 * 10 / 2**BITS, high=0.03))
    assert _verdict(audit) == "nothing found above the promise"
    assert outcome(audit, "s", "a").verdict.detail == "this corpus could have shown odds down to 0.02"


def test_exact_odds_at_the_promise_do_not_gain_by_rounding() -> None:
    exact = 2.0**-BITS * (1 + 1e-14)
    row = _row(value=exact, low=exact, high=exact, evidence="exact")
    assert _verdict(_audit(row)) == "nothing found above the promise"


def test_an_open_lower_end_does_not_gain() -> None:
    assert _verdict(_audit(_row(value=0.5, low=None, high=0.9))) == "nothing found above the promise"


def test_findings_decide_where_there_are_any() -> None:
    found = [
        Finding(id="odds-above-promise", severity=s, scheme="s", attack="a", text="", details={"budget": b})
        for s, b in (("low", 2**20), ("high", 2**40))
    ]
    verdict = outcome(_audit(_row(), findings=found), "s", "a").verdict
    assert verdict.text == "gains: beats the promise at 2^20 guesses"
    assert verdict.detail == "severity high"


@pytest.mark.parametrize("other", [{"scheme": "t"}, {"attack": None}, {"attack": "b"}, {"id": "leakage"}])
def test_findings_about_something_else_do_not_count(other: dict[str, Any]) -> None:
    facts = {
        "id": "odds-above-promise",
        "severity": "high",
        "scheme": "s",
        "attack": "a",
        "text": "",
        **other,
    }
    assert _verdict(_audit(_row(), findings=[Finding(**facts)])) == "nothing found above the promise"


def test_unmeasured_cells_are_open_threats() -> None:
    none = {"value": None, "low": None, "high": None}
    untested = outcome(_audit(_row(status="untested", reason="no stream", **none)), "s", "a").verdict
    assert (untested.text, untested.detail, untested.tone) == ("untested: open threat", "no stream", "open")
    failed = outcome(_audit(_row(status="failed", reason="ValueError: x", **none)), "s", "a").verdict
    assert (failed.text, failed.tone) == ("failed: ValueError: x", "open")
    assert outcome(_audit(), "s", "a").verdict.tone == "open"


def test_a_failure_elsewhere_does_not_hide_a_gain() -> None:
    broken = _row(measure="key-rank", status="failed", value=None, low=None, high=None, reason="x")
    assert _verdict(_audit(broken, _row(value=0.5, low=0.4, high=0.6))).startswith("undecided: above")
    assert _verdict(_audit(broken, _row())) == "failed: x"


def test_without_a_key_length_nothing_is_judged() -> None:
    assert _verdict(_audit(_row(value=1.0, low=0.9, high=1.0), schemes=[{"name": "s"}])).startswith(
        "undecided"
    )


def test_the_row_that_counts_is_chosen() -> None:
    raw = _row(method="raw", reason="not the one that counts")
    net = _row(method="net", reason="this is the one that counts")
    assert chosen([raw, net]) is net
    assert chosen([raw, replace(net, reason=None)]) is raw
    assert chosen([replace(raw, status="untested"), net]) is net
    assert chosen([]) is None


def test_resolution_is_stated_or_read_off_counted_rows_without_success() -> None:
    rows = [
        _row(high=0.03),
        _row(budget=10, high=0.02),
        _row(budget=100, value=0.01, high=0.001),
        _row(budget=2**20, high=1e-9, evidence="modelled"),
        _row(attack=None, high=1e-6),
    ]
    assert resolution(_audit(*rows)) == "0.02"
    assert resolution(_audit(*rows, settings={"resolution": 0.004})) == "0.004"
    assert resolution(_audit(*rows, settings={"resolution": {"s": 0.005}}), "s") == "0.005"
    assert resolution(_audit(_row(value=0.5))) == "not stated"


def test_parts_of_combinations_and_large_budgets_were_tried() -> None:
    missing = not_run(_audit(_row(attack="mimicry+profiled"), attacks=[]), STANDARD_ADVERSARIES)
    assert {"mimicry", "profiled"}.isdisjoint(missing)
    assert {"enumeration", "strangers", "camera", "relay"} <= set(missing)
    assert "enumeration" not in not_run(_audit(_row(budget=2**20)), STANDARD_ADVERSARIES)
