"""What a corpus cannot decide, and what would decide what it left open."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.stats import binom

from harness.claims.foresight import effective_sample, hidden_leak, smallest_odds, undecidable
from harness.estimators.proportion import clustered_rate

Make = Callable[..., Any]
MANY = {"subjects": 100, "attempts": 1000}
AT_ONE = 'measure = "success-odds"\nbudget = 1\n'


@pytest.mark.parametrize(("people", "each", "hands"), [(20, 10, 0), (60, 10, 8), (7, 1, 0), (30, 4, 30)])
def test_the_smallest_odds_are_the_limit_of_no_success(people: int, each: int, hands: int) -> None:
    none = np.zeros(people * each)
    attacker = np.arange(len(none)) % hands if hands else None
    rate = clustered_rate(
        none, none, np.repeat(np.arange(people), each), side="attacker-at-least", attacker=attacker
    )
    found = smallest_odds(subjects=people, attempts=people * each, attackers=hands)
    assert found == pytest.approx(rate.high, rel=1e-9)


def test_uneven_corpora_are_never_worth_more_than_even_ones() -> None:
    subject = np.repeat(np.arange(4), [1, 2, 3, 14])
    none = np.zeros(20)
    rate = clustered_rate(none, none, subject, side="attacker-at-least")
    assert smallest_odds(subjects=4, attempts=20) < rate.high


def test_one_person_is_worth_at_most_five_attempts() -> None:
    assert effective_sample(subjects=20, attempts=20 * 10**6) == pytest.approx(100, rel=1e-4)
    with pytest.raises(ValueError, match="at least `subjects`"):
        effective_sample(subjects=3, attempts=2)


def detectable(trials: int, power: float) -> tuple[float, float]:
    """Leaks that the exact one-sided .05 test sees with this power, one count below its cut and at it."""

    def leak(cut: int) -> float:
        low, high = 0.5, 1.0
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (low, middle) if binom.sf(cut - 1, trials, middle) >= power else (middle, high)
        return 1 + high * math.log2(high) + (1 - high) * math.log2(1 - high)

    cut = int(binom.isf(0.05, trials, 0.5)) + 1
    return leak(cut - 1), leak(cut)


# published beside these trials, for power .95 of a one-sided test at .05, to two digits
@pytest.mark.parametrize(("trials", "published"), [(300, 0.026), (1000, 0.0080), (5000, 0.0016)])
def test_the_hidden_leak_is_what_an_exact_test_would_miss(trials: int, published: float) -> None:
    per_bit, whole = hidden_leak(subjects=trials, attempts=trials, key_bits=100)
    below, above = detectable(trials, 0.95)
    assert below < per_bit < above  # between two neighbouring cuts of a test that counts
    digit = 10.0 ** (math.floor(math.log10(published)) - 1)
    assert abs(per_bit - published) <= 0.5 * digit + (above - below)
    assert whole == pytest.approx(100 * per_bit)


def test_a_tiny_corpus_could_hide_whole_bits() -> None:
    assert hidden_leak(subjects=2, attempts=2, key_bits=64) == (1.0, 64.0)


def test_people_hide_less_than_attempts_of_the_same() -> None:
    many = hidden_leak(subjects=300, attempts=300, key_bits=1)[0]
    same = hidden_leak(subjects=30, attempts=300, key_bits=1)[0]
    assert same == pytest.approx(many * (1 + 9 * 0.2))


def ids(claims: Any, **size: int) -> dict[str, str]:
    given = {"subjects": 20, "attempts": 200, "attackers": 0, "key_bits": 128, **size}
    return dict(undecidable(claims, **given))


@pytest.mark.parametrize(
    ("lines", "size"),
    [
        (AT_ONE + "at_most = 0.04", {}),
        (AT_ONE + "at_most = 0.05", {"attackers": 5}),
        (AT_ONE + "at_most = 0.1", {"key_bits": 3}),
        ('measure = "success-odds"\nbudget = "2^64"\nat_most = 0.1', {"key_bits": 60}),
        ('measure = "key-agreement"\nat_least = 0.96', {}),
        ('measure = "strangers-agreement"\nat_most = 0.04', {}),
        ('measure = "weak-people"\nat_most = 0.1', {}),
        ('measure = "mutual-information"\nunit = "bit"\nat_most = 100', {}),
        ('measure = "min-entropy"\nunit = "bit"\nat_least = 129', {}),
        ('measure = "bit-mismatch"\nat_most = 0.5', {"subjects": 1}),
        ('measure = "key-rank"\nat_least = 20', {"subjects": 5}),
        ('measure = "key-rank"\nat_least = 129', {}),
        ('measure = "key-rank"\nat_least = 20\nconfidence = 0.99', {}),
        ('measure = "guesses-for-odds"\nmethod = "at-1-percent"\nat_least = 20', {}),
        ('measure = "guesses-for-odds"\nmethod = "at-50-percent"\nat_least = 20\nconfidence = 0.99', {}),
    ],
)
def test_claims_that_no_outcome_could_meet_are_named(
    claims: Make, lines: str, size: dict[str, int]
) -> None:
    assert list(ids(claims(lines), **size)) == ["it"]


@pytest.mark.parametrize(
    ("lines", "size"),
    [
        (AT_ONE + "at_most = 0.042", {}),
        (AT_ONE + "at_most = 0.05", {}),
        (AT_ONE + 'attack = "helper-leak"\nat_most = 0.05', {"attackers": 5}),
        (AT_ONE + 'at_most = 0.04\nevidence = ["exact"]', {}),
        ('measure = "key-agreement"\nat_least = 0.95', {}),
        ('measure = "weak-people"\nat_most = 0.14', {}),
        ('measure = "min-entropy"\nunit = "bit"\nat_least = 128', {}),
        ('measure = "bit-mismatch"\nat_most = 0.5', {}),
        ('measure = "key-rank"\nat_least = 20', {"subjects": 6}),
        ('measure = "guesses-for-odds"\nmethod = "at-1-percent"\nat_least = 20', MANY),
        ('measure = "guesses-for-odds"\nmethod = "at-50-percent"\nat_least = 20', {}),
    ],
)  # fmt: skip
def test_their_neighbours_could_be_met(claims: Make, lines: str, size: dict[str, int]) -> None:
    assert ids(claims(lines), **size) == {}


def test_lifetimes_and_presets_count(claims: Make) -> None:
    fresh = '[use]\nkind = "commit-open"\nkey = "fresh"\nsessions = 10'
    text = 'measure = "success-odds"\nbudget = "use"\nat_most = 0.3'
    assert "over 10 keys" in ids(claims(text, fresh))["it"]
    assert ids(claims(text.replace("0.3", "0.35"), fresh)) == {}
    preset = claims(AT_ONE + "at_most = 0.2", head='presets = ["twenty-volunteers"]')
    assert list(ids(preset, subjects=15, attempts=150)) == ["twenty-volunteers.odds"]


def test_claims_about_another_scheme_are_passed_over(claims: Make) -> None:
    found = claims(AT_ONE + 'at_most = 0.01\nscheme = "t"')
    size = {"subjects": 20, "attempts": 200, "attackers": 0, "key_bits": 128}
    assert undecidable(found, **size, scheme="s") == []
    assert len(undecidable(found, **size, scheme="t")) == 1


def numbers(text: str) -> list[int]:
    return [int(n) for n in re.findall(r"\b(\d+) (?:people|attackers|attempts)", text)]


def test_the_people_asked_for_decide_and_one_fewer_do_not(judged: Make, counted: Make) -> None:
    text = AT_ONE + "at_most = 0.04"
    advice = judged(text, counted(0, people=12, each=10)).decides
    total = numbers(advice)[0]
    assert judged(text, counted(0, people=total, each=10)).outcome == "withstood"
    assert judged(text, counted(0, people=total - 1, each=10)).outcome == "undecided"
    assert "attempts of these 12 never will" in advice


def test_attempts_are_offered_where_they_would_do(judged: Make, counted: Make) -> None:
    text = AT_ONE + "at_most = 0.05"
    advice = judged(text, counted(0, people=20, each=4)).decides
    each = int(re.findall(r"or about (\d+) attempts of each", advice)[0])
    assert judged(text, counted(0, people=20, each=each)).outcome == "withstood"
    assert judged(text, counted(0, people=20, each=each - 1)).outcome == "undecided"


def test_attackers_are_asked_for_where_people_alone_do_not_help(judged: Make, counted: Make) -> None:
    row = counted(0, people=20, each=5, attackers=4)
    advice = judged(AT_ONE + "at_most = 0.05", row, attackers=4).decides
    people, hands = numbers(advice)[:2]
    assert "more people against the same attackers never will" in advice
    bigger = counted(0, people=people, each=5, attackers=hands)
    assert judged(AT_ONE + "at_most = 0.05", bigger, attackers=hands).outcome == "withstood"
    same = counted(0, people=4000, each=5, attackers=4)
    assert judged(AT_ONE + "at_most = 0.05", same, attackers=4).outcome == "undecided"


def test_more_people_refute_what_is_seen_beyond_the_threshold(judged: Make, counted: Make) -> None:
    row = counted(12, people=60, each=3)  # .067
    advice = judged(AT_ONE + "at_most = 0.05", row).decides
    total = numbers(advice)[0]
    assert total > 60
    bigger = counted(math.ceil(total * 3 / 15), people=total, each=3)
    assert judged(AT_ONE + "at_most = 0.05", bigger).outcome == "refuted"


def test_nothing_decides_at_the_threshold(judged: Make, counted: Make) -> None:
    row = counted(15, people=60, each=5)
    assert "nothing decides" in judged(AT_ONE + "at_most = 0.05", row).decides
    assert "nothing decides" in judged(AT_ONE + "at_most = 0", counted(0)).decides
    assert "people in all" in judged(AT_ONE + "at_most = 0.05", counted(14)).decides


def test_means_ask_for_people(judged: Make, figure: Make) -> None:
    row = figure("time", 10.0, 8.0, 12.0, unit="s", level=0.95, method="per-attempt")
    advice = judged('measure = "time"\nat_most = 11', row).decides
    total = numbers(advice)[0]
    # half width 2 at 20 people by t(19) = 2.093; it must come down to 1 one-sided at 95 %
    spread = 2 / 2.093024 * math.sqrt(20)
    assert total == pytest.approx((1.68 * spread / 1) ** 2, abs=2)
    assert judged('measure = "time"\nat_most = 11.8', row).outcome == "shown"


def test_a_measure_without_an_upper_limit_can_never_be_met(judged: Make, figure: Make) -> None:
    row = figure(
        "mutual-information", 0.5, 0.2, float("nan"), attack="mimicry", side="attacker-at-least",
        method="held-out-log-score", level=0.95,
    )  # fmt: skip
    found = judged('measure = "mutual-information"\nunit = "bit"\nat_most = 1', row)
    assert found.outcome == "undecided"
    assert "no size decides" in found.decides


def test_over_a_lifetime_a_gap_may_stay_that_no_size_closes(judged: Make, counted: Make) -> None:
    fresh = '[use]\nkind = "commit-open"\nkey = "fresh"\nsessions = 10'
    found = judged('measure = "success-odds"\nbudget = "use"\nat_most = 0.3', counted(30), more=fresh)
    assert found.outcome == "undecided"
    assert "lie between" in found.decides
