"""Rules that turn measured rows into sentences a reviewer must read.

Each rule compares with what the scheme promises, at a level so strict that a sound scheme is flagged
in at most one audit in a hundred.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from harness.attack_measures import BUDGETS, successes
from harness.blind_findings import detector_findings, randomness_findings
from harness.cache import Captures
from harness.contracts import DEVICE_A, DEVICE_B, Corpus
from harness.detectors.repeats import repeated_p_value
from harness.entropy_findings import entropy_findings
from harness.errors import InsufficientData
from harness.estimators import leakage, proportion
from harness.exchange import Honest
from harness.listing_rows import listing_findings
from harness.pursuit import Outcome
from harness.results import Finding, Row
from harness.rules import FAMILY_LEVEL, SHARE
from harness.score import Disclosure, Scores
from harness.streams import stream
from harness.view import needs

__all__ = [
    "FAMILY_LEVEL",
    "SHARE",
    "attack_findings",
    "corpus_findings",
    "odds_findings",
    "promised_odds",
    "scheme_findings",
]


def promised_odds(budget: int, key_bits: int) -> float:
    """Odds of a guesser against a uniform key: what the scheme promises."""
    return min(1.0, math.ldexp(budget, -key_bits))


def attack_findings(
    scheme: Any, honest: Honest, attack: str, outcome: Outcome, *, tests: int, ranked: int, seed: int
) -> Iterator[Finding]:
    """What one adversary's result asks to be said.

    Parameters
    ----------
    tests : int
        Attacks in this audit; the level of each test of their views is shared among them.
    ranked : int
        The same for odds; more where a belief that is carried on to guesses is tested again.
    """
    if outcome.failed:
        yield Finding(
            id="plug-in-failed",
            severity="note",
            scheme=scheme.name,
            attack=attack,
            text=f"The attack failed and says nothing about the scheme: {outcome.failed}",
        )
    if outcome.scores is None:
        return
    yield from odds_findings(scheme, honest, attack, outcome.scores, tests=ranked)
    yield from _leak(scheme, honest, attack, outcome.scores, tests, seed)


def odds_findings(
    scheme: Any, honest: Honest, attack: str, scores: Scores, *, tests: int
) -> Iterator[Finding]:
    """Odds above the promise at the smallest budget where they show."""
    subject = honest.subject[scores.attempt]
    level = 1 - 2 * SHARE / (tests * len(BUDGETS))  # two-sided, so each limit at SHARE / tests
    for budget, low, high in successes(scores, int(scheme.key_bits)):
        promise = promised_odds(budget, int(scheme.key_bits))
        found = proportion.clustered_rate(
            low, high, subject, side="attacker-at-least", level=level, attacker=scores.attacker
        )
        if found.low <= promise or promise >= 1:
            continue
        yield Finding(
            id="odds-above-promise",
            severity=_severity(budget, found.value),
            scheme=scheme.name,
            attack=attack,
            text=(
                f"With {_guesses(budget)} the adversary finds the key in {found.value:.3g} of cases "
                f"(at least {found.low:.3g} at the corrected level), where {scheme.key_bits} uniform bits "
                f"would give {promise:.3g}."
            ),
            details={"budget": budget, "odds": found.value, "low": found.low, "promise": promise},
        )
        return


def _guesses(budget: int) -> str:
    if budget == 1:
        return "1 guess"
    return f"{budget} guesses" if budget < 1000 else f"2^{budget.bit_length() - 1} guesses"


def _severity(budget: int, odds: float) -> str:
    if budget <= 1 and odds >= 0.1:
        return "critical"
    if budget <= 100:
        return "high"
    return "medium" if budget <= 2**40 else "low"


def _leak(
    scheme: Any, honest: Honest, attack: str, scores: Scores, tests: int, seed: int
) -> Iterator[Finding]:
    """A view that tells an attempt from the same person's others."""
    if scores.gain is None:
        return
    repetitions = int(np.ceil(10 * tests / SHARE))
    try:
        p = leakage.permutation_p_value(
            scores.cross, rng=stream(seed, "finding", attack), repetitions=repetitions
        )
    except InsufficientData:
        return
    if p.value > SHARE / tests:
        return
    bits = leakage.symbol_information(scores.gain, honest.subject[scores.attempt])
    yield Finding(
        id="view-tells-attempts-apart",
        severity="medium",
        scheme=scheme.name,
        attack=attack,
        text=(
            f"What this adversary sees tells which attempt it belongs to (p = {p.value:.2g}); it gains at "
            f"least {bits.value:.3g} bits per witness symbol over a guess without it."
        ),
        details={"p": p.value, "bits-per-symbol": bits.value, "symbols": int(honest.a.symbols.shape[1])},
    )


