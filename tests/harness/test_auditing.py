"""Whole audits: same seed same bytes, strangers' files, failing plug-ins, untested cells."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import DEVICE_B, Array, Capture, Guesses, Helper, View, Witness
from harness.errors import ContractError, CorpusError, UsageError
from harness.plugins import load
from harness.results import COLUMNS, Audit, keys_of

SENSED = ["distant-sensor", "population", "helper-leak", "distant-sensor+helper-leak"]


def small(**changes: object) -> Audit:
    options = {"attacks": SENSED, "corpus": "cargo-bike", "subjects": 6, "attempts": 2, **changes}
    return audit("interval-gray", **options)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def reference() -> Audit:
    return small()


@pytest.mark.parametrize(
    "options", [pytest.param({"jobs": 2}, marks=pytest.mark.slow), {"chunk": 1}, {"jobs": 2, "chunk": 5}]
)
def test_same_seed_gives_the_same_bytes(reference: Audit, options: dict[str, int]) -> None:
    assert small(**options).to_json() == reference.to_json()


def test_another_seed_gives_other_numbers(reference: Audit) -> None:
    assert small(seed=1).to_json() != reference.to_json()


def test_one_attack_more_changes_nobody_elses_numbers(reference: Audit) -> None:
    more = small(attacks=["replay", *SENSED])
    for attack in (None, *SENSED):
        others, own = more.select(attack=attack), reference.select(attack=attack)
        # the ledger follows the strongest adversary, whoever it is
        assert [r for r in others if r.measure != "bits-left"] == [
            r for r in own if r.measure != "bits-left"
        ]


def test_one_scheme_more_changes_nobody_elses_numbers(reference: Audit) -> None:
    both = audit(
        ["interval-gray:cell_s=0.005,name=coarse", "interval-gray"],
        attacks=SENSED,
        corpus="cargo-bike",
        subjects=6,
        attempts=2,
    )
    assert both.select(scheme="interval-gray") == reference.select(scheme="interval-gray")


def test_a_scheme_renamed_keeps_its_numbers(reference: Audit) -> None:
    renamed = audit("interval-gray:name=other", attacks=SENSED, corpus="cargo-bike", subjects=6, attempts=2)
    assert [replace(r, scheme="interval-gray") for r in renamed.rows] == list(reference.rows)


def test_table_is_tidy(reference: Audit) -> None:
    keys = keys_of(reference.rows)
    assert len(set(keys)) == len(keys)
    table = reference.table
    assert list(table.columns) == list(COLUMNS)
    assert set(table["data"]) == {"simulated"}
    assert "NaN" not in reference.to_json()
    assert json.loads(reference.to_json())["version"] == 1


def test_result_holds_no_place_time_or_worker_count(reference: Audit) -> None:
    text = reference.to_json()
    for word in (str(Path.cwd()), "jobs", "chunk", "keyassay-"):
        assert word not in text


@pytest.mark.parametrize("name", ["MedianBits", None])
@pytest.mark.parametrize("jobs", [1, 2])
def test_a_strangers_scheme_is_given_by_its_path(
    plugins: Path, people: Channel, name: str | None, jobs: int
) -> None:
    spec = str(plugins / "median_bits.py") + (f":{name}" if name else "")
    result = audit(spec, attacks="distant-sensor", corpus=people, jobs=jobs)
    assert not result.failed
    (odds,) = result.select(attack="distant-sensor", measure="success-odds", budget=1)
    assert odds.value is not None
    assert odds.value > 0.2  # nine in ten signs are right, and eight of them make the key
    assert result.schemes[0]["source"] == Path(spec).name


def test_parameters_follow_the_path(plugins: Path, people: Channel) -> None:
    result = audit(
        f"{plugins / 'median_bits.py'}:MedianBits:key_bits=16", attacks="population", corpus=people
    )
    assert result.schemes[0]["key_bits"] == 16


def test_a_failing_scheme_fails_its_cells_and_no_others(plugins: Path, people: Channel) -> None:
    result = audit(
        [f"{plugins / 'broken.py'}:ShortKeys", SignCommitment()], attacks="distant-sensor", corpus=people
    )
    assert result.failed
    failed = result.select(status="failed")
    assert {r.scheme for r in failed} == {"short-keys"}
    assert {r.attack for r in failed} == {None, "distant-sensor"}
    assert all(r.reason and "(3, 8)" in r.reason and "(3, 4)" in r.reason for r in failed)
    assert result.select(scheme="sign-commitment", attack="distant-sensor", status="measured")


@pytest.fixture(scope="module")
def failures(plugins: Path) -> Audit:
    """Strangers' attacks that fail, each in its own way, beside one of ours; two people are enough."""
    broken = [f"{plugins / 'broken.py'}:{name}" for name in ("WrongShape", "Raises", "Leaves", "Objects")]
    more = [f"{plugins / 'broken.py'}:{name}" for name in ("Garbage", "Talks")]
    pair = Channel(subjects=2, attempts=3, errors=((DEVICE_B, 0.02), ("remote", 0.1)))
    return audit(
        SignCommitment(code="hamming-7-4"), attacks=[*broken, "distant-sensor", *more], corpus=pair
    )


