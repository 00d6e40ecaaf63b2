"""Every check of attacks bites the attack that breaks its promise, and no sound one."""

from __future__ import annotations

import pytest
from contract_breakers.broken_attacks import BROKEN, broken_attack
from contract_breakers.sound_attacks import SOUND
from contract_breakers.sound_schemes import Rounds
from contract_breakers.sound_schemes import Sound as SoundScheme

from fixtures.controls import Channel
from harness import check_attack
from harness.checks import checks_of
from harness.errors import UsageError

NAMES = [check.name for check in checks_of("attack")]


def test_every_check_has_an_attack_that_breaks_it() -> None:
    assert list(BROKEN) == NAMES


def test_sound_attacks_keep_every_promise(few: Channel) -> None:
    held = set()
    for kind in SOUND:
        outcomes = check_attack(kind(), scheme=SoundScheme(), corpus=few)
        assert [o.check for o in outcomes] == NAMES
        assert {o.status for o in outcomes} == {"held", "not-applicable"}, kind
        held |= {o.check for o in outcomes if o.status == "held"}
    assert held == set(NAMES) - {"potential-rated"}


@pytest.mark.parametrize("name", NAMES)
def test_a_broken_attack_is_told_which_promise(name: str, few: Channel) -> None:
    outcomes = check_attack(broken_attack(name), scheme=SoundScheme(), corpus=few)
    found = {o.check: o for o in outcomes if o.status == "broken"}
    assert set(found) == {name, *BROKEN[name][1]}
    outcome = found[name]
    for told in (name, outcome.promise, str(outcome.where), outcome.expected, outcome.got):
        assert told
        assert told in outcome.sentence


def test_a_corpus_that_cannot_show_what_is_asked_for_is_said(few: Channel) -> None:
    class Mimic(SOUND[0]):
        sees = frozenset({"mimic"})

    outcomes = check_attack(Mimic(), scheme=SoundScheme(), corpus=few, only=["attack-answers"])
    assert outcomes[0].status == "could-not-run"
    assert "holds no capture of role 'mimic'" in outcomes[0].reason


def test_without_a_scheme_that_reads_the_corpus_nothing_starts(few: Channel) -> None:
    outcomes = check_attack(SOUND[0](), corpus=few, only=["attack-answers"])
    assert outcomes[0].status == "could-not-run"
    assert "no registered scheme reads what channel holds" in outcomes[0].reason


def test_rounds_have_no_device_to_ask(few: Channel) -> None:
    asker = SOUND[3]()
    outcomes = check_attack(asker, scheme=Rounds(), corpus=few, only=["query-budget-kept"])
    assert outcomes[0].status == "not-applicable"


def test_a_single_attempt_is_no_batch() -> None:
    alone = Channel(subjects=2, attempts=1, errors=(("device-b", 0.0), ("remote", 0.1)))
    outcomes = check_attack(SOUND[0](), scheme=SoundScheme(), corpus=alone, only=["rows-stand-alone"])
    assert outcomes[0].status == "could-not-run"


def test_an_unknown_scheme_is_refused() -> None:
    outcomes = check_attack(SOUND[0](), scheme="interval-grey", only=["attack-answers"])
    assert "did you mean 'interval-gray'?" in outcomes[0].reason
    with pytest.raises(UsageError, match="`seed` must be at least 0, got -1"):
        check_attack(SOUND[0](), seed=-1)
