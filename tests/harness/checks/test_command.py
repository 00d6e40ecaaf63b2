"""`keyassay check`: what it prints and the status that it ends with."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from command_line import run
from contract_breakers import broken_schemes

from harness.checks import checks_of

BREAKERS = Path(broken_schemes.__file__)
ATTACKERS = BREAKERS.with_name("broken_attacks.py")
SOUND = BREAKERS.with_name("sound_schemes.py")
LOUD = BREAKERS.with_name("loud.py")


def checked(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    return run(capsys, "check", *words)


def test_a_sound_scheme_is_a_line_for_each_check_and_a_count(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = checked(
        capsys, f"{SOUND}:Plain", "--only", "noise-free-agrees", "--only", "list-true"
    )
    assert (status, err) == (0, "")
    assert out.splitlines() == [
        "noise-free-agrees  held",
        "list-true          not-applicable: the scheme has no `needed`",
        "",
        "plain (run in this process): 1 held, 1 not applicable",
    ]


def test_a_broken_promise_is_explained(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = checked(capsys, f"{BREAKERS}:AcceptsTheLost", "--only", "failures-not-accepted")
    assert status == 3
    assert "failures-not-accepted  broken\n" in out
    assert (
        "sound breaks failures-not-accepted (An attempt that device B did not acquire, or that device A "
        "has aborted, is not accepted.) at reproduce(), `accepted`, row 0: expected False where B acquired "
        "nothing, got True"
    ) in out


def test_a_known_failure_is_well(capsys: pytest.CaptureFixture[str]) -> None:
    words = (f"{BREAKERS}:AcceptsTheLost", "--only", "failures-not-accepted")
    status, out, _ = checked(capsys, *words, "--known", "failures-not-accepted=by design")
    assert status == 0
    assert "failures-not-accepted  known: by design" in out
    status, _, err = checked(capsys, *words, "--known", "failures-not-accepted")
    assert status == 2
    assert "`--known` must read CHECK=REASON" in err


def test_json_carries_where_expected_and_got(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = checked(
        capsys, f"{BREAKERS}:AcceptsTheLost", "--only", "failures-not-accepted", "--format", "json"
    )
    assert status == 3
    told = json.loads(out)
    assert (told["version"], told["kind"], told["plugin"]) == (1, "scheme", "sound")
    (check,) = told["checks"]
    assert check["where"] == {"member": "reproduce()", "field": "accepted", "row": 0}
    assert (check["status"], check["got"]) == ("broken", "True")


def test_what_a_plug_in_prints_is_no_part_of_the_outcomes(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    fresh = shutil.copy(LOUD, tmp_path / "loud.py")  # one that has not been loaded yet
    words = (f"{fresh}:Prints", "--only", "noise-free-agrees", "--format", "json")
    status, out, err = checked(capsys, *words)
    assert status == 0
    assert json.loads(out)["checks"][0]["status"] == "held"
    assert {"loading", "sensing"} <= set(err.split())


def test_the_help_shows_an_example_and_what_a_wrong_declaration_counts_as(
    capsys: pytest.CaptureFixture[str],
) -> None:
    _, out, _ = checked(capsys, "--help")
    assert "  keyassay check their_scheme.py:TheirScheme --known" in out
    assert "One that does not fail counts as broken (status 3)." in " ".join(out.split())


def test_an_attack_is_known_by_its_members(capsys: pytest.CaptureFixture[str]) -> None:
    words = (f"{ATTACKERS}:AlwaysFails", "--only", "attack-answers", "--corpus", "cargo-bike")
    for more in ((), ("--kind", "attack"), ("--scheme", "interval-gray")):
        status, out, _ = checked(capsys, *words, *more)
        assert status == 3
        assert "got RuntimeError: out of luck" in out
    status, out, _ = checked(capsys, "population", "--only", "attack-answers")
    assert (status, out.splitlines()[0]) == (0, "attack-answers  held")


def test_what_could_not_run_is_no_pass(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = checked(
        capsys, f"{SOUND}:Plain", "--corpus", "cargo-bike", "--only", "noise-free-agrees"
    )
    assert status == 4
    assert "noise-free-agrees  could-not-run: cargo-bike holds no sitting" in out


def test_members_that_are_missing_are_a_breach_and_no_usage_error(
    capsys: pytest.CaptureFixture[str], plugins: Path
) -> None:
    status, out, _ = checked(capsys, f"{plugins / 'broken.py'}:NoMembers", "--only", "members-there")
    assert status == 3
    assert "expected a positive integer, got NoneType None" in out


@pytest.mark.parametrize("kind", ["scheme", "attack"])
def test_the_list_tells_every_promise(capsys: pytest.CaptureFixture[str], kind: str) -> None:
    status, out, _ = checked(capsys, "--list", "--kind", kind)
    assert status == 0
    assert f"Checks of {kind}s" in out
    words = " ".join(out.split())
    for check in checks_of(kind):
        assert f" {check.name} {check.promise}" in words
    status, out, _ = checked(capsys, "--list", "--kind", kind, "--format", "json")
    assert [entry["check"] for entry in json.loads(out)] == [check.name for check in checks_of(kind)]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "PLUGIN must be given, got none"),
        (("interval-grey",), "did you mean 'interval-gray'?"),
        (("nowhere.py:X",), "found none at nowhere.py"),
        ((f"{SOUND}:Plan",), "did you mean 'Plain'?"),
        ((str(SOUND),), "must hold exactly one scheme"),
        ((f"{SOUND}:Plain", "--only", "noise"), "there is no check 'noise' of schemes"),
        ((f"{SOUND}:Plain", "--scheme", "interval-gray"), "`--scheme` is for an attack"),
        ((f"{SOUND}:Plain", "--corpus", "nowhere/"), "nowhere"),
        ((f"{SOUND}:Plain", "--corpus", "nope", "--only", "members-there"), "'nope'"),
        ((f"{ATTACKERS}:AlwaysFails", "--scheme", "interval-grey"), "did you mean 'interval-gray'?"),
        ((f"{ATTACKERS}:AlwaysFails", "--corpus", "nope"), "'nope'"),
        ((f"{SOUND}:Plain", "--known", "=it rained"), "must read CHECK=REASON"),
        ((f"{SOUND}:Plain", "--known", "listing=it rained"), "there is no check 'listing' of schemes"),
        ((f"{LOUD}:Quits",), "cannot be made: SystemExit: 0"),
        ((f"{LOUD}:QuitsWhenAsked",), "say by `--kind` what it is"),
        (("interval-gray:blocks=x",), "cannot be made"),
    ],
)
def test_what_is_wrongly_asked_is_one_sentence(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...], told: str
) -> None:
    status, out, err = checked(capsys, *words)
    assert (status, out) == (2, "")
    assert told in err
    own = [line for line in err.splitlines() if line != "loading"]  # which a plug-in says of itself
    assert len(own) == 1


def test_one_plug_in_in_a_file_needs_no_name(capsys: pytest.CaptureFixture[str], plugins: Path) -> None:
    status, _, _ = checked(capsys, str(plugins / "median_bits.py"), "--only", "members-there")
    assert status == 0


def test_a_scheme_file_is_checked(capsys: pytest.CaptureFixture[str]) -> None:
    from schemes import ready

    path = Path(ready.__file__).with_name("interval-trend.toml")
    status, out, _ = checked(capsys, str(path), "--only", "noise-free-agrees")
    assert status == 0
    assert "interval-trend" in out