@pytest.mark.parametrize(
    ("attack", "reason"),
    [
        (
            "wrong-shape",
            "`log_prob` must be an array of shape (6, 7, 2), got float64 array of shape (6, 3, 2)",
        ),
        ("raises", "it rained"),
        ("leaves", "ended with status 0"),
        ("objects", "Object arrays cannot be saved"),
        ("garbage", "must return a Belief or Guesses"),
    ],
)
def test_a_failing_attack_fails_its_cells_with_the_reason(
    failures: Audit, attack: str, reason: str
) -> None:
    (failed,) = failures.select(attack=attack)
    assert failed.status == "failed"
    assert reason in str(failed.reason)
    (told,) = [f for f in failures.findings if f.attack == attack]
    assert told.id == "plug-in-failed"


def test_failing_attacks_leave_the_others_alone(failures: Audit, plugins: Path) -> None:
    assert failures.failed
    assert len(failures.select(status="failed")) == 5
    (odds,) = failures.select(attack="distant-sensor", measure="success-odds", budget=1)
    assert odds.status == "measured"
    text = failures.to_json()
    assert Audit.from_json(text).to_json() == text
    assert str(plugins) not in text


def test_what_an_attack_prints_is_no_answer(failures: Audit) -> None:
    (odds,) = failures.select(attack="talks", measure="success-odds", budget=1)
    assert odds.value == pytest.approx(2.0**-4)


def test_our_own_attacks_fail_in_the_same_way(
    people: Channel, scheme: SignCommitment, plugins: Path
) -> None:
    broken = load(plugins / "broken.py")
    result = audit(scheme, attacks=[broken.WrongShape(), broken.Raises()], corpus=people)
    assert [r.attack for r in result.select(status="failed")] == ["wrong-shape", "raises"]


def test_asking_for_a_combination_twice_gives_its_rows_once(
    people: Channel, scheme: SignCommitment
) -> None:
    pair = "distant-sensor+helper-leak"
    asked = [pair, pair, "distant-sensor+helper-leak+population", "distant-sensor+distant-sensor"]
    keys = keys_of(audit(scheme, attacks=asked, corpus=people).rows)
    assert len(set(keys)) == len(keys)
    assert {k[1] for k in keys} == {None, "distant-sensor", "helper-leak", "population", pair}


class Plain:
    """Signs as they are, nothing published."""

    name, key_bits, signal = "plain", 8, "value"

    def witness(self, capture: Capture) -> Witness:
        bits = (capture.samples[:, 0, :8] > 0).astype(np.uint8)
        return Witness(symbols=bits, alphabet=2, acquired=np.ones(len(bits), bool))

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return witness.symbols.copy(), {}

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return witness.symbols.copy(), witness.acquired.copy()


class Deaf(Plain):
    def witness(self, capture: Capture) -> Witness:
        return replace(super().witness(capture), acquired=np.zeros(len(capture.samples), bool))


def test_a_scheme_that_acquires_nothing_fails_always_and_gives_no_odds(people: Channel) -> None:
    result = audit(Deaf(), attacks=["distant-sensor", "population"], corpus=people)
    (failed,) = result.select(measure="failure-to-acquire")
    (agreed,) = result.select(measure="key-agreement")
    assert (failed.value, agreed.value) == (1.0, 0.0)
    for attack in ("distant-sensor", "population"):
        (row,) = result.select(attack=attack)
        assert (row.status, row.reason) == ("untested", "no attempt established a key")
    assert Audit.from_json(result.to_json()).rows == list(result.rows)


class Talks(Plain):
    """Both say their parity, in turn."""

    generate = reproduce = None  # type: ignore[assignment]

    def agree(
        self, a: Witness, b: Witness, *, rng: np.random.Generator
    ) -> tuple[Array, Array, Array, Helper]:
        said = a.symbols.sum(axis=1) % 2
        return a.symbols.copy(), b.symbols.copy(), said == b.symbols.sum(axis=1) % 2, {"parity": said}


def test_an_interactive_scheme_is_audited_and_what_needs_reproduce_is_untested(people: Channel) -> None:
    result = audit(Talks(), attacks=["distant-sensor", "population"], corpus=people)
    assert not result.failed
    assert result.select(measure="strangers-agreement")[0].status == "measured"
    assert result.select(attack="population", measure="success-odds", budget=1)[0].status == "measured"
    (row,) = result.select(attack="distant-sensor")
    assert row.status == "untested"
    assert "reproduce" in str(row.reason)


class LongKeys(Plain):
    key_bits = 1200

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return np.tile(witness.symbols, (1, 150)), {}

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return np.tile(witness.symbols, (1, 150)), witness.acquired.copy()


