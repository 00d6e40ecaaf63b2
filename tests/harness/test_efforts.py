"""What adversaries ask for: their proposals, claims before them, and the hardest step of each part."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from attacks.mimicry import Mimicry
from attacks.potential import PROPOSED
from harness import audit
from harness.contracts import Belief
from harness.efforts import efforts, proposal
from harness.errors import ContractError
from harness.plugins import names, resolve
from harness.potential import rating


def test_every_built_in_attack_proposes_a_rating_with_a_reason() -> None:
    for name in names("attack"):
        steps = proposal(resolve("attack", name).value)
        assert steps is not None, name
        assert steps == PROPOSED[name]
        assert len(steps["rationale"]) > 30
        rating(**steps)


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({"expertise": "layman"}, "a mapping of"),
        ("easy", "str"),
        ({**PROPOSED["mimicry"], "window": "wide"}, "window"),
    ],
)
def test_ill_made_proposals_are_refused(stated, said) -> None:
    @dataclass
    class Odd:
        name: str = "odd"

    odd = Odd()
    odd.potential = stated
    with pytest.raises(ContractError, match=said):
        proposal(odd)


def test_a_combination_asks_for_the_hardest_of_each_factor() -> None:
    result = audit(
        "interval-gray", attacks=["mimicry", "body-site", "mimicry+body-site"], subjects=3, attempts=2
    )
    found = {e.attack: e for e in efforts(result)}
    both = found["mimicry+body-site"]
    assert both.source == "hardest of its parts"
    assert both.factors["window"] == "difficult"
    assert both.points >= max(found[n].points for n in ("mimicry", "body-site"))


CLAIMS = """
version = 1
[[claim]]
id = "odds"
measure = "success-odds"
attack = "mimicry"
budget = 1
at_most = 0.5
[[potential]]
attack = "mimicry"
elapsed_time = "6-months"
expertise = "expert"
knowledge = "public"
window = "easy"
equipment = "standard"
rationale = "long practice"
"""


def test_claims_override_what_an_attack_proposes(tmp_path) -> None:
    file = tmp_path / "claims.toml"
    file.write_text(CLAIMS, encoding="utf-8")
    result = audit("interval-gray", attacks=["mimicry"], claims=file, subjects=3, attempts=2)
    (rated,) = efforts(result)
    assert (rated.source, rated.rationale) == ("claims file", "long practice")
    assert rated.points > rating(**PROPOSED["mimicry"])[0]


def test_an_attack_without_a_proposal_is_not_rated() -> None:
    @dataclass(frozen=True)
    class Silent:
        name: str = "silent"
        sees: frozenset = frozenset({"mimic"})

        def believe(self, view, *, rng) -> Belief:
            return replace(Mimicry()).believe(view, rng=rng)

    result = audit("interval-gray", attacks=[Silent(), "mimicry"], subjects=3, attempts=2)
    assert [e.attack for e in efforts(result)] == ["mimicry"]
