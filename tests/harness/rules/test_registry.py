"""No finding without a rule, no rule without a proof, and no test outside the level."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from rule_cases import AUDITED, CASES

import harness
from harness.detectors import SLUGS
from harness.rules import BLIND, FAMILY_LEVEL, FLAGGED, KINDS, RULES, SHARE, Rule

MAKERS = ("Finding", "say", "note")


def named_ids() -> Iterator[str]:
    """What every call in the package that makes a finding calls it."""
    for path in Path(harness.__file__).parent.rglob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        names = {
            target.id: node.value.value
            for node in tree.body
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
            for target in node.targets
            if isinstance(target, ast.Name)
        }
        for call in ast.walk(tree):
            if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Name)):
                continue
            if call.func.id not in MAKERS:
                continue
            id = next((k.value for k in call.keywords if k.arg == "id"), None) or call.args[0]
            if isinstance(id, ast.JoinedStr):
                yield from (BLIND + slug for slug in SLUGS)
            elif isinstance(id, ast.Constant):
                yield str(id.value)
            elif isinstance(id, ast.Name) and id.id != "id":  # `id` is what a maker was handed
                yield str(names[id.id])


def test_every_finding_that_the_package_makes_has_a_rule_and_every_rule_a_place() -> None:
    assert set(named_ids()) == set(RULES)


def test_every_rule_is_proved() -> None:
    assert set(CASES) | AUDITED == set(RULES)


def test_every_detector_is_a_rule() -> None:
    assert {id.removeprefix(BLIND) for id in RULES if id.startswith(BLIND)} == set(SLUGS)


def test_seven_kinds_of_tests_share_the_promise() -> None:
    assert len(KINDS) == 7
    assert pytest.approx(FAMILY_LEVEL) == SHARE * len(KINDS)
    assert all(
        bool(rule.kind) != bool(rule.certain) for rule in RULES.values() if FLAGGED & {*rule.severities}
    )


def test_every_rule_says_what_it_says_and_what_to_do() -> None:
    assert all(rule.says.endswith(".") for rule in RULES.values())
    # what helps against an adversary depends on the adversary
    assert {id for id, rule in RULES.items() if not rule.remedy} == {
        "odds-above-promise",
        "view-tells-attempts-apart",
    }


@pytest.mark.parametrize(
    ("severities", "kind", "certain"),
    [
        (("high",), "", ""),
        (("high",), "odds", "for sure"),
        (("note",), "odds", ""),
        (("low", "note"), "", "for sure"),
        ((), "", ""),
        (("grave",), "odds", ""),
    ],
)
def test_a_rule_that_could_cry_wolf_unnoticed_is_refused(
    severities: tuple[str, ...], kind: str, certain: str
) -> None:
    with pytest.raises(ValueError, match=r"severities|what may flag"):
        Rule(id="r", severities=severities, says="It says.", kind=kind, certain=certain)
