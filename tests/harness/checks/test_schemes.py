"""Every check of schemes bites the scheme that breaks its promise, and no sound one."""

from __future__ import annotations

from typing import Any

import pytest
from contract_breakers.broken_schemes import BROKEN, broken_scheme
from contract_breakers.sound_schemes import SOUND

from fixtures.controls import Channel
from harness import check_scheme
from harness.checks import checks_of

NAMES = [check.name for check in checks_of("scheme")]
COSTLY = {
    "fresh-process-agrees",
    "any-capture-answered",
    "any-witness-agrees",
    "helper-noise-stays-in-its-row",
}


def bitten(scheme: Any, people: Channel, only: list[str]) -> dict[str, Any]:
    outcomes = check_scheme(scheme, corpus=people, only=only)
    return {outcome.check: outcome for outcome in outcomes if outcome.status == "broken"}


def test_every_check_has_a_scheme_that_breaks_it() -> None:
    assert list(BROKEN) == NAMES


@pytest.mark.parametrize("kind", SOUND)
def test_a_sound_scheme_keeps_every_promise(kind: Any, few: Channel) -> None:
    outcomes = check_scheme(kind(), corpus=few)
    assert [o.check for o in outcomes] == NAMES
    assert {o.status for o in outcomes} == {"held", "not-applicable"}, [
        o.sentence for o in outcomes if o.status not in ("held", "not-applicable")
    ]


def test_the_sound_schemes_have_every_optional_part_between_them(few: Channel) -> None:
    held = {
        o.check
        for kind in SOUND
        for o in check_scheme(kind(), corpus=few, only=few_only())
        if o.status == "held"
    }
    assert held == set(few_only())


def few_only() -> list[str]:
    return [name for name in NAMES if name not in COSTLY]


@pytest.mark.parametrize("name", NAMES)
def test_a_broken_scheme_is_told_which_promise(name: str, few: Channel) -> None:
    also = BROKEN[name][1]
    only = [n for n in NAMES if n not in COSTLY or n in (name, *also)]
    found = bitten(broken_scheme(name), few, only)
    assert set(found) == {name, *also}
    outcome = found[name]
    for told in (name, outcome.promise, str(outcome.where), outcome.expected, outcome.got):
        assert told
        assert told in outcome.sentence
    assert "\n" not in outcome.sentence.replace("broken\nname", "")
    assert outcome.where.member in outcome.sentence


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_no_other_check_bites(name: str, few: Channel) -> None:
    assert set(bitten(broken_scheme(name), few, [])) == {name, *BROKEN[name][1]}


def test_the_row_is_named(few: Channel) -> None:
    found = bitten(broken_scheme("failures-not-accepted"), few, ["failures-not-accepted"])
    assert found["failures-not-accepted"].where.row == 0
    assert found["failures-not-accepted"].where.field == "accepted"


def test_a_counter_example_is_short(few: Channel) -> None:
    found = bitten(broken_scheme("any-capture-answered"), few, ["any-capture-answered"])
    assert found["any-capture-answered"].got.endswith("after spike at sample 0")
    found = bitten(broken_scheme("any-witness-agrees"), few, ["any-witness-agrees"])
    assert found["any-witness-agrees"].got.startswith("False, for symbols [0 0 0")


@pytest.mark.parametrize("name", ["any-capture-answered", "any-witness-agrees", "same-stream-same-output"])
def test_the_same_seed_finds_the_same(name: str, few: Channel) -> None:
    one, two = (
        check_scheme(broken_scheme("any-capture-answered"), corpus=few, seed=3, only=[name])
        for _ in range(2)
    )
    assert one == two


def test_a_scheme_whose_signal_nobody_has_is_checked_on_noise() -> None:
    outcomes = check_scheme(SOUND[0](), only=["noise-free-agrees", "one-layout", "corrects-as-stated"])
    assert [o.status for o in outcomes] == ["held"] * 3


def test_what_is_never_acquired_could_not_be_checked(few: Channel) -> None:
    class Deaf(SOUND[1]):
        def witness(self, capture: Any) -> Any:
            found = super().witness(capture)
            return type(found)(
                symbols=found.symbols, alphabet=2, acquired=found.acquired & False, features=None
            )

    outcomes = check_scheme(Deaf(), corpus=few, only=["noise-free-agrees"])
    assert outcomes[0].status == "could-not-run"
    assert "give a corpus whose captures are long enough" in outcomes[0].reason


def test_a_corpus_without_the_signal_could_not_be_used() -> None:
    outcomes = check_scheme(SOUND[1](), corpus="cargo-bike", only=["noise-free-agrees"])
    assert outcomes[0].status == "could-not-run"
    assert "give a corpus that does" in outcomes[0].reason