def test_keys_may_be_longer_than_a_floats_exponent(people: Channel) -> None:
    result = audit(LongKeys(), attacks=["population", "distant-sensor"], corpus=people)
    (odds,) = result.select(attack="distant-sensor", measure="success-odds", budget=1)
    assert odds.value is not None
    assert odds.value > 0.2  # nine in ten signs are right, and eight of them make the key
    assert "keys-repeat" in {f.id for f in result.findings}


class Locked(Plain):
    def __init__(self) -> None:
        self.lock = threading.Lock()


class Unlabelled(Plain):
    @property
    def labels(self) -> Array:
        raise RuntimeError("no labels today")


@pytest.mark.parametrize(
    ("scheme", "reason"), [(Locked(), "cannot be copied"), (Unlabelled(), "no labels today")]
)
def test_a_scheme_of_odd_parts_fails_its_own_cells(people: Channel, scheme: Plain, reason: str) -> None:
    result = audit([scheme, SignCommitment(code="hamming-7-4")], attacks="population", corpus=people)
    assert {r.scheme for r in result.rows if r.status == "failed"} == {"plain"}
    assert all(reason in str(r.reason) for r in result.select(status="failed"))
    assert result.select(scheme="sign-commitment", status="measured")


class Zeros:
    name, sees = "zeros", frozenset({"remote"})

    def believe(self, view: View, *, rng: np.random.Generator) -> Guesses:
        return Guesses(keys=np.zeros((view.attempts, 1, 8), np.uint8))


def test_no_address_in_memory_is_in_a_result(people: Channel) -> None:
    once, twice = (audit(Plain(), attacks=[Zeros()], corpus=people).to_json() for _ in range(2))
    assert " at 0x" not in once
    assert once == twice


def test_what_is_no_corpus_is_refused(plugins: Path) -> None:
    with pytest.raises(ContractError, match="corpus int: `name` must be"):
        audit(Plain(), attacks="population", corpus=42)
    with pytest.raises(UsageError, match="exactly one corpus"):
        audit(Plain(), attacks="population", corpus=str(plugins / "median_bits.py"))


def test_what_a_corpus_cannot_show_is_untested_with_its_reason(
    scheme: SignCommitment, people: Channel
) -> None:
    result = audit(scheme, attacks=["mimicry", "distant-sensor"], corpus=people)
    (row,) = result.select(attack="mimicry")
    assert (row.status, row.reason) == ("untested", "the corpus holds no capture of role 'mimic'")
    assert row.value is None
    assert not result.failed


def test_one_person_leaves_learning_attacks_untested(scheme: SignCommitment, people: Channel) -> None:
    result = audit(scheme, attacks=["population", "distant-sensor"], corpus=replace(people, subjects=1))
    assert result.select(attack="population")[0].status == "untested"
    assert result.select(attack="distant-sensor", budget=1)[0].status == "measured"
    assert result.select(measure="strangers-agreement")[0].status == "untested"


def test_roles_that_nobody_reads_are_reported(scheme: SignCommitment, people: Channel) -> None:
    result = audit(scheme, attacks="population", corpus=people)
    assert [f.details["role"] for f in result.findings if f.id == "role-not-read"] == ["remote"]


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"subjects": 0}, "`subjects` must be at least 1, got 0"),
        ({"jobs": 0}, "`jobs` must be at least 1, got 0"),
        ({"chunk": 0}, "`chunk` must be at least 1, got 0"),
        ({"seed": -1}, "`seed` must be at least 0, got -1"),
        ({"attacks": []}, "at least one"),
        ({"attacks": "mimikry"}, "did you mean 'mimicry'"),
        ({"corpus": "cargo-bikes"}, "did you mean 'cargo-bike'"),
    ],
)
def test_arguments_are_refused_in_one_sentence(options: dict[str, object], sentence: str) -> None:
    with pytest.raises(UsageError, match=sentence):
        audit("interval-gray", **options)  # type: ignore[arg-type]


def test_two_schemes_of_one_name_are_refused() -> None:
    with pytest.raises(UsageError, match="'interval-gray' twice"):
        audit(["interval-gray", "interval-gray"], attacks="population")


def test_a_corpus_without_the_schemes_signal_is_refused(people: Channel) -> None:
    with pytest.raises(
        CorpusError, match="device-a:emg for scheme envelope-trend, found only device-a:value"
    ):
        audit("envelope-trend", attacks="population", corpus=people)


def test_enough_guesses_for_every_key_always_succeed(plugins: Path, people: Channel) -> None:
    result = audit(f"{plugins / 'median_bits.py'}", attacks="distant-sensor", corpus=people)
    odds = {r.budget: r for r in result.select(attack="distant-sensor", measure="success-odds")}
    assert odds[2**20].value == 1.0  # 256 keys
    assert odds[100].value is not None
    assert odds[100].value < 1.0
