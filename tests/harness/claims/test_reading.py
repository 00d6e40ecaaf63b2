"""Claims files: what is refused, in which words, and that nothing damaged gets through or blows up."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from harness.claims.model import Claims
from harness.claims.presets import PRESETS
from harness.claims.reading import (
    MOST_BYTES,
    check_names,
    claims_schema,
    effective,
    parse_claims,
    read_claims,
    use_of,
)
from harness.claims.writing import as_toml, template
from harness.errors import UsageError

CLAIM = '[[claim]]\nid = "a"\nmeasure = "success-odds"\nbudget = 1\nat_most = 0.05\n'
OF = '[[claim]]\nid = "a"\nmeasure = '
SCOPED = '[[out_of_scope]]\nthreat = "camera"\nreason = "x"'
VOLUNTEERS = 'presets = ["twenty-volunteers"]\n'
SHORT = 'presets = ["short-code-password-authenticated"]\n'
ROUNDS = 400
SETTINGS = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}


def parsed(text: str) -> Claims:
    return parse_claims(("version = 1\n" + text).encode(), source="claims.toml")


def refusal(text: str) -> str:
    with pytest.raises(UsageError) as error:
        parsed(text)
    said = str(error.value)
    assert said.isprintable(), "one line, and nothing that moves a cursor"
    assert len(said) < 1000
    return said


def test_a_sound_claim_is_read_as_written() -> None:
    claim = parsed(CLAIM).claim[0]
    assert (claim.id, claim.budget, claim.at_most, claim.confidence) == ("a", 1, 0.05, 0.95)


def test_powers_are_understood() -> None:
    assert parsed(CLAIM.replace("budget = 1", 'budget = "2^40"')).claim[0].budget == 2**40
    for wrong in (
        '"2^9999"',
        '"2^-1"',
        '"3^2"',
        "0",
        "-1",
        "1.0",
        "true",
        '"2^40 "',
        '"2^\\u0664"',
        '"many"',
    ):
        assert "must be a number of guesses" in refusal(CLAIM.replace("budget = 1", f"budget = {wrong}"))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (CLAIM.replace("at_most", "at_mst"), "claim 1 must hold known keys only, got 'at_mst'"),
        (CLAIM.replace("at_most", "at_mst"), "did you mean 'at_most'?"),
        ('prests = ["twenty-volunteers"]', "claims.toml must hold known keys only, got 'prests'"),
        ('prests = ["twenty-volunteers"]', "did you mean 'presets'?"),
        ('[use]\nkind = "raw"\nkye = "fresh"', "use must hold known keys only, got 'kye'"),
        ('[use]\nkind = "raw"\nkye = "fresh"', "did you mean 'key'?"),
        (CLAIM.replace("success-odds", "succes-odds"), "did you mean 'success-odds'?"),
        ("[margins]\nkey-rnk = 1.0", "did you mean 'key-rank'?"),
        ('presets = ["twenty-voluntears"]', "did you mean 'twenty-volunteers'?"),
        (CLAIM + 'requirement = "neeed"\n[[requirement]]\nid = "need"\ntext = "x"', "did you mean 'need'?"),
    ],
)  # fmt: skip
def test_unknown_names_are_refused_with_the_nearest_and_where(text: str, said: str) -> None:
    assert said in refusal(text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (CLAIM.replace("at_most = 0.05", ""), "exactly one of `at_most` and `at_least`"),
        (CLAIM + "at_least = 0.01", "exactly one of `at_most` and `at_least`"),
        (CLAIM.replace("0.05", "nan"), "finite"),
        (CLAIM.replace("0.05", "inf"), "finite"),
        (CLAIM.replace("0.05", "1e999"), "finite"),
        (CLAIM.replace("0.05", "-0.1"), "greater than or equal to 0"),
        (CLAIM.replace("0.05", "1.5"), "must lie in 0..1"),
        (CLAIM.replace("0.05", '"0.05"'), "valid number"),
        (CLAIM.replace("0.05", "true"), "valid number"),
        (CLAIM + "confidence = 0.5", "greater than 0.5"),
        (CLAIM + "confidence = 1", "less than 1"),
        (CLAIM + "evidence = []", "at least one kind"),
        (CLAIM + 'evidence = ["exact", "exact"]', "none twice"),
        (CLAIM + 'evidence = ["hearsay"]', "'counted', 'exact', 'modelled' or 'assumed'"),
        (CLAIM + CLAIM, "each claim must be there once, got 'a' twice"),
        (CLAIM + 'requirement = "need"', "must point at a requirement"),
        (CLAIM + "id = 'b'", "must be TOML"),
        (CLAIM.replace('"a"', '"../a b"'), "match pattern"),
        (OF + '"key-agreement"\nattack = "mimicry"\nat_least = 0.9', "`attack` must be absent"),
        (OF + '"key-rank"\nbudget = 1\nat_least = 20', "`budget` must be absent"),
        (OF + '"weak-people"\nbudget = "use"\nat_most = 0.1', "belongs to success-odds"),
        (OF + '"min-entropy"\nat_least = 20', "which is meant: bit or bit/symbol"),
        (OF + '"min-entropy"\nunit = "nat"\nat_least = 20', "must be bit or bit/symbol"),
        (OF + '"rate"\nat_least = 2', "`method` must say which is meant"),
        (OF + '"leakage-test"\nat_least = 0.5', "a test shows no secrecy"),
        (OF + '"leakage-test"\nat_most = 0.05', "a test shows no secrecy"),
        (
            '[use]\nkind = "raw"\nkey = "lasting"\ntries_per_session = 3',
            "means nothing for keys guessed off line",
        ),
        ('[use]\nkind = "raw"\nkey = "lasting"\nsessions = 3', "means nothing for a lasting key"),
        ('[use]\nkind = "raw"\nkey = "fresh"', "`sessions` must say"),
        ('[use]\nkind = "commit-open"\nkey = "lasting"', "`sessions` must say"),
        ('[use]\nkind = "secret"\nkey = "lasting"', "'raw', 'confirmed'"),
        ('[[out_of_scope]]\nthreat = "camera"\nreason = "  "', "at least 1 character"),
        ('[[out_of_scope]]\nthreat = "camera"', "reason is not as it must be: field required"),
        (CLAIM + 'attack = "camera"\n' + SCOPED, "must be about an attack in scope"),
        ("[margins]\nkey-rank = 0", "greater than 0"),
        ("[margins]\nkey-rank = nan", "finite"),
        ('[[requirement]]\nid = "r"\ntext = ""', "at least 1 character"),
        ('presets = ["twenty-volunteers", "twenty-volunteers"]', "twice"),
        (VOLUNTEERS + CLAIM.replace('"a"', '"twenty-volunteers.odds"'), "once by a preset"),
        (SHORT + '[use]\nkind = "raw"\nkey = "lasting"', "asks for use"),
    ],
)  # fmt: skip
def test_what_is_refused(text: str, said: str) -> None:
    assert said in refusal(text)


def test_a_rating_needs_known_steps_and_a_rationale() -> None:
    rating = (
        '[[potential]]\nattack = "mimicry"\nelapsed_time = "1-week"\nexpertise = "expert"\n'
        'knowledge = "public"\nwindow = "easy"\nequipment = "standard"\n'
    )  # fmt: skip
    assert parsed(rating + 'rationale = "practised"').potential[0].rated == (8, "basic")
    assert "rationale is not as it must be" in refusal(rating)
    assert "at least 1 character" in refusal(rating + 'rationale = " "')
    assert "`window` must be one of unlimited" in refusal(
        rating.replace("easy", "ajar") + 'rationale = "x"'
    )


@pytest.mark.parametrize(
    "raw",
    [
        b"\xff\xfe",
        b"version = 2",
        b"version = 1.0",
        b"version = true",
        b"",
        b"[" * 50_000,
        b"version = 1\nx = " + b"[" * 5000 + b"]" * 5000,
        b"version = " + b"9" * 5000,
        b"a." * 20_000 + b"a = 1",
        b"version = 1\nx = 1979-05-27T07:32:00Z",
        b"version = 1\nclaim = 3",
        b"version = 1\nclaim = [3]",
        b"version = 1\n[claim]\nid = 'a'",
        b'version = 1\n"\\u202e\\u001b[31m" = 1',
        b"version = 1\n" + b"#" * MOST_BYTES,
        b"\x00",
    ],
)
def test_damaged_files_come_to_one_sentence(raw: bytes, tmp_path: Path) -> None:
    path = tmp_path / "claims.toml"
    path.write_bytes(raw)
    with pytest.raises(UsageError) as error:
        read_claims(path)
    assert "\n" not in str(error.value)
    assert "claims.toml" in str(error.value)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    for path in (tmp_path / "none.toml", tmp_path, Path("nul\0l")):
        with pytest.raises(UsageError, match="in a file that can be read"):
            read_claims(path)


WEIRD = st.sampled_from(
    ["nan", "inf", "-inf", "1e999", "-1", "0", "true", "[]", "{}", '""', "[[1]]", "1979-05-27", "9" * 30,
     '"\\u202e"', '"use"', '"2^64"', "0.5", "[1, 'a']", "{a = 1}", '"""', "1e-400", "=", '"all"', "0x1F"]
)  # fmt: skip
LINES = template().splitlines()


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    """The template with a few lines changed, doubled, swapped or lost, then a few bytes."""
    lines = list(LINES)
    for _ in range(draw(st.integers(0, 3))):
        at = draw(st.integers(0, len(lines) - 1))
        kind = draw(st.sampled_from(["value", "key", "drop", "double", "swap"]))
        if kind == "value":
            lines[at] = re.sub(r"= .*", lambda _: f"= {draw(WEIRD)}", lines[at])
        elif kind == "key":
            lines[at] = draw(st.text(max_size=6)) + lines[at]
        elif kind == "drop":
            lines[at] = ""
        elif kind == "double":
            lines.insert(at, lines[at])
        else:
            other = draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
    raw = bytearray("\n".join(lines).encode("utf-8", "surrogatepass"))
    for _ in range(draw(st.integers(0, 3))):
        at = draw(st.integers(0, len(raw) - 1))
        raw[at : at + draw(st.integers(0, 40))] = draw(st.binary(max_size=4))
    return bytes(raw)


