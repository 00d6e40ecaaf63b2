"""The fixture `keyassay_gate`, in test suites of its own."""

from __future__ import annotations

import dataclasses
import functools
import os
import re
import subprocess
import sys
import textwrap
from importlib.metadata import entry_points
from pathlib import Path

import pytest

from fixtures.controls import Channel, SignCommitment
from harness.auditing import audit
from harness.baseline import baseline_of
from harness.cli import pytest_plugin
from harness.results import Audit
from harness.threats import STANDARD_ADVERSARIES

pytest_plugins = ["pytester"]

QUIET = ("-p", "no:cacheprovider")
SUITE = """
from fixtures.controls import Channel, SignCommitment

PEOPLE = Channel(length=28, subjects=12, attempts=3, errors=(("device-b", 0.02), ("remote", 0.1)))
WORSE = Channel(length=28, subjects=12, attempts=3, errors=(("device-b", 0.02), ("remote", 0.0)))
SCHEME = SignCommitment(code="hamming-7-4", blocks=3)
AUDIT = {{"corpus": {people}, "attacks": ["helper-leak", "distant-sensor"]}}

def test_it(keyassay_gate):
    returned = keyassay_gate(SCHEME, **AUDIT, {arguments})
    print("came back with", returned)
"""
CLAIM = """
version = 1
[use]
kind = "password-authenticated"
key = "fresh"
tries_per_session = 1
sessions = 1
[[claim]]
id = "little-for-a-sensor"
measure = "success-odds"
attack = "distant-sensor"
budget = 1
at_most = {threshold}
"""


@pytest.fixture
def suite(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> pytest.Pytester:
    """A test suite in this process that has the fixture, whether or not it is registered here."""
    monkeypatch.setenv("PYTEST_DISABLE_PLUGIN_AUTOLOAD", "1")
    pytester.makeconftest(f"from {pytest_plugin.__name__} import keyassay_gate")
    return pytester


def outcome(suite: pytest.Pytester, arguments: str, people: str = "PEOPLE") -> tuple[dict[str, int], str]:
    """Outcomes of a suite of one test, and what pytest printed."""
    suite.makepyfile(test_scheme=SUITE.format(arguments=arguments, people=people))
    result = suite.runpytest_inprocess(*QUIET, "-s")
    return result.parseoutcomes(), result.stdout.str()


def write_claims(suite: pytest.Pytester, threshold: float, *, scope: bool = True) -> None:
    tried = ("distant-sensor", "helper-leak", "enumeration", "strangers")
    outside = [t for t in STANDARD_ADVERSARIES if t not in tried] if scope else []
    text = CLAIM.format(threshold=threshold)
    text += "".join(f'[[out_of_scope]]\nthreat = "{t}"\nreason = "not here"\n' for t in outside)
    Path(suite.path, "claims.toml").write_text(text, "utf-8")


def test_claims_that_hold_pass(suite: pytest.Pytester) -> None:
    write_claims(suite, 0.99)
    found, text = outcome(suite, 'claims="claims.toml"')
    assert found == {"passed": 1}
    assert "came back with None" in text


def test_a_refuted_claim_fails_with_its_line_and_no_traceback(suite: pytest.Pytester) -> None:
    write_claims(suite, 0.05)
    found, text = outcome(suite, 'claims="claims.toml"', people="WORSE")
    assert found == {"failed": 1}
    assert "error: claim little-for-a-sensor on sign-commitment: refuted" in text
    assert "came back" not in text
    assert "def gated" not in text
    assert "def test_it" not in text


def test_an_undecided_claim_is_no_pass(suite: pytest.Pytester) -> None:
    write_claims(suite, 0.5)
    found, text = outcome(suite, 'claims="claims.toml"')
    assert found == {"failed": 1}
    assert "warning: claim little-for-a-sensor on sign-commitment: undecided" in text


def test_an_open_threat_is_no_pass(suite: pytest.Pytester) -> None:
    write_claims(suite, 0.99, scope=False)
    found, text = outcome(suite, 'claims="claims.toml"')
    assert found == {"failed": 1}
    assert "warning: open threat camera: not tried" in text
    assert "refuted" not in text


@functools.cache
def first_version(blocks: int = 3) -> Audit:
    """The audit that the suite's own call replays, or that of a version with longer keys."""
    corpus = Channel(length=28, subjects=12, attempts=3, errors=(("device-b", 0.02), ("remote", 0.1)))
    made = SignCommitment(code="hamming-7-4", blocks=blocks)
    return audit(made, corpus=corpus, attacks=["helper-leak", "distant-sensor"])


def write_baseline(suite: pytest.Pytester, found: Audit, *, name: str = "baseline.json") -> None:
    Path(suite.path, name).write_text(baseline_of(found, reason="first version").text(), "utf-8")


def test_an_unchanged_scheme_passes(suite: pytest.Pytester) -> None:
    write_baseline(suite, first_version())
    found, text = outcome(suite, 'baseline="baseline.json"')
    assert found == {"passed": 1}
    assert "came back with Verdict(outcome='pass'" in text


def test_a_weaker_scheme_fails_with_the_verdict_and_no_traceback(suite: pytest.Pytester) -> None:
    write_baseline(suite, first_version(blocks=4))  # keys were longer then
    found, text = outcome(suite, 'baseline="baseline.json"')
    assert found == {"failed": 1}
    assert "FAIL: " in text
    assert "helper-leak key-rank" in text
    assert "came back" not in text
    assert "def gated" not in text


def test_a_change_that_few_people_cannot_tell_is_no_pass(suite: pytest.Pytester) -> None:
    # two people of twelve agreed half as often then: too few to call it better or worse
    moved = [
        dataclasses.replace(p, value=0.5 if p.subject % 6 == 0 else 1.0)
        if p.measure == "key-agreement"
        else p
        for p in first_version().per_subject
    ]
    write_baseline(suite, dataclasses.replace(first_version(), per_subject=moved))
    outcomes, text = outcome(suite, 'baseline="baseline.json"')
    assert outcomes == {"failed": 1}
    assert "UNDECIDED: " in text


def test_an_anchor_is_held_against_too(suite: pytest.Pytester) -> None:
    write_baseline(suite, first_version())
    write_baseline(suite, first_version(blocks=4), name="anchor.json")
    found, text = outcome(suite, 'baseline="baseline.json", anchor="anchor.json"')
    assert found == {"failed": 1}
    assert "(against the anchor)" in text


def test_margins_of_the_call_outrank_those_of_the_claims(suite: pytest.Pytester) -> None:
    write_baseline(suite, first_version(blocks=4))
    write_claims(suite, 0.99)
    claims = Path(suite.path, "claims.toml")
    claims.write_text(claims.read_text("utf-8") + "[margins]\nkey-rank = 7.0\n", "utf-8")
    text = outcome(suite, 'baseline="baseline.json", claims="claims.toml"')[1]
    assert re.search(r"^helper-leak key-rank .* 7\s*$", text, re.MULTILINE), "it passes at seven bits"
    text = outcome(suite, 'baseline="baseline.json", claims="claims.toml", margins={"key-rank": 0.25}')[1]
    assert "margin 0.25 bit" in text


def test_a_claim_is_judged_even_where_the_gate_passes(suite: pytest.Pytester) -> None:
    write_baseline(suite, first_version())
    write_claims(suite, 0.01)
    found, text = outcome(suite, 'baseline="baseline.json", claims="claims.toml"')
    assert found == {"failed": 1}
    assert "refuted" in text
    assert "FAIL: " not in text


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ("", "must be given a baseline or claims"),
        ('anchor="baseline.json", claims="claims.toml"', "an anchor only beside a baseline"),
        ('claims="nowhere.toml"', "nowhere.toml"),
        ('baseline="nowhere.json"', "nowhere.json"),
        ('baseline="broken.toml"', "broken.toml"),
        ('claims="claims.toml", margins={"luck": 1.0}', "luck"),
        ('claims="broken.toml"', "broken.toml"),
    ],
)
def test_a_slip_fails_in_one_sentence(suite: pytest.Pytester, arguments: str, said: str) -> None:
    write_claims(suite, 0.99)
    Path(suite.path, "broken.toml").write_text("[[", "utf-8")
    found, text = outcome(suite, arguments)
    assert found == {"failed": 1}
    assert said in text
    assert len([line for line in text.splitlines() if line.startswith("keyassay: ")]) == 1
    assert "Traceback" not in text
    assert "def gated" not in text


