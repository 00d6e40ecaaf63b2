"""One case per outcome and rule, each beside a neighbour that must differ."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from harness.claims.grounds import claimed_budgets
from harness.claims.judging import judge
from harness.claims.reading import effective
from harness.errors import UsageError
from harness.results import PerSubject

AT_ONE = 'measure = "success-odds"\nbudget = 1\n'
Make = Callable[..., Any]


def test_counted_odds_below_the_threshold_withstand_and_never_show(judged: Make, counted: Make) -> None:
    found = judged(AT_ONE + "at_most = 0.05", counted(0))
    assert found.outcome == "withstood"
    assert found.supports[0].upper < 0.05


def test_the_same_odds_as_an_estimate_that_bounds_would_show(judged: Make, counted: Make) -> None:
    assert judged(AT_ONE + "at_most = 0.05", counted(0, side="attacker-at-most")).outcome == "shown"


def test_odds_beyond_the_threshold_refute(judged: Make, counted: Make) -> None:
    found = judged(AT_ONE + "at_most = 0.05", counted(60))
    assert found.outcome == "refuted"
    assert found.supports[0].lower > 0.05


def test_a_bound_from_above_cannot_refute(judged: Make, counted: Make) -> None:
    found = judged(AT_ONE + "at_most = 0.05", counted(60, side="attacker-at-most"))
    assert found.outcome == "undecided"
    assert "cannot refute" in found.decides


def test_a_threshold_inside_the_interval_is_undecided(judged: Make, counted: Make) -> None:
    found = judged(AT_ONE + "at_most = 0.05", counted(12))
    assert found.outcome == "undecided"
    assert "people in all" in found.decides


def test_agreement_is_shown_by_the_limit_that_must_hold(judged: Make, counted: Make) -> None:
    row = counted(295, attack=None, measure="key-agreement", budget=None, side="estimate")
    for threshold, outcome in ((0.9, "shown"), (0.975, "undecided"), (1.0, "refuted")):
        text = f'measure = "key-agreement"\nat_least = {threshold}'
        assert judged(text, row).outcome == outcome


def test_a_threshold_that_equals_the_limit_is_kept(judged: Make, counted: Make) -> None:
    row = counted(0)
    assert judged(AT_ONE + f"at_most = {row.high!r}", row).outcome == "withstood"
    assert judged(AT_ONE + f"at_most = {row.high - 1e-12!r}", row).outcome == "undecided"


@pytest.mark.parametrize("evidence", ["modelled", "assumed"])
def test_what_is_modelled_withstands_at_most(judged: Make, figure: Make, evidence: str) -> None:
    text = 'measure = "min-entropy"\nunit = "bit"\nat_least = 100'
    fields = {"method": "average-given-helper-independent-symbols", "level": 0.95}
    assert (
        judged(text, figure("min-entropy", 120, 110, 128, evidence=evidence, **fields)).outcome
        == "withstood"
    )
    assert judged(text, figure("min-entropy", 120, 110, 128, **fields)).outcome == "shown"


def test_exact_figures_show_or_refute_without_an_interval(judged: Make, figure: Make) -> None:
    row = figure("public-bits", 4.0, 4.0, 4.0, evidence="exact", unit="bit/bit", method="helper-arrays")
    assert judged('measure = "public-bits"\nat_most = 4', row).outcome == "shown"
    found = judged('measure = "public-bits"\nat_most = 3.9', row)
    assert found.outcome == "refuted"
    assert "exactly 4" in found.text


def test_simulated_people_are_named_in_the_outcome(judged: Make, counted: Make) -> None:
    simulated = judged(AT_ONE + "at_most = 0.05", counted(0, data="simulated"), data="simulated")
    assert simulated.text.startswith("withstood, on simulated people")
    recorded = judged(AT_ONE + "at_most = 0.05", counted(0))
    assert "simulated" not in recorded.text


def test_an_unmeasured_attack_leaves_the_claim_untested(judged: Make, counted: Make, missing: Make) -> None:
    rows = counted(0), missing("camera")
    found = judged(AT_ONE + "at_most = 0.05", *rows)
    assert found.outcome == "untested"
    assert "no such role" in found.text
    only = judged(AT_ONE + 'attack = "mimicry"\nat_most = 0.05', *rows)
    assert only.outcome == "withstood"


def test_refuted_outranks_untested(judged: Make, counted: Make, missing: Make) -> None:
    found = judged(AT_ONE + "at_most = 0.05", counted(60), missing("camera"))
    assert found.outcome == "refuted"


def test_an_attack_of_the_claim_that_was_not_run_is_untested(judged: Make, counted: Make) -> None:
    assert judged(AT_ONE + 'attack = "relay"\nat_most = 0.05', counted(0)).outcome == "untested"


def test_evidence_that_is_not_accepted_is_none(judged: Make, counted: Make) -> None:
    text = AT_ONE + "at_most = 0.05\n"
    assert judged(text + 'evidence = ["exact", "modelled"]', counted(0)).outcome == "untested"
    assert judged(text + 'evidence = ["counted"]', counted(0)).outcome == "withstood"


def test_the_worst_attack_decides(judged: Make, counted: Make) -> None:
    calm, bad = counted(0), counted(60, attack="body-site")
    assert judged(AT_ONE + "at_most = 0.05", calm, bad).outcome == "refuted"
    assert judged(AT_ONE + 'attack = "mimicry"\nat_most = 0.05', calm, bad).outcome == "withstood"


def test_many_attacks_share_the_level_of_refuting(judged: Make, counted: Make) -> None:
    bad = counted(28, attack="body-site")
    text = AT_ONE + "at_most = 0.05"
    alone = judged(text, bad)
    assert alone.outcome == "refuted"
    assert alone.supports[0].breaks_at == pytest.approx(0.95)
    among = judged(text, bad, *(counted(0, attack=f"a{i}") for i in range(9)))
    assert among.outcome == "undecided"
    assert among.supports[0].breaks_at == pytest.approx(0.995)


def test_a_combination_is_found_in_any_order(judged: Make, counted: Make) -> None:
    row = counted(0, attack="mimicry+replay")
    text = AT_ONE + 'attack = "replay+mimicry"\nat_most = 0.05'
    found = judged(text, row, counted(0), counted(0, attack="replay"))
    assert found.outcome == "withstood"


SCOPED = '[[out_of_scope]]\nthreat = "body-site"\nreason = "the sleeve is closed"'


def test_what_is_out_of_scope_does_not_count_and_is_named(judged: Make, counted: Make) -> None:
    bad, both = counted(60, attack="body-site"), counted(60, attack="body-site+mimicry")
    found = judged(AT_ONE + "at_most = 0.05", counted(0), bad, both, more=SCOPED)
    assert found.outcome == "withstood"
    assert found.left_out == ("body-site: out of scope", "body-site+mimicry: out of scope")
    assert judged(AT_ONE + "at_most = 0.05", counted(0), bad, both).outcome == "refuted"


def test_a_budget_between_takes_the_larger_for_keeping_and_the_smaller_for_refuting(
    judged: Make, counted: Make
) -> None:
    text = 'measure = "success-odds"\nbudget = 50\nat_most = 0.05'
    kept = judged(text, counted(0), counted(0, budget=100))
    assert kept.outcome == "withstood"
    assert [(u.role, u.row.budget) for u in kept.supports[0].rows] == [("holds", 100), ("breaks", 1)]
    assert "not measured at 50 guesses" in kept.text
    assert judged(text, counted(60), counted(60, budget=100)).outcome == "refuted"
    # beyond at the larger budget alone says nothing of the smaller one
    assert judged(text, counted(0), counted(60, budget=100)).outcome == "undecided"


def test_an_off_line_budget_beside_an_on_line_one_is_said(judged: Make, counted: Make) -> None:
    text = 'measure = "success-odds"\nbudget = 5000\nat_most = 0.05'
    found = judged(text, counted(0, budget=100), counted(0, budget=2**20))
    assert "trials made beforehand" in found.text


def test_no_larger_budget_keeps_nothing(judged: Make, counted: Make) -> None:
    text = 'measure = "success-odds"\nbudget = "2^80"\nat_most = 0.05'
    found = judged(text, counted(0, budget=2**64))
    assert found.outcome == "undecided"
    assert "one beyond it" in found.decides


FRESH = '[use]\nkind = "password-authenticated"\nkey = "fresh"\nsessions = 10'
LASTING = '[use]\nkind = "commit-open"\nkey = "lasting"\nsessions = 10\ntries_per_session = 10'
IN_USE = 'measure = "success-odds"\nbudget = "use"\n'


def test_fresh_keys_give_a_chance_each(judged: Make, counted: Make) -> None:
    row = counted(0)
    found = judged(IN_USE + "at_most = 0.2", row, more=FRESH)
    assert found.outcome == "withstood"
    assert found.supports[0].upper == pytest.approx(1 - (1 - row.high) ** 10)
    assert judged(IN_USE + "at_most = 0.1", row, more=FRESH).outcome == "undecided"


def test_a_lasting_key_gets_all_tries_at_once(judged: Make, counted: Make) -> None:
    rows = counted(60), counted(60, budget=10), counted(0, budget=100)
    assert judged(IN_USE + "at_most = 0.05", *rows, more=LASTING).outcome == "withstood"


def test_an_undeclared_use_is_judged_off_line(judged: Make, counted: Make) -> None:
    rows = counted(0), counted(60, budget=2**64)
    found = judged(IN_USE + "at_most = 0.05", *rows)
    assert found.outcome == "refuted"
    assert found.supports[0].rows[0].row.budget == 2**64
    assert judged('measure = "success-odds"\nat_most = 0.05', *rows).outcome == "refuted"


def test_weak_people_bound_lifetime_odds_where_sessions_are_enough(
    judged: Make, counted: Make, figure: Make
) -> None:
    row = counted(30)  # .1 of attempts, but every second person falls once
    weak = figure(
        "weak-people", 0.5, 0.39, 0.61, attack="mimicry", budget=1, side="attacker-at-least",
        method="subject-unit", subjects=60, attempts=300,
    )  # fmt: skip
    each = [
        PerSubject(
            scheme="s", attack="mimicry", measure="success-odds", budget=1, subject=i, value=0.1, attempts=5
        )
        for i in range(60)
    ]
    text = IN_USE + "at_most = 0.3"
    assert judged(text, row, weak, per_subject=each, more=FRESH).outcome == "refuted"
    few = FRESH.replace("sessions = 10", "sessions = 4")
    assert judged(text, row, weak, per_subject=each, more=few).outcome == "undecided"
    hands = counted(30, attackers=8)
    assert judged(text, hands, weak, per_subject=each, more=FRESH).outcome == "undecided"


def test_key_rank_points_the_other_way(judged: Make, figure: Make) -> None:
    row = figure(
        "key-rank", 40, 30, 50, attack="mimicry", unit="log2", side="attacker-at-least", level=0.95,
        method="enumerated-blocks",
    )  # fmt: skip
    for threshold, outcome in ((25, "withstood"), (40, "undecided"), (60, "refuted")):
        assert judged(f'measure = "key-rank"\nat_least = {threshold}', row).outcome == outcome


def test_a_lower_bound_of_entropy_shows_but_does_not_refute(judged: Make, figure: Make) -> None:
    row = figure("min-entropy", 80, 80, 90, side="defender-at-least", method="bound", level=0.99)
    text = 'measure = "min-entropy"\nunit = "bit"\nat_least = '
    assert judged(text + "70", row).outcome == "shown"
    assert judged(text + "100", row).outcome == "undecided"


def test_an_upper_bound_of_entropy_cannot_show(judged: Make, figure: Make) -> None:
    row = figure(
        "min-entropy", 1.8, 1.8, 1.9, side="defender-at-most", method="most-common-value", level=0.99,
        unit="bit/symbol",
    )  # fmt: skip
    assert judged('measure = "min-entropy"\nunit = "bit/symbol"\nat_least = 1', row).outcome == "withstood"


def test_a_test_refutes_at_its_share_of_the_level_and_never_shows(judged: Make, figure: Make) -> None:
    def rows(p: float, others: int = 0) -> list[Any]:
        fields = {"unit": "p-value", "level": 0.95, "method": "within-subject-permutation"}
        more = [figure("leakage-test", 0.6, 0.6, 0.6, attack=f"a{i}", **fields) for i in range(others)]
        return [figure("leakage-test", p, p, p, attack="mimicry", **fields), *more]

    text = 'measure = "leakage-test"\nat_least = 0.05'
    assert judged(text, *rows(0.04)).outcome == "refuted"
    assert judged(text, *rows(0.04, others=1)).outcome == "undecided"
    assert judged(text, *rows(0.05)).outcome == "withstood"


def test_a_measure_without_meaning_for_an_attack_is_left_out(
    judged: Make, figure: Make, missing: Make
) -> None:
    row = figure(
        "mutual-information", 3, 2, float("nan"), attack="mimicry", side="attacker-at-least",
        method="held-out-log-score", level=0.95,
    )  # fmt: skip
    none = missing("population", "mutual-information", "not-applicable")
    text = 'measure = "mutual-information"\nunit = "bit"\nat_most = 1'
    found = judged(text, row, none)
    assert found.outcome == "refuted"
    assert found.left_out == ("population: no such role",)
    assert judged(text, none).outcome == "untested"


def test_numbers_that_no_estimator_gives_are_no_evidence(judged: Make, figure: Make) -> None:
    for value, low, high in ((0.5, 0.6, 0.4), (1.5, 1.4, 1.6)):
        row = figure("key-agreement", value, low, high, method="design-effect")
        assert judged('measure = "key-agreement"\nat_least = 0.1', row).outcome == "untested"


def test_each_scheme_is_judged_unless_one_is_named(claims: Make, result: Make, counted: Make) -> None:
    audit = result(counted(0), counted(60, scheme="t"))
    both = judge(claims(AT_ONE + "at_most = 0.05"), audit)
    assert [(j.scheme, j.outcome) for j in both.judgements] == [("s", "withstood"), ("t", "refuted")]
    one = judge(claims(AT_ONE + 'scheme = "t"\nat_most = 0.05'), audit)
    assert [j.scheme for j in one.judgements] == ["t"]
    with pytest.raises(UsageError, match="`scheme` of claim it must be audited, got 'u'"):
        judge(claims(AT_ONE + 'scheme = "u"\nat_most = 0.05'), audit)


def test_every_method_of_an_attack_is_a_ground_of_its_own(
    judged: Make, counted: Make, figure: Make
) -> None:
    exact = figure(
        "success-odds", 0.3, 0.3, 0.3, attack="mimicry", budget=1, evidence="exact",
        side="attacker-at-least", method="enumerated",
    )  # fmt: skip
    text = AT_ONE + "at_most = 0.05"
    assert judged(text, counted(0), exact).outcome == "refuted"
    assert judged(text, exact, counted(0)).outcome == "refuted"
    assert judged(text + '\nmethod = "design-effect"', exact, counted(0)).outcome == "withstood"


def test_budgets_that_claims_ask_for(claims: Make) -> None:
    head = 'presets = ["twenty-volunteers"]'
    found = effective(claims(IN_USE + "at_most = 0.05", LASTING, head))
    assert claimed_budgets(found) == [1, 100]
    assert claimed_budgets(claims('measure = "time"\nat_most = 3')) == []
