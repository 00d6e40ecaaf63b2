"""An audit as it could come out of a run, with hostile words in every free text."""

from __future__ import annotations

from typing import Any

import pytest

from harness.contracts import Estimate
from harness.results import Audit, Finding, PerSubject, Row, measured, unmeasured

BUDGETS = (1, 10, 100, 2**20, 2**40, 2**64)
HOSTILE = "<script>alert(1)</script>"
PIPE = "grip|rim `tick` <img src=x onerror=alert(2)>"
ESCAPES = "\x1b[31mred\x1b[0m \u202eback"
TREND, GRAY = "envelope-trend", f"interval-gray {HOSTILE}"
MIXED = "mimicry+helper-leak+distant-sensor"
ATTACKS = ("population", "mimicry", "helper-leak", "distant-sensor", "body-site", "replay", MIXED)


def _row(
    scheme: str,
    attack: str | None,
    measure: str,
    value: float,
    low: float,
    high: float,
    unit: str,
    *,
    budget: int | None = None,
    side: str = "estimate",
    evidence: str = "counted",
    method: str = "clustered",
    reason: str | None = None,
) -> Row:
    estimate = Estimate(
        value=value,
        low=low,
        high=high,
        level=0.95,
        unit=unit,
        side=side,
        evidence=evidence,
        subjects=60,
        attempts=598,
        method=method,
    )
    return measured(
        estimate,
        scheme=scheme,
        attack=attack,
        measure=measure,
        data="simulated",
        budget=budget,
        reason=reason,
    )


def _odds(scheme: str, attack: str, triples: list[tuple[float, float, float]]) -> list[Row]:
    return [
        _row(scheme, attack, "success-odds", v, lo, hi, "probability", budget=b, side="attacker-at-least")
        for b, (v, lo, hi) in zip(BUDGETS, triples, strict=True)
    ]


def _views(scheme: str, attack: str, rank: float, bits: float, p: float) -> list[Row]:
    open_end = float("nan")
    return [
        _row(scheme, attack, "key-rank", rank, rank - 3.25, rank + 2.5, "log2", method="median"),
        _row(
            scheme,
            attack,
            "mutual-information",
            bits,
            max(0.0, bits - 0.02),
            open_end,
            "bit/symbol",
            side="attacker-at-least",
            method="held-out-log-loss",
        ),
        _row(
            scheme,
            attack,
            "mutual-information",
            40 * bits,
            30 * bits,
            open_end,
            "bit",
            side="attacker-at-least",
            evidence="modelled",
            method="chain-log-loss",
            reason="assumes symbols of one attempt depend on their neighbours only",
        ),
        _row(
            scheme,
            attack,
            "leakage-test",
            p,
            open_end,
            open_end,
            "p-value",
            method="within-subject-permutation",
        ),
    ]


def _honest(scheme: str, agree: float) -> list[Row]:
    one = "probability"
    return [
        _row(scheme, None, "bit-mismatch", 0.0312, 0.0281, 0.0349, one),
        _row(
            scheme,
            None,
            "key-agreement",
            agree,
            agree - 0.031,
            agree + 0.022,
            one,
            side="defender-at-least",
        ),
        _row(scheme, None, "failure-to-acquire", 0.0033, 0.0004, 0.0121, one),
        _row(scheme, None, "strangers-agreement", 0.0, 0.0, 0.0141, one),
        _row(
            scheme,
            None,
            "rate",
            9.87,
            9.8,
            9.9,
            "bit/s",
            method="raw",
            reason="before correction; not what counts",
        ),
        _row(
            scheme,
            None,
            "rate",
            3.21,
            2.9,
            3.4,
            "bit/s",
            method="average-min-entropy",
            reason="this is the one that counts",
        ),
        _row(scheme, None, "time-to-key", 13.1, 12.9, 13.3, "s", method="code-rate", reason="usual claim"),
        _row(
            scheme,
            None,
            "time-to-key",
            39.9,
            37.7,
            44.1,
            "s",
            method="average-min-entropy",
            reason="the one that counts: 128 bits of min-entropy",
        ),
        _row(scheme, None, "min-entropy", 1.87, 1.81, 1.93, "bit/symbol", method="most-common-value"),
        _row(
            scheme,
            None,
            "min-entropy",
            71.4,
            66.1,
            float("nan"),
            "bit",
            method="average-given-helper-exact",
            evidence="exact",
            side="defender-at-least",
        ),
    ]


def _trend() -> list[Row]:
    none = (0.0, 0.0, 0.01409)
    chance = [none] * 4 + [(0.0017, 0.0001, 0.0188), (0.0251, 0.0113, 0.0467)]
    rows = _honest(TREND, 0.9462)
    rows += _odds(TREND, "population", [none] * 6) + _views(TREND, "population", 126.9, 0.0004, 0.62)
    better = [
        none,
        none,
        (0.0017, 0.0001, 0.0188),
        (0.0117, 0.0041, 0.0301),
        (0.117, 0.083, 0.159),
        (0.655, 0.57, 0.73),
    ]
    rows += _odds(TREND, "mimicry", better) + _views(TREND, "mimicry", 59.4, 0.213, 0.0001)
    rows += _odds(TREND, "helper-leak", chance) + _views(TREND, "helper-leak", 88.31, 0.012, 0.0431)
    rows += _odds(TREND, "distant-sensor", chance) + _views(TREND, "distant-sensor", 94.2, 0.031, 0.0102)
    rows += _odds(TREND, "body-site", chance) + _views(TREND, "body-site", 101.7, 0.0201, 0.0333)
    for measure in ("success-odds", "key-rank"):
        rows.append(
            unmeasured(
                "untested",
                f"no recording of an earlier session {PIPE}",
                scheme=TREND,
                attack="replay",
                measure=measure,
                unit="probability" if measure == "success-odds" else "log2",
                data="simulated",
            )
        )
    best = [
        (0.0201, 0.0089, 0.0393),
        (0.0435, 0.0241, 0.0712),
        (0.0803, 0.052, 0.117),
        (0.301, 0.25, 0.36),
        (0.719, 0.66, 0.78),
        (0.99992, 0.9871, 1.0),
    ]
    return rows + _odds(TREND, MIXED, best) + _views(TREND, MIXED, 31.2, 0.402, 0.0001)


