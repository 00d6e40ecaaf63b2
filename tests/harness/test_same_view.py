"""Whoever reads more captures than another and gains less is told so."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.distant_sensor import DistantSensor
from attacks.helper_leak import HelperLeak
from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import Belief

PEOPLE = Channel(subjects=12, errors=(("device-b", 0.0), ("remote", 0.1), ("other-site", 0.1)))


@dataclass(frozen=True)
class Lazy:
    """Reads two captures and says nothing."""

    name: str = "lazy"
    sees: frozenset = frozenset({"remote", "other-site"})

    def believe(self, view, *, rng) -> Belief:
        return Belief(log_prob=np.full((view.attempts, 23, 2), np.log(0.5)))


def test_who_reads_more_and_gains_less_is_named() -> None:
    result = audit(SignCommitment(), attacks=[Lazy(), DistantSensor(), HelperLeak()], corpus=PEOPLE)
    (row,) = result.select(measure="gain-over")
    assert (row.attack, row.method) == ("lazy", "distant-sensor")
    assert row.high is not None
    assert row.high < 0
    assert "less" in str(row.reason)
    (found,) = [f for f in result.findings if f.id == "sees-more-gets-less"]
    assert (found.attack, found.severity, found.details["better"]) == ("lazy", "note", ["distant-sensor"])


def test_a_combination_is_held_against_its_parts() -> None:
    attacks = ["distant-sensor", "body-site", "distant-sensor+body-site"]
    result = audit(SignCommitment(), attacks=attacks, corpus=PEOPLE)
    rows = {(r.attack, r.method): r for r in result.select(measure="gain-over")}
    assert set(rows) == {("distant-sensor+body-site", a) for a in attacks[:2]}
    assert all(r.low is not None and r.low > 0 for r in rows.values())
    assert not [f for f in result.findings if f.id == "sees-more-gets-less"]
