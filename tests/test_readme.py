"""The README's examples run as printed."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from harness import audit, check_attack, check_scheme
from harness.claims.reading import effective, parse_claims
from harness.cli.root import cli
from harness.plugins import resolve

README = Path(__file__).parents[1] / "README.md"


@pytest.fixture
def examples(tmp_path: Path) -> dict[str, Path]:
    found = re.findall(
        r"<!-- example: (\w+) -->\n```python\n(.*?)```", README.read_text("utf-8"), re.DOTALL
    )
    paths = {}
    for name, code in found:
        paths[name] = tmp_path / f"readme_{name}.py"
        paths[name].write_text(code, "utf-8")
    return paths


def test_a_strangers_scheme_and_attack_are_audited(examples: dict[str, Path]) -> None:
    assert set(examples) == {"scheme", "attack"}
    result = audit(
        f"{examples['scheme']}:HalfLevel:key_bits=16",
        attacks=[f"{examples['attack']}:BareCopy", "mimicry"],
        corpus="cargo-bike:seconds=4",
        subjects=4,
        attempts=2,
    )
    assert not result.failed
    for attack in ("bare-copy", "mimicry"):
        (row,) = result.select(attack=attack, measure="success-odds", budget=1)
        assert row.status == "measured"
    (agreement,) = result.select(measure="key-agreement")
    assert agreement.attempts == 16


def test_its_plug_ins_keep_the_contract(examples: dict[str, Path]) -> None:
    scheme = resolve("scheme", f"{examples['scheme']}:HalfLevel").value
    attack = resolve("attack", f"{examples['attack']}:BareCopy").value
    told = [*check_scheme(scheme), *check_attack(attack)]
    assert [o.sentence for o in told if o.status not in ("held", "not-applicable")] == []


def test_the_two_commands_stand_in_the_makefile() -> None:
    menu = (README.parent / "Makefile").read_text("utf-8")
    for command in ("audit", "test"):
        assert f"make {command} " in README.read_text("utf-8")
        assert re.search(rf"^{command}:", menu, re.MULTILINE)


def tables() -> list[str]:
    return re.findall(r"```toml\n(.*?)```", README.read_text("utf-8"), re.DOTALL)


def test_its_scheme_of_parts_reads_two_channels(tmp_path: Path) -> None:
    _, written = tables()
    (tmp_path / "two.toml").write_text(written, "utf-8")
    result = audit(
        str(tmp_path / "two.toml"),
        attacks="population",
        corpus="cargo-bike:electrode_count=2",
        subjects=4,
        attempts=2,
    )
    (shared,) = result.select(measure="channel-overlap", method="min-entropy")
    assert shared.low is not None
    assert shared.low > 0.5
    assert result.select(attack=None, measure="key-agreement")[0].value > 0.5


def test_its_claims_are_a_claims_file() -> None:
    written, _ = tables()
    claims = effective(parse_claims(written.encode(), source="README.md"))
    assert "C-sensor" in {c.id for c in claims.claim}


def test_every_command_it_prints_is_understood() -> None:
    """Commands, arguments and options exist; nothing is run."""
    lines = re.findall(r"^(?:keyassay) .*$", README.read_text("utf-8"), re.MULTILINE)
    assert len(lines) > 12
    for line in lines:
        words = shlex.split(line.partition(" > ")[0], comments=True)[1:]
        command = cli.commands[words[0]]
        command.make_context(words[0], words[1:])