def _gray() -> list[Row]:
    tiny = [(b * 2.0**-64 if b < 2**64 else 1.0, 0.0, b * 2.0**-64 if b < 2**64 else 1.0) for b in BUDGETS]
    rows = _honest(GRAY, 0.8812)
    for attack in ATTACKS:
        if attack == "mimicry":
            rows.append(
                unmeasured(
                    "failed",
                    f"ValueError: {HOSTILE} {ESCAPES}",
                    scheme=GRAY,
                    attack=attack,
                    measure="success-odds",
                    unit="probability",
                    data="simulated",
                )
            )
        else:
            rows += _odds(GRAY, attack, tiny) + _views(GRAY, attack, 62.8, 0.0021, 0.31)
    rows.append(
        unmeasured(
            "not-applicable",
            "nothing is enrolled",
            scheme=GRAY,
            attack=None,
            measure="linkage",
            unit="probability",
            data="simulated",
        )
    )
    return rows


def _per_subject() -> list[PerSubject]:
    def one(attack: str | None, measure: str, budget: int | None, subject: int, value: float) -> PerSubject:
        return PerSubject(
            scheme=TREND,
            attack=attack,
            measure=measure,
            budget=budget,
            subject=subject,
            value=value,
            attempts=10,
        )

    people = [one(None, "key-agreement", None, s, 1.0 - (s % 4) / 10) for s in range(60)]
    people += [one(None, "failure-to-acquire", None, s, 0.0) for s in range(60)]
    for budget in BUDGETS:
        share = BUDGETS.index(budget) / 5
        people += [
            one(MIXED, "success-odds", budget, s, round(share * (s % 11) / 10, 1)) for s in range(60)
        ]
        people += [one("population", "success-odds", budget, s, 0.0) for s in range(60)]
    return people


def _findings() -> list[Finding]:
    def finding(name: str, severity: str, attack: str | None, text: str, **details: Any) -> Finding:
        return Finding(id=name, severity=severity, scheme=TREND, attack=attack, text=text, details=details)

    return [
        finding("few-people", "note", None, "60 people cannot show odds below 0.014."),
        finding("uncovered-helper", "low", None, "Helper array `order` is not covered by the disclosure."),
        finding(
            "leakage", "medium", "distant-sensor", "The view tells something about the witness.", p=0.0102
        ),
        finding(
            "odds-above-promise",
            "high",
            "mimicry",
            f"Odds lie above the promise {PIPE}.",
            budget=2**20,
            low=0.0041,
            promised=2.0**-108,
        ),
        finding(
            "odds-above-promise",
            "critical",
            MIXED,
            "One guess finds one key in fifty.",
            budget=1,
            low=0.0089,
        ),
    ]


@pytest.fixture(scope="session")
def audit() -> Audit:
    """Two schemes against six adversaries and a combination; one cell untested, one failed."""
    return Audit(
        rows=_trend() + _gray(),
        per_subject=_per_subject(),
        findings=_findings(),
        settings={
            "subjects": 60,
            "sessions": 2,
            "attempts": 5,
            "seed": 7,
            "level": 0.95,
            "command": ["keyassay", "audit", "envelope-trend", "--seed", "7", "--out", "two words"],
        },
        corpus={
            "name": f"cargo-bike {PIPE}",
            "data": "simulated",
            "digest": "5e" * 32,
            "subjects": 60,
            "sessions": 2,
            "attempts": 600,
            "attackers": 12,
            "description": {
                "scenario": "grip sensors of a shared cargo bike, rider's wristband",
                "note": HOSTILE,
            },
        },
        schemes=[
            {
                "name": TREND,
                "key_bits": 128,
                "parameters": {"window_s": 0.2, "symbols": 4},
                "source": "project's own",
                "uncovered": ["order"],
            },
            {"name": GRAY, "key_bits": 64},
        ],
        attacks=[
            *(
                {"name": a, "sees": [a, "helper"], "source": "own", "summary": f"does {a} {HOSTILE}"}
                for a in ATTACKS[:6]
            ),
            {"name": MIXED},
        ],
        versions={"keyassay": "0.1.0", "numpy": "2.0.0"},
    )


@pytest.fixture(scope="session")
def empty() -> Audit:
    """An audit that measured nothing and states nothing."""
    rows = [
        unmeasured(
            "untested",
            "the corpus has no such stream",
            scheme="envelope-trend",
            attack="mimicry",
            measure="success-odds",
            unit="probability",
            data="recorded",
        )
    ]
    return Audit(
        rows=rows, per_subject=[], findings=[], settings={}, corpus={}, schemes=[], attacks=[], versions={}
    )
