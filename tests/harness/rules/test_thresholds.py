"""Each rule at its threshold: one case triggers it, its neighbour on the sound side does not."""

from __future__ import annotations

import numpy as np
import pytest
from rule_cases import ALLOWED, CASES, left, listing, odds, of_scheme, row, witness

from harness.rules import RULES


@pytest.mark.parametrize("id", CASES)
def test_the_case_triggers_the_rule_and_its_neighbour_does_not(id: str) -> None:
    said = [f for f in CASES[id].trigger() if f.id == id]
    assert len(said) == 1
    assert said[0].severity in RULES[id].severities
    assert id not in {f.id for f in CASES[id].neighbour()}


def test_attacks_share_the_level_ofodds() -> None:
    """What one attack may show by itself is too little among a thousand."""
    hits = next(k for k in range(1, 20) if odds(k))
    assert not odds(hits, tests=1000)


def test_at_most_one_source_is_named_and_it_is_one_that_surely_leaves_too_little() -> None:
    """The least figure of all may be the vaguest."""
    sure = row("min-entropy", 5.0, 4.9, 5.1, method="average-given-helper-independent-symbols")
    vague = row("min-entropy", 3.0, 0.0, 12.0, method="average-given-helper-markov")
    [said] = of_scheme([vague, sure])
    assert said.details == {"bits": 5.0}
    [said] = of_scheme([row("min-entropy", 4.0, 3.9, 4.1, method="average-given-helper-markov"), sure])
    assert said.details == {"bits": 4.0}
    assert not of_scheme([vague])


def test_what_a_small_sample_takes_from_the_figure_is_not_held_against_the_scheme() -> None:
    [said] = left(0.001)
    method = "average-given-helper-independent-symbols"
    close = row("min-entropy", said.details["bits"], 0.0, said.details["bits"] + 1, method=method)
    assert not of_scheme([close], understated=0.01)
    assert of_scheme([close], understated=0.0)


def test_one_person_leaves_no_interval_and_no_finding() -> None:
    alone = row("min-entropy", 1.0, 0.5, 1.5, method="average-given-helper-markov", subjects=1)
    assert not of_scheme([alone])


def test_a_witness_is_constant_only_where_no_chance_makes_it_so() -> None:
    # the standard's limit is 0 bits for a few symbols that are not all alike
    assert not witness(3, attempts=1)
    assert not witness(0, attempts=3)  # 36 bits of keys
    assert [f.id for f in witness(0, attempts=4)] == ["witness-constant"]


@pytest.mark.parametrize(("bits", "severity"), [(19.9, "high"), (20.0, "medium"), (64.0, "low")])
def test_trials_weigh_by_what_can_be_done(bits: float, severity: str) -> None:
    [said] = listing(bits, key_bits=128)
    assert said.severity == severity


def test_p_values_at_the_level_itself_count() -> None:
    assert of_scheme([row("randomness", ALLOWED, ALLOWED, ALLOWED, unit="p-value", method="runs")])
    assert not of_scheme([row("randomness", np.nextafter(ALLOWED, 1), 0, 1, unit="p-value", method="runs")])
