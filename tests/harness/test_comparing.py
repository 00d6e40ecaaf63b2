"""Schemes side by side: what is on the page, planted differences, who dominates whom, no false alarms."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from fixtures.channel_truths import corrected
from fixtures.controls import Channel, SignCommitment
from harness.comparing import compare, set_beside
from harness.contracts import DEVICE_B, Array, Helper, Witness
from harness.differences import differences_of, net_rates
from harness.dominance import dominances_of, dominates
from harness.errors import UsageError
from harness.estimators import means
from harness.quantities import people_of, strongest, told
from harness.results import Audit, PerSubject
from harness.sidebyside import QUANTITIES, Difference, SideBySide

ATTACKS = ["helper-leak", "distant-sensor", "population"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wary(SignCommitment):
    """The same keys and helper data; device B refuses whenever its first `bits` signs are all negative."""

    bits: int = 1
    name: str = "wary"

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        keys, accepted = SignCommitment.reproduce(self, witness, helper)
        return keys, accepted & witness.symbols[:, : self.bits].any(axis=1)


def channel(subjects: int) -> Channel:
    return Channel(subjects=subjects, errors=((DEVICE_B, 0.1), ("remote", 0.2)))


def beside(*schemes: SignCommitment, subjects: int = 24) -> SideBySide:
    return compare(list(schemes), corpus=channel(subjects), attacks=ATTACKS)


@pytest.fixture(scope="module")
def planted() -> SideBySide:
    return beside(SignCommitment(), Wary(), subjects=60)


def of(found: SideBySide, measure: str, attack: str | None = None, budget: int | None = None) -> Difference:
    key = (measure, attack, budget)
    return next(d for d in found.differences if (d.measure, d.attack, d.budget) == key)


def test_fewer_than_two_schemes_are_refused() -> None:
    for given_schemes in ("interval-gray", ["interval-gray"], []):
        with pytest.raises(UsageError, match="at least two schemes, got"):
            compare(given_schemes)


def test_two_schemes_of_one_name_are_refused() -> None:
    with pytest.raises(UsageError, match="a name of its own"):
        compare(["interval-gray", "interval-gray"])


def test_every_quantity_of_every_scheme_has_a_number_or_a_reason(planted: SideBySide) -> None:
    for scheme in planted.schemes:
        own = [e for e in planted.entries if e.row.scheme == scheme]
        assert [e.quantity for e in own] == [q.slug for q in QUANTITIES]
        for entry in own:
            assert entry.row.value is not None or entry.row.low is not None or entry.row.reason
    asked = {e.row.attack for e in planted.by_adversary}
    assert asked == {*ATTACKS}


def test_what_no_adversary_can_give_is_untested_and_says_why(planted: SideBySide) -> None:
    rows = told([e for e in planted.entries if e.row.scheme == "wary"])
    for slug in ("min-entropy-enrolments", "linkage", "min-entropy-injection", "attack-potential"):
        assert rows[slug].status == "untested"
        assert rows[slug].reason


def test_the_quantities_follow_from_the_rows(planted: SideBySide) -> None:
    audit, rows = planted.audit, told([e for e in planted.entries if e.row.scheme == "sign-commitment"])
    agreement = audit.select(scheme="sign-commitment", attack=None, measure="key-agreement")[0]
    time = audit.select(scheme="sign-commitment", attack=None, measure="time")[0]
    assert agreement.value is not None
    assert agreement.low is not None
    assert agreement.high is not None
    assert time.value is not None
    assert rows["agreement"] == agreement
    assert rows["expected-attempts"].value == pytest.approx(1 / agreement.value, rel=1e-12)
    assert rows["expected-attempts"].low == pytest.approx(1 / agreement.high, rel=1e-12)
    assert rows["expected-attempts"].high == pytest.approx(1 / agreement.low, rel=1e-12)
    assert rows["expected-time"].value == pytest.approx(time.value / agreement.value, rel=1e-12)
    by_person = sorted(people_of(audit, "sign-commitment", None, "key-agreement").values())
    assert rows["agreement-worst"].value == by_person[0]
    assert rows["agreement-5th-percentile"].value == by_person[2]  # the third of sixty: 3/60 = .05
    victims = people_of(audit, "sign-commitment", "distant-sensor", "success-odds", 1)
    assert rows["worst-victim"].value == max(victims.values())
    assert rows["worst-victim"].side == "attacker-at-least"
    gained = people_of(audit, "sign-commitment", "population", "key-rank")
    left = people_of(audit, "sign-commitment", "distant-sensor", "key-rank")
    gain = means.subject_mean(
        np.array([gained[s] - left[s] for s in sorted(left)]),
        np.array(sorted(left)),
        unit="log2",
        side="estimate",
        method="t",
    )
    advantage = rows["advantage"]
    assert (advantage.value, advantage.low, advantage.high) == (gain.value, gain.low, gain.high)


def test_source_min_entropy_is_per_bit_of_the_labels() -> None:
    found = compare(
        ["interval-gray", "interval-gray:cell_s=0.008,name=coarse"],
        attacks="population",
        subjects=3,
        sessions=1,
        attempts=2,
    )
    row = told([e for e in found.entries if e.row.scheme == "coarse"])["source-min-entropy"]
    per_symbol = found.audit.select(scheme="coarse", method="most-common-value-worst-subject")[0]
    assert per_symbol.value is not None
    assert (row.unit, row.value) == ("bit/bit", per_symbol.value / 4)  # four bits an interval


def test_the_strongest_adversary_is_the_one_who_sees(planted: SideBySide) -> None:
    assert planted.strongest == {"sign-commitment": "distant-sensor", "wary": "distant-sensor"}
    rows = told([e for e in planted.entries if e.row.scheme == "sign-commitment"])
    odds = planted.audit.select(
        scheme="sign-commitment", attack="distant-sensor", measure="success-odds", budget=1
    )
    assert [rows["odds-1"]] == odds
    assert odds[0].low is not None
    assert odds[0].high is not None
    assert odds[0].low <= corrected(0.2) <= odds[0].high  # 90 % interval, fixed seed
    assert strongest(planted.audit, "wary", among=["helper-leak", "population"]) != ("distant-sensor", 0.0)
    assert strongest(planted.audit, "wary", among=[]) is None


def test_a_planted_loss_of_agreement_is_found_and_everything_else_is_equal(planted: SideBySide) -> None:
    # half of all words begin with a one; the others are refused whatever they hold
    agreement = of(planted, "key-agreement")
    assert agreement.better == "sign-commitment"
    assert agreement.value > 0
    assert agreement.adjusted is not None
    assert agreement.p is not None
    assert agreement.adjusted >= agreement.p
    assert of(planted, "net-rate").better == "sign-commitment"
    for measure, attack, budget in (
        ("bit-mismatch", None, None),
        ("min-entropy", None, None),
        ("time", None, None),
        ("key-rank", "distant-sensor", None),
        ("success-odds", "helper-leak", 2**20),
    ):
        found = of(planted, measure, attack, budget)
        assert found.equal
        assert (found.value, found.better) == (0.0, None)


def test_dominance_is_settled_by_a_large_loss(planted: SideBySide) -> None:
    (found,) = planted.dominances
    assert (found.values, found.settled) == ("sign-commitment", "sign-commitment")
    assert found.strongest == ("distant-sensor", "distant-sensor")
    assert "leads in agreement" in found.reason


CLAIMS = """
version = 1

