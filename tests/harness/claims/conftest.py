"""Results made of a few rows, and claims made of a few lines."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from harness.claims.judging import judge
from harness.claims.model import Claims
from harness.claims.reading import parse_claims
from harness.claims.record import Judgement
from harness.contracts import Estimate
from harness.estimators.proportion import clustered_rate
from harness.results import Audit, Row, measured, unmeasured

MEASURES = {"success-odds": "probability", "key-agreement": "probability", "weak-people": "probability"}


@pytest.fixture
def counted() -> Callable[..., Row]:
    """A row of odds (or another rate): some successes of people with as many attempts each."""

    def make(
        hits: int,
        people: int = 60,
        each: int = 5,
        attack: str | None = "mimicry",
        measure: str = "success-odds",
        budget: int | None = 1,
        side: str = "attacker-at-least",
        data: str = "recorded",
        attackers: int = 0,
        scheme: str = "s",
    ) -> Row:
        subject = np.repeat(np.arange(people), each)
        hit = np.zeros(people * each)
        hit[(np.arange(hits) * each) % len(hit) + np.arange(hits) // people] = 1.0  # spread over people
        attacker = np.arange(len(hit)) % attackers if attackers else None
        rate = clustered_rate(hit, hit, subject, side=side, attacker=attacker)
        return measured(rate, scheme=scheme, attack=attack, measure=measure, data=data, budget=budget)

    return make


@pytest.fixture
def figure() -> Callable[..., Row]:
    """A row of any measure with the numbers given."""

    def make(measure: str, value: float, low: float, high: float, **fields: Any) -> Row:
        given = {
            "level": 0.9,
            "unit": MEASURES.get(measure, "bit"),
            "side": "estimate",
            "evidence": "counted",
            "subjects": 20,
            "attempts": 100,
            "method": "a-method",
        }
        place = {"scheme": "s", "attack": None, "data": "recorded", "budget": None}
        place |= {k: fields.pop(k) for k in list(fields) if k in place}
        estimate = Estimate(value=value, low=low, high=high, **{**given, **fields})
        return measured(estimate, measure=measure, **place)

    return make


@pytest.fixture
def missing() -> Callable[..., Row]:
    """A cell without numbers."""

    def make(attack: str | None, measure: str = "success-odds", status: str = "untested") -> Row:
        return unmeasured(
            status,
            "no such role",
            scheme="s",
            attack=attack,
            measure=measure,
            unit=MEASURES.get(measure, "bit"),
            data="recorded",
        )

    return make


@pytest.fixture
def result() -> Callable[..., Audit]:
    """An audit of these rows."""

    def make(*rows: Row, data: str = "recorded", attackers: int = 0, **fields: Any) -> Audit:
        names = dict.fromkeys(r.attack for r in rows if r.attack and "+" not in r.attack)
        content: dict[str, Any] = {
            "rows": list(rows),
            "per_subject": [],
            "findings": [],
            "settings": {},
            "corpus": {"name": "c", "data": data, "attackers": attackers},
            "schemes": [{"name": n, "key_bits": 128} for n in dict.fromkeys(r.scheme for r in rows)],
            "attacks": [{"name": n} for n in names],
            "versions": {},
        }
        return Audit(**{**content, **fields})

    return make


@pytest.fixture
def claims() -> Callable[..., Claims]:
    """A claims file of one claim, written as TOML lines, and more tables behind it."""

    def make(lines: str, more: str = "", head: str = "") -> Claims:
        body = f'version = 1\n{head}\n[[claim]]\nid = "it"\n{lines}\n{more}'
        return parse_claims(body.encode(), source="claims.toml")

    return make


@pytest.fixture
def judged(claims: Callable[..., Claims], result: Callable[..., Audit]) -> Callable[..., Judgement]:
    """The one judgement of one claim on some rows."""

    def make(lines: str, *rows: Row, more: str = "", **fields: Any) -> Judgement:
        record = judge(claims(lines, more), result(*rows, **fields))
        return next(j for j in record.judgements if j.claim == "it")

    return make
