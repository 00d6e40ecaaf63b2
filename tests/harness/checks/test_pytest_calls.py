"""`scheme_checks` and `attack_checks` in test suites of their own."""

from __future__ import annotations

import pytest

pytest_plugins = ["pytester"]

SUITE = """
import pytest
from contract_breakers.broken_schemes import AcceptsTheLost
from contract_breakers.sound_attacks import Sound as Attack
from contract_breakers.sound_schemes import Plain, Sound
from fixtures.controls import Channel
from harness.checks import attack_checks, scheme_checks

PEOPLE = Channel(subjects=4, attempts=3, errors=(("device-b", 0.0), ("remote", 0.1)))

@pytest.mark.parametrize("check", {checks}, ids=str)
def test_contract(check):
    check()
"""
QUIET = ("-p", "no:cacheprovider", "-p", "no:xdist", "-v", "-rxs")


def outcome(pytester: pytest.Pytester, checks: str) -> tuple[dict[str, int], str]:
    pytester.makepyfile(test_scheme=SUITE.format(checks=checks))
    result = pytester.runpytest_inprocess(*QUIET)
    return result.parseoutcomes(), result.stdout.str()


@pytest.fixture(autouse=True)
def without_plugins(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTEST_DISABLE_PLUGIN_AUTOLOAD", "1")


def test_a_sound_scheme_passes_and_what_does_not_apply_is_skipped(pytester: pytest.Pytester) -> None:
    found, text = outcome(pytester, "scheme_checks(Plain(), corpus=PEOPLE)")
    assert set(found) == {"passed", "skipped"}
    assert found["passed"] > 20
    assert "test_contract[noise-free-agrees] PASSED" in text


def test_a_sound_attack_passes(pytester: pytest.Pytester) -> None:
    found, text = outcome(pytester, "attack_checks(Attack(), scheme=Sound(), corpus=PEOPLE)")
    assert set(found) == {"passed", "skipped"}
    assert "test_contract[rows-stand-alone] PASSED" in text


def test_a_breach_fails_one_test_in_a_sentence(pytester: pytest.Pytester) -> None:
    found, text = outcome(pytester, "scheme_checks(AcceptsTheLost(), corpus=PEOPLE)")
    assert found["failed"] == 1
    assert "sound breaks failures-not-accepted" in text
    assert "Traceback" not in text
    assert "one_outcome" not in text


def test_a_known_failure_is_expected(pytester: pytest.Pytester) -> None:
    known = "{'failures-not-accepted': 'by design'}"
    found, _ = outcome(pytester, f"scheme_checks(AcceptsTheLost(), corpus=PEOPLE, known={known})")
    assert found["xfailed"] == 1
    assert "failed" not in found


def test_a_known_failure_that_does_not_fail_fails(pytester: pytest.Pytester) -> None:
    known = "{'failures-not-accepted': 'by design'}"
    found, text = outcome(pytester, f"scheme_checks(Sound(), corpus=PEOPLE, known={known})")
    assert found["failed"] == 1
    assert "take the declaration away" in text