def never_blows_up(raw: bytes) -> None:
    try:
        found = parse_claims(raw, source="claims.toml")
    except UsageError as error:
        said = str(error)
    else:
        said = _stands(found)
    assert said
    assert "\n" not in said


def _stands(found: Claims) -> str:
    whole = effective(found)
    assert parse_claims(as_toml(whole).encode(), source="again") == whole
    return str(len(json.dumps(whole.model_dump(mode="json"), allow_nan=False)))


@settings(max_examples=ROUNDS, **SETTINGS)
@given(raw=mutated())
def test_mutated_files_are_refused_or_sound(raw: bytes) -> None:
    never_blows_up(raw)


@pytest.mark.slow
@settings(max_examples=10_000, **SETTINGS)
@given(raw=mutated())
def test_ten_thousand_mutated_files_are_refused_or_sound(raw: bytes) -> None:
    never_blows_up(raw)


@settings(max_examples=100, **SETTINGS)
@given(text=st.text(st.characters(exclude_categories=["Cs"]), min_size=1).filter(str.strip))
def test_any_text_survives_being_written_and_read(text: str) -> None:
    claims = parsed('[[requirement]]\nid = "r"\ntext = "x"')
    changed = claims.model_copy(
        update={"requirement": (claims.requirement[0].model_copy(update={"text": text.strip()[:4000]}),)}
    )
    written = as_toml(changed)
    assert parse_claims(written.encode(), source="x") == changed
    assert all(line.isprintable() for line in written.split("\n"))


