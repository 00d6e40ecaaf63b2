"""For each rule one case that triggers it and one neighbour that must not."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.collecting import Rows
from harness.contracts import DEVICE_B, Array, Belief, Estimate, Helper, View, Witness
from harness.detectors import Detection
from harness.findings import promised_odds, scheme_findings
from harness.results import Finding, Row
from harness.rules import SHARE
from harness.score import Disclosure

NOTHING = Disclosure(None, None, ())
SMALL: dict[str, Any] = {"code": "hamming-7-4", "blocks": 3}  # enumerated in no time


def remote(error: float) -> Channel:
    return Channel(subjects=20, errors=((DEVICE_B, 0.0), ("remote", error)))


@cache
def found(
    scheme: Any = None, attacks: Any = "distant-sensor", corpus: Channel | None = None
) -> dict[str, Finding]:
    result = audit(scheme or SignCommitment(**SMALL), attacks=attacks, corpus=corpus or remote(0.5))
    return {f.id: f for f in result.findings}


def test_odds_above_the_promise() -> None:
    flagged = found(corpus=remote(0.15))["odds-above-promise"]
    assert flagged.severity == "critical"
    assert flagged.details["budget"] == 1
    assert "odds-above-promise" not in found(corpus=remote(0.5))


def test_odds_that_few_people_leave_open_are_no_finding() -> None:
    few = Channel(subjects=4, attempts=2, errors=((DEVICE_B, 0.0), ("remote", 0.3)))
    result = audit(SignCommitment(**SMALL), attacks="distant-sensor", corpus=few)
    odds = result.select(measure="success-odds", budget=1)[0].value
    assert odds is not None
    assert odds > 2 * promised_odds(1, 12)
    flagged = [f.details["budget"] for f in result.findings if f.id == "odds-above-promise"]
    assert 1 not in flagged


def test_severity_falls_with_the_guesses_needed() -> None:
    long = Channel(subjects=20, length=92, errors=((DEVICE_B, 0.0), ("remote", 0.35)))
    flagged = found(SignCommitment(blocks=4), corpus=long)["odds-above-promise"]
    assert flagged.details["budget"] > 100
    assert flagged.severity == "medium"


class Fails:
    name, sees = "fails", frozenset({"remote"})

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        raise RuntimeError("no luck")


def test_an_attack_that_failed_says_nothing_of_the_scheme() -> None:
    flagged = found(attacks=Fails())
    assert flagged["plug-in-failed"].attack == "fails"
    assert "no luck" in flagged["plug-in-failed"].text
    assert set(flagged) == {"plug-in-failed", "simulated"}
    assert "plug-in-failed" not in found()


def test_a_view_that_tells_attempts_apart() -> None:
    assert found(corpus=remote(0.3))["view-tells-attempts-apart"].severity == "medium"
    assert "view-tells-attempts-apart" not in found(corpus=remote(0.5))
    # the same values in every attempt tell the person, not the attempt
    same = replace(remote(0.1), fresh=False)
    assert "view-tells-attempts-apart" not in found(corpus=same)


class Constant(SignCommitment):
    """Ignores the body."""

    __slots__ = ()

    def witness(self, capture: Any) -> Witness:
        rows = len(capture.samples)
        return Witness(symbols=np.zeros((rows, 21), np.uint8), alphabet=2, acquired=np.ones(rows, bool))


class OneKey(SignCommitment):
    """Tosses the same coins in every session."""

    __slots__ = ()

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return super().generate(witness, rng=np.random.default_rng(0))


def test_strangers_that_agree() -> None:
    flagged = found(Constant(**SMALL))
    assert flagged["strangers-agree"].severity == "critical"
    assert flagged["witness-constant"].severity == "high"
    assert not {"strangers-agree", "witness-constant"} & set(found())


def test_strangers_at_the_rate_of_chance_are_no_finding() -> None:
    people = np.arange(300) % 30
    scheme = SignCommitment()
    for hits, flagged in ((0, False), (1, False), (40, True)):
        values = (np.arange(300) < hits).astype(float)
        facts = {"strangers": (values, people)}
        ids = [f.id for f in scheme_findings(scheme, NOTHING, [], facts)]
        assert ("strangers-agree" in ids) is flagged


def test_keys_of_few_coins_repeat() -> None:
    flagged = found(OneKey(**SMALL))
    assert flagged["keys-repeat"].severity == "high"
    assert flagged["keys-repeat"].details["keys"] == 200
    assert "keys-repeat" not in found()


def test_keys_repeat_where_more_are_equal_than_chance_allows() -> None:
    scheme = SignCommitment()
    for pairs, flagged in ((0, False), (2, False), (30, True)):
        facts = {"repeats": {"pairs": pairs, "keys": 100, "expected-pairs": 1.2}}
        ids = [f.id for f in scheme_findings(scheme, NOTHING, [], facts)]
        assert ("keys-repeat" in ids) is flagged


def test_less_entropy_than_promised() -> None:
    biased = Channel(subjects=20, ones=0.3, errors=((DEVICE_B, 0.0), ("remote", 0.5)))
    assert found(corpus=biased)["less-entropy-than-promised"].severity == "medium"
    assert "less-entropy-than-promised" not in found()


class Lies(SignCommitment):
    """Says that its keys are the secret's complement."""

    __slots__ = ()

    def finish(self, secret: Array, helper: Helper) -> Array:
        return 1 - secret


