"""The gravest rules by whole audits: a scheme or a channel with one thing wrong, and its neighbour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from active_support import staged
from rule_cases import AUDITED

from attacks.distant_sensor import DistantSensor
from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.attack_measures import BUDGETS
from harness.contracts import DEVICE_B, Array, Capture, Helper, Witness
from harness.enumeration_rows import enumeration_rows
from harness.pursuit import Outcome
from harness.results import Finding
from harness.rules import BLIND, FLAGGED, RULES

SMALL: dict[str, Any] = {"code": "hamming-7-4", "blocks": 3}  # enumerated in no time
PEOPLE = Channel(subjects=20, attempts=4, errors=((DEVICE_B, 0.0), ("remote", 0.5)))


class OneSign(SignCommitment):
    """All signs are the same: the body does not count."""

    __slots__ = ()

    def witness(self, capture: Capture) -> Witness:
        one = SignCommitment.witness(self, capture)
        return replace(one, symbols=np.zeros_like(one.symbols))


class SameCoins(SignCommitment):
    """Tosses the same coins in every session."""

    __slots__ = ()

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return SignCommitment.generate(self, witness, rng=np.random.default_rng(0))


class Complement(SignCommitment):
    """Says that the key is the secret's complement."""

    __slots__ = ()

    def finish(self, secret: Array, helper: Helper) -> Array:
        return 1 - secret


class Coin(SignCommitment):
    """Publishes a coin of its own beside the code-offset."""

    __slots__ = ()

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        keys, helper = SignCommitment.generate(self, witness, rng=rng)
        return keys, {**helper, "hint": rng.integers(0, 2, (len(keys), 1), dtype=np.uint8)}


class Tells(Coin):
    """Publishes a bit of the key instead."""

    __slots__ = ()

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        keys, helper = Coin.generate(self, witness, rng=rng)
        return keys, {**helper, "hint": keys[:, 3:4]}


def heard(remote: float) -> Channel:
    return replace(PEOPLE, errors=((DEVICE_B, 0.0), ("remote", remote)))


SOUND = SignCommitment(**SMALL)
AUDITS: Mapping[str, tuple[tuple[Any, Channel], tuple[Any, Channel]]] = {
    "odds-above-promise": ((SOUND, heard(0.2)), (SOUND, PEOPLE)),
    "view-tells-attempts-apart": ((SOUND, heard(0.35)), (SOUND, PEOPLE)),
    "less-entropy-than-promised": ((SOUND, replace(PEOPLE, ones=0.3)), (SOUND, PEOPLE)),
    "strangers-agree": ((OneSign(**SMALL), PEOPLE), (SOUND, PEOPLE)),
    "witness-constant": ((OneSign(**SMALL), PEOPLE), (SOUND, PEOPLE)),
    "keys-repeat": ((SameCoins(**SMALL), PEOPLE), (SOUND, PEOPLE)),
    "disclosure-wrong": ((Complement(**SMALL), PEOPLE), (SOUND, PEOPLE)),
    BLIND + "helper-values": ((Tells(**SMALL), PEOPLE), (Coin(**SMALL), PEOPLE)),
}


@cache
def flagged(scheme: Any, corpus: Channel) -> Mapping[str, Finding]:
    found = audit(scheme, attacks="distant-sensor", corpus=corpus).findings
    assert {f.id for f in found} <= set(RULES)
    return {f.id: f for f in found if f.severity in FLAGGED}


@pytest.mark.parametrize("id", AUDITS)
def test_an_audit_flags_what_is_wrong_and_not_its_neighbour(id: str) -> None:
    wrong, right = AUDITS[id]
    said = flagged(*wrong)
    assert said[id].severity in RULES[id].severities
    assert flagged(*right) == {}


def raised(outcome: Outcome, by: float) -> Outcome:
    """One rank is said to be so much greater than it is."""
    scores: Any = outcome.scores
    easiest = int(np.argmin(scores.ranks.upto_high))
    names = ("fewer_low", "fewer_high", "upto_low", "upto_high")
    changed = {n: getattr(scores.ranks, n).astype(float) for n in names}
    for values in changed.values():
        values[easiest] += by
    return replace(outcome, scores=replace(scores, ranks=replace(scores.ranks, **changed)))


@pytest.mark.parametrize("id", AUDITED)
def test_one_wrong_rank_is_noticed_by_listing_keys(id: str, tmp_path: Path) -> None:
    stage = staged(replace(heard(0.2), subjects=3), SOUND, tmp_path)  # all 24 attempts are listed
    outcome = Outcome.joined(stage.both(DistantSensor()))

    def said(by: float) -> list[str]:
        carried = enumeration_rows(
            [("distant-sensor", raised(outcome, by))],
            SOUND,
            stage.honest,
            stage.disclosure,
            data="simulated",
            budgets=BUDGETS,
        )
        return [f.id for f in carried.findings]

    assert said(1.0) == [id]
    assert said(0.0) == []