def scheme_findings(
    scheme: Any, disclosure: Disclosure, rows: Sequence[Row], facts: dict[str, Any]
) -> Iterator[Finding]:
    """What the honest runs ask to be said."""

    bits = int(scheme.key_bits)

    def say(id: str, severity: str, text: str, **details: Any) -> Finding:
        return Finding(
            id=id, severity=severity, scheme=scheme.name, attack=None, text=text, details=details
        )

    if disclosure.problem:
        yield say(
            "disclosure-wrong",
            "medium",
            f"The disclosed helper data are not what they say: {disclosure.problem}",
        )
    if disclosure.uncovered:
        names = ", ".join(disclosure.uncovered)
        yield say(
            "helper-not-covered",
            "note",
            f"Nothing discloses what these public arrays say of the key: {names}.",
        )
    understated = float(facts.get("understated", 0.0))
    yield from entropy_findings(rows, say, key_bits=bits, understated=understated)
    if "strangers" in facts:
        hits, subject = facts["strangers"]
        level = 1 - 2 * SHARE
        found = proportion.clustered_rate(hits, hits, subject, side="estimate", level=level)
        if found.low > promised_odds(1, bits):
            yield say(
                "strangers-agree",
                "critical" if found.value >= 0.1 else "high",
                f"Another person's body agrees on A's key in {found.value:.3g} of attempts (at least "
                f"{found.low:.3g}), where {promised_odds(1, bits):.3g} is promised.",
                agreement=found.value,
            )
    yield from _repeats(scheme, facts, say)
    yield from listing_findings(rows, say, key_bits=bits)
    yield from randomness_findings(rows, say, level=SHARE)
    yield from detector_findings(facts.get("detections", ()), say, key_bits=bits, level=SHARE)


def _repeats(scheme: Any, facts: dict[str, Any], say: Any) -> Iterator[Finding]:
    repeats = facts.get("repeats")
    if not repeats or not repeats["pairs"]:
        return
    if repeated_p_value(repeats["pairs"], repeats["keys"], int(scheme.key_bits)) <= SHARE:
        yield say(
            "keys-repeat",
            "high",
            f"{repeats['pairs']} pairs among {repeats['keys']} keys are equal, where "
            f"{repeats['expected-pairs']:.2g} are expected of uniform keys.",
            **repeats,
        )


def corpus_findings(corpus: Corpus, captures: Captures, attacks: Sequence[Any]) -> Iterator[Finding]:
    """What the people and roles of the corpus ask to be said."""
    people = {s.subject for s in captures.sittings}

    def note(id: str, text: str, **details: Any) -> Finding:
        return Finding(id=id, severity="note", scheme="", attack=None, text=text, details=details)

    if len(people) == 1:
        yield note("one-person", "All attempts are of one person: nothing here speaks of other people.")
    if corpus.data == "simulated":
        yield note(
            "simulated",
            "All people are simulated: figures hold for the stated model of bodies, not for people.",
        )
    roles = {s.partition(":")[0] for x in captures.sittings for s in x.streams} - {DEVICE_A, DEVICE_B}
    asked = {r.partition(":")[0] for a in attacks for r in needs(a)[0]}
    for role in sorted(roles - asked):
        yield note(
            "role-not-read",
            f"The corpus holds captures of role {role!r} that no attack here reads.",
            role=role,
        )