class Chatty(SignCommitment):
    """Publishes an array that its disclosure does not speak of."""

    __slots__ = ()

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        keys, helper = super().generate(witness, rng=rng)
        return keys, {**helper, "note": np.zeros((len(keys), 2))}


def test_disclosures_that_lie_or_leave_something_out() -> None:
    assert found(Lies(**SMALL))["disclosure-wrong"].severity == "medium"
    uncovered = found(Chatty(**SMALL))["helper-not-covered"]
    assert "note" in uncovered.text
    assert not {"disclosure-wrong", "helper-not-covered"} & set(found())


def test_notes_on_people_and_roles() -> None:
    alone = replace(remote(0.5), subjects=1)
    assert "one-person" in found(corpus=alone)
    assert "one-person" not in found()
    assert "simulated" in found()
    assert "role-not-read" in found(attacks="population")
    assert "role-not-read" not in found()


@pytest.mark.parametrize(
    ("budget", "bits", "odds"), [(1, 4, 1 / 16), (100, 4, 1.0), (2**40, 128, 2.0**-88)]
)
def test_the_promise(budget: int, bits: int, odds: float) -> None:
    assert promised_odds(budget, bits) == odds


def test_the_worst_person_stands_beside_what_is_left_on_average() -> None:
    """Half the people at .9 and half at .1 pool to uniform bits; each alone leaves far less."""
    people = Channel(subjects=10, attempts=20, ones=0.9)
    flipped = replace(people, ones=0.1)

    @dataclass(frozen=True)
    class Mixed:
        """Even subjects at .9, odd ones at .1."""

        name: str = "mixed"
        data: str = "simulated"

        def sittings(self) -> Any:
            return people.sittings()

        def block(self, sitting: Any, streams: Any) -> Any:
            return (people if sitting.subject % 2 else flipped).block(sitting, streams)

        def describe(self) -> Any:
            return {}

        def digest(self) -> str:
            return "mixed"

    rows = audit(SignCommitment(), attacks="population", corpus=Mixed()).select(measure="min-entropy")
    left = {r.method: r.value for r in rows}
    pooled, alone = (left[f"average-given-helper-{m}"] for m in ("independent-symbols", "worst-subject"))
    assert pooled is not None
    assert alone is not None
    assert pooled > 11
    assert alone < 2


class Tells(SignCommitment):
    """Publishes one bit of the key in the open."""

    __slots__ = ()

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        keys, helper = super().generate(witness, rng=rng)
        return keys, {**helper, "hint": keys[:, 3:4]}


def test_a_leak_that_nobody_listed() -> None:
    flagged = found(Tells(**SMALL))["blind-helper-values"]
    assert flagged.severity == "medium"
    assert "Key bit 3 told by `hint`[0]" in flagged.text
    assert 0.5 < flagged.details["bits"] <= 1
    assert flagged.details["side"] == "attacker-at-least"
    assert not [name for name in found() if name.startswith("blind-")]


@pytest.mark.parametrize(
    ("slug", "bits", "severity"),
    [
        ("key-bits", 0.0, "medium"),
        ("key-bits", 2.9, "medium"),
        ("key-bits", 3.0, "high"),
        ("key-repeats", 6.0, "critical"),
        ("key-subject", 12.0, "high"),
        ("helper-linkage", 0.0, "medium"),
    ],
)
def test_detections_weigh_by_the_bits_they_give_away(slug: str, bits: float, severity: str) -> None:
    one = Detection(slug=slug, p=1e-9, bits=bits, text="this is it", attempts=9, subjects=3)
    [flagged] = scheme_findings(SignCommitment(), NOTHING, [], {"detections": [one]})
    assert (flagged.id, flagged.severity) == (f"blind-{slug}", severity)
    assert flagged.text.startswith("This is it (corrected p = 1e-09).")
    assert ("gives away" in flagged.text) is (bits > 0)


def test_detectors_get_one_share_of_the_level() -> None:
    for p, flagged in ((SHARE * 0.99, True), (SHARE * 1.01, False)):
        one = Detection(slug="key-bits", p=p, text="this", attempts=9, subjects=3)
        assert bool(list(scheme_findings(SignCommitment(), NOTHING, [], {"detections": [one]}))) is flagged
    quiet = Detection(slug="key-bits", untested="too few")
    assert not list(scheme_findings(SignCommitment(), NOTHING, [], {"detections": [quiet]}))


def test_keys_that_fail_tests_of_randomness() -> None:
    """One finding for all tests that fail at their share of the level; each row is corrected already."""

    def rows(*p: float) -> list[Row]:
        table = Rows("sign-commitment", None, "simulated")
        for i, value in enumerate(p):
            estimate = Estimate(
                value=value,
                low=value,
                high=value,
                level=0.95,
                unit="p-value",
                side="estimate",
                evidence="counted",
                subjects=3,
                attempts=9,
                method=f"test-{i}",
            )
            table.add("randomness", estimate)
        return table.rows

    [flagged] = scheme_findings(SignCommitment(), NOTHING, rows(1e-5, 0.5, 1e-9), {})
    assert (flagged.id, flagged.severity) == ("randomness-failed", "medium")
    assert flagged.details["p"] == {"test-0": 1e-5, "test-2": 1e-9}
    assert not list(scheme_findings(SignCommitment(), NOTHING, rows(0.002, 0.5), {}))