def test_a_scheme_that_cannot_be_found_fails(suite: pytest.Pytester) -> None:
    write_claims(suite, 0.99)
    suite.makepyfile(
        test_scheme="""
        def test_it(keyassay_gate):
            keyassay_gate("gone.py:Gone", claims="claims.toml")
        """
    )
    result = suite.runpytest_inprocess(*QUIET)
    assert result.parseoutcomes() == {"failed": 1}
    result.stdout.fnmatch_lines(["keyassay: *gone.py*"])


def test_paths_start_at_the_folder_of_the_test(suite: pytest.Pytester, tmp_path: Path) -> None:
    below = suite.mkdir("below")
    write_claims(suite, 0.99)
    (suite.path / "claims.toml").rename(below / "claims.toml")
    (below / "mine.py").write_text(
        "from fixtures.controls import SignCommitment\n"
        "MINE = SignCommitment(code='hamming-7-4', blocks=3)\n",
        "utf-8",
    )
    (below / "test_mine.py").write_text(
        textwrap.dedent("""
        from fixtures.controls import Channel

        PEOPLE = Channel(length=28, subjects=12, attempts=3, errors=(("device-b", 0.02), ("remote", 0.1)))

        def test_it(keyassay_gate):
            attacks = ["helper-leak", "distant-sensor"]
            keyassay_gate("mine.py:MINE", claims="claims.toml", corpus=PEOPLE, attacks=attacks)
        """),
        "utf-8",
    )
    assert suite.runpytest_inprocess(*QUIET, "below").parseoutcomes() == {"passed": 1}


def test_loading_the_plug_in_loads_nothing_heavy() -> None:
    heavy = ("numpy", "scipy", "pandas", "pydantic", "jinja2", "matplotlib", "sklearn", "reports")
    done = subprocess.run(
        [sys.executable, "-c", f"import sys, {pytest_plugin.__name__}; print(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert set(heavy) & set(done.stdout.split()) == set()


def test_pytest_loads_it_as_a_plug_in_and_explains_the_fixture(tmp_path: Path) -> None:
    done = subprocess.run(
        [
            sys.executable,
            "-W",
            "error",
            "-m",
            "pytest",
            *QUIET,
            "-p",
            pytest_plugin.__name__,
            "--fixtures",
            "-v",
        ],
        env={**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert "keyassay_gate -- " in done.stdout, done.stderr
    assert "Audit a scheme, judge its claims" in done.stdout


def test_it_is_registered_under_the_name_of_the_project() -> None:
    (entry,) = entry_points(group="pytest11", name="keyassay")
    assert entry.load() is pytest_plugin