[[claim]]
id = "odds"
measure = "success-odds"
attack = "all"
budget = 1
at_most = {most}

[[potential]]
attack = "distant-sensor"
elapsed_time = "1-week"
expertise = "expert"
knowledge = "public"
window = "easy"
equipment = "specialised"
rationale = "an amplifier and an antenna"
"""


@pytest.mark.parametrize(("most", "points"), [(0.05, 1 + 6 + 0 + 1 + 4), (0.9, None)])
def test_the_least_potential_is_that_of_a_rated_attack_that_beats_the_claim(
    tmp_path: Path, most: float, points: int | None
) -> None:
    """The sensor opens .2965 of the keys by arithmetic: more than .05 and less than .9."""
    path = tmp_path / "claims.toml"
    path.write_text(CLAIMS.format(most=most), "utf-8")
    found = compare([SignCommitment(), Wary()], corpus=channel(12), attacks=["distant-sensor"], claims=path)
    row = told([e for e in found.entries if e.row.scheme == "wary"])["attack-potential"]
    assert (row.value, row.status) == (points, "untested" if points is None else "measured")
    assert row.reason
    assert row.side == (None if points is None else "defender-at-most")


def test_few_people_leave_dominance_unsettled() -> None:
    (found,) = beside(SignCommitment(), Wary(), subjects=5).dominances
    assert (found.values, found.settled) == ("sign-commitment", None)
    assert "chance may explain" in found.reason


def test_one_scheme_twice_is_equal_everywhere() -> None:
    short = SignCommitment(code="hamming-7-4", blocks=3)
    found = beside(short, replace(short, name="again"))
    assert found.differences
    for difference in found.differences:
        assert difference.equal
        assert difference.adjusted == 1.0
        assert difference.better is None
    (verdict,) = found.dominances
    assert (verdict.values, verdict.settled) == (None, None)
    assert verdict.reason == "equal in rate, agreement and strength"


def test_a_weaker_code_of_other_length_is_a_trade_and_lengths_stand_beside_ranks() -> None:
    found = beside(SignCommitment(), SignCommitment(code="repetition-7", blocks=3, name="repeated"))
    (verdict,) = found.dominances
    assert (verdict.values, verdict.settled) == (None, None)
    assert "leads in agreement" in verdict.reason
    assert "leads in strength" in verdict.reason
    assert "keys of 12 and 3 bits" in of(found, "key-rank", "distant-sensor").reason
    assert "keys of" not in of(found, "key-agreement").reason


def test_a_part_that_is_not_known_settles_nothing(planted: SideBySide) -> None:
    audit = planted.audit
    bare = replace(audit, rows=[r for r in audit.rows if (r.scheme, r.measure) != ("wary", "rate")])
    (verdict,) = set_beside(bare).dominances
    assert (verdict.values, verdict.settled) == (None, None)
    assert "rate" in verdict.reason


def test_strength_is_compared_under_adversaries_measured_for_both(planted: SideBySide) -> None:
    audit = planted.audit
    unseen = replace(
        audit,
        per_subject=[p for p in audit.per_subject if (p.scheme, p.attack) != ("wary", "distant-sensor")],
    )
    (verdict,) = dominances_of(unseen, [])
    assert set(verdict.strongest) <= {"helper-leak", "population"}


def test_net_rates_are_of_single_people(planted: SideBySide) -> None:
    audit = planted.audit
    bits, agreed, time = (
        people_of(audit, "wary", None, m) for m in ("min-entropy", "key-agreement", "time")
    )
    rates = net_rates(audit, "wary")
    assert rates.keys() == bits.keys()
    assert rates[7] == bits[7] * agreed[7] / time[7]


def fake(values: dict[str, Array]) -> Audit:
    """An audit with nothing but values of people: (measures, people) for each scheme."""
    return Audit(
        rows=[],
        per_subject=[
            PerSubject(
                scheme=name,
                attack=None,
                measure=f"m{i}",
                budget=None,
                subject=subject,
                value=float(value),
                attempts=1,
            )
            for name, table in values.items()
            for i, row in enumerate(table)
            for subject, value in enumerate(row)
        ],
        findings=[],
        settings={},
        corpus={},
        schemes=[{"name": name} for name in values],
        attacks=[],
        versions={},
    )


def test_twelve_neutral_measures_are_told_apart_in_at_most_one_comparison_in_twenty() -> None:
    rng = np.random.default_rng(3)
    runs, false = 400, 0
    for _ in range(runs):
        person = rng.standard_normal((12, 20))  # what a person brings to both
        values = {n: person + rng.standard_normal((12, 20)) for n in ("one", "two")}
        found = differences_of(fake(values), key_bits={"one": 8, "two": 8})
        false += any(d.adjusted is not None and d.adjusted <= 0.05 for d in found)
    # independent exact tests: Holm rejects one if the least p is below .05/12, so the rate is known
    rate = 1 - (1 - 0.05 / 12) ** 12
    assert binom.ppf(0.0005, runs, rate) <= false <= binom.ppf(0.9995, runs, rate)


def test_values_of_one_person_are_never_told_apart() -> None:
    values = {"one": np.zeros((1, 1)), "two": np.ones((1, 1))}
    (found,) = differences_of(fake(values), key_bits={"one": 8, "two": 8})
    assert (found.p, found.adjusted, found.better, found.low) == (None, None, None, None)


PARTS = st.tuples(*[st.none() | st.integers(0, 3).map(float)] * 3)


@given(PARTS, PARTS, PARTS)
def test_dominance_is_a_strict_order(a: tuple, b: tuple, c: tuple) -> None:
    assert not dominates(a, a)
    assert not (dominates(a, b) and dominates(b, a))
    assert not (dominates(a, b) and dominates(b, c)) or dominates(a, c)