def test_the_template_passes_its_own_reader_and_says_every_key() -> None:
    claims = parse_claims(template().encode(), source="template")
    known = set(re.findall(r'"([a-z_]+)": \{', json.dumps(claims_schema()["properties"])))
    assert known >= {"claim", "margins"}
    for table in ("Claim", "Use", "Requirement", "Scoped", "Potential"):
        for key in claims_schema()["$defs"][table]["properties"]:
            assert key in template() or key == "scheme", f"{table}.{key}"
    assert effective(claims).claim[0].id == "twenty-volunteers.odds"


def test_presets_are_written_out_and_pass_alone() -> None:
    for name, preset in PRESETS.items():
        whole = effective(parsed(f'presets = ["{name}"]'))
        assert whole.presets == ()
        assert list(whole.claim) == list(preset.claims)
        assert {c.requirement for c in whole.claim} == {preset.requirement.id}
        assert effective(whole) == whole


def test_the_use_of_a_preset_gives_way_to_a_declared_one_of_the_same_kind() -> None:
    head = 'presets = ["short-code-password-authenticated"]\n'
    assert use_of(effective(parsed(head))).guesses == 100
    declared = head + '[use]\nkind = "password-authenticated"\nkey = "lasting"\nsessions = 30'
    assert use_of(effective(parsed(declared))).guesses == 30


def test_an_undeclared_use_is_the_harshest() -> None:
    use = use_of(parsed(CLAIM))
    assert (use.kind, use.key, use.guesses, use.keys) == ("raw", "lasting", 2**64, 1)


def test_names_are_checked_once_they_are_known() -> None:
    claims = parsed(CLAIM + 'attack = "mimicry+mine"')
    check_names(claims, attacks=["mine"])
    with pytest.raises(UsageError, match="must be known, got 'mine'"):
        check_names(claims, attacks=[])


def test_the_schema_agrees_with_the_reader_on_what_may_stand_there() -> None:
    schema = claims_schema()
    assert schema["additionalProperties"] is False
    assert schema["$defs"]["Claim"]["additionalProperties"] is False
    assert set(schema["$defs"]["Claim"]["required"]) == {"id", "measure"}
    json.dumps(schema, allow_nan=False)
