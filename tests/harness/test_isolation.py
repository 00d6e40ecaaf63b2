"""A stranger's attack gets its View and nothing else, and what it sends back is not trusted."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from importlib.metadata import EntryPoint
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.stats import binom

from fixtures.controls import Channel, SignCommitment
from harness import audit, isolation, plugins
from harness.contracts import DEVICE_B, Array, Belief, Capture, Guesses, Helper, View, Witness
from harness.errors import ContractError, UsageError
from harness.isolation import Stranger, meet
from harness.plugins import load
from harness.results import Audit

PAIR = Channel(subjects=2, attempts=3, errors=((DEVICE_B, 0.02), ("remote", 0.1)))
SHORT = SignCommitment(code="hamming-7-4")


@dataclass
class Remembers:
    """Keeps A's key, witness and capture in itself, and gives the key to whoever reproduces."""

    name: str = "remembers"
    key_bits: int = 12
    signal: str = "value"
    pocket: list[Any] = field(default_factory=list)
    inner: SignCommitment = field(default_factory=lambda: SignCommitment(code="hamming-7-4", blocks=3))

    def witness(self, capture: Capture) -> Witness:
        self.pocket.append(capture)
        return self.inner.witness(capture)

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        keys, helper = self.inner.generate(witness, rng=rng)
        self.pocket += [keys, witness]
        return keys, helper

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        kept = [p for p in self.pocket if isinstance(p, np.ndarray)]
        keys, accepted = self.inner.reproduce(witness, helper)
        return (kept[0] if kept else keys), accepted


def rob(scheme: Any, plugins: Path, **options: int) -> Audit:
    for name in [n for n in sys.modules if "thief" in n]:  # another test may have imported it here
        del sys.modules[name]
    return audit(
        scheme, attacks=f"{plugins / 'thief.py'}:Thief", corpus=Channel(subjects=4, attempts=10), **options
    )


def assert_chance(result: Audit) -> None:
    (odds,) = result.select(attack="thief", measure="success-odds", budget=100)
    assert odds.value is not None
    assert odds.attempts == 80
    # at most 64 guesses of 2^12 keys in each of 80 attempts: more hits than this in one run of a million
    assert odds.value * odds.attempts <= binom.ppf(1 - 1e-6, 80, 64 / 2**12)


def test_a_thief_finds_no_key_and_is_never_imported(plugins: Path, scheme: SignCommitment) -> None:
    assert_chance(rob(scheme, plugins))
    assert not any("thief" in name for name in sys.modules)


@pytest.mark.parametrize("jobs", [pytest.param(1, marks=pytest.mark.slow), 2])
def test_a_scheme_that_remembers_helps_neither_b_nor_the_thief(plugins: Path, jobs: int) -> None:
    result = rob(Remembers(), plugins, jobs=jobs)
    assert_chance(result)


def test_a_scheme_that_remembers_does_not_agree_where_bodies_do_not() -> None:
    apart = replace(PAIR, errors=((DEVICE_B, 0.5), ("remote", 0.5)))
    (found,) = audit(Remembers(), attacks="population", corpus=apart).select(measure="key-agreement")
    # an honest B guesses one of 2^12 keys in each of 12 attempts
    assert found.value is not None
    assert found.value * 12 <= binom.ppf(1 - 1e-6, 12, 2.0**-12)


def stolen(plugins: Path, keys: Array, **shown: Any) -> bool:
    nothing = np.arange(len(keys))
    options: dict[str, Any] = {
        "scheme": SimpleNamespace(key_bits=12),
        "captures": {},
        "helper": {},
        **shown,
    }
    view = View(attempts=len(keys), subject=nothing, session=nothing, **options)
    taken = load(plugins / "thief.py").Thief().believe(view, rng=np.random.default_rng(0)).keys
    return bool((taken == keys[:, None, :]).all(axis=2).any(axis=1).all())


@pytest.mark.parametrize("hidden", ["scheme", "notes", "helper"])
def test_the_thief_takes_keys_that_lie_about(plugins: Path, hidden: str) -> None:
    keys = np.random.default_rng(3).integers(0, 2, (20, 12), dtype=np.uint8)
    place: Any = {"notes": {"a": keys}, "helper": {"a": keys}}.get(
        hidden, SimpleNamespace(key_bits=12, pocket={"keys": keys})
    )
    assert stolen(plugins, keys.copy(), **{hidden: place})


def test_the_thief_takes_a_capture_of_a_and_makes_the_key_of_it(
    plugins: Path, scheme: SignCommitment
) -> None:
    rng = np.random.default_rng(4)
    capture = Capture(samples=rng.standard_normal((20, 1, 23)), rate_hz=1.0, signal="value", unit="1")
    keys, helper = scheme.generate(scheme.witness(capture), rng=rng)
    assert stolen(plugins, keys.copy(), scheme=scheme, helper=helper, captures={"mislaid": capture})


@pytest.fixture(scope="module")
def rude(plugins: Path) -> Audit:
    names = ("Dies", "Forges", "Scribbles", "Mumbles")
    return audit(SHORT, attacks=[f"{plugins / 'rude.py'}:{n}" for n in names], corpus=PAIR)


def test_a_process_that_dies_is_reported_with_its_last_words(rude: Audit) -> None:
    (row,) = rude.select(attack="dies")
    assert row.status == "failed"
    assert "ended with status 7: out of luck" in str(row.reason)


def test_words_that_no_file_can_hold_are_written_all_the_same(rude: Audit, tmp_path: Path) -> None:
    (row,) = rude.select(attack="mumbles")
    assert "half a letter: \\ud800" in str(row.reason)
    (tmp_path / "result.json").write_text(rude.to_json(), "utf-8")
    assert list(Audit.read(tmp_path).rows) == list(rude.rows)


@pytest.mark.parametrize("attack", ["forges", "scribbles"])
def test_forged_output_and_read_only_arrays_change_nothing(rude: Audit, attack: str) -> None:
    (row,) = rude.select(attack=attack, measure="success-odds", budget=1)
    assert (row.status, row.value) == ("measured", pytest.approx(2.0**-4))


def test_an_attack_that_never_answers_is_given_up(plugins: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spec = f"{plugins / 'rude.py'}:Waits"
    stranger = meet(spec)
    monkeypatch.setattr(isolation, "PATIENCE_S", 1.0)
    with pytest.raises(ContractError, match="done within 1 s, got no answer"):
        stranger.believe(empty_view(), rng=np.random.default_rng(0))


def empty_view(scheme: Any = SHORT) -> View:
    nothing = np.zeros(0, int)
    return View(scheme=scheme, attempts=0, subject=nothing, session=nothing, captures={}, helper={})


def test_an_attack_introduces_itself(plugins: Path) -> None:
    met = meet(f"{plugins / 'rude.py'}:Scribbles")
    assert (met.name, met.sees) == ("scribbles", {"remote", "helper", "population"})
    assert met.summary == "Tries to change what it is shown; says so if it can."
    assert not met.interferes


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("Introduces", "`name` must be a short string"),
        ("AsksTheOwner", "got the owner's 'device-a:value'"),
        ("Scribble", "did you mean 'Scribbles'"),
    ],
)
def test_who_may_not_attack_is_refused(plugins: Path, name: str, sentence: str) -> None:
    with pytest.raises(UsageError, match=sentence):
        meet(f"{plugins / 'rude.py'}:{name}")


STRANGER = Stranger(
    spec="s.py", name="s", sees=frozenset(), likes=frozenset(), summary="", interferes=False
)


def npy(array: Array, **options: Any) -> bytes:
    file = BytesIO()
    np.lib.format.write_array(file, array, **options)
    return file.getvalue()


def message(header: Any, *bodies: bytes, sizes: Any = None) -> bytes:
    told = [len(b) for b in bodies] if sizes is None else sizes
    line = {**header, "bytes": told} if isinstance(header, dict) else header
    return json.dumps(line).encode() + b"\n" + b"".join(bodies)


def saying(monkeypatch: pytest.MonkeyPatch, said: bytes) -> None:
    """A process that answers everything with these bytes."""

    @contextmanager
    def child(module: str, argument: str, *, patience_s: float) -> Iterator[Any]:
        yield SimpleNamespace(
            say=BytesIO(), hear=BytesIO(said), overdue=lambda: False, end=lambda: "one that ended"
        )

    monkeypatch.setattr(isolation, "child", child)


BELIEF = {"kind": "belief", "work": 0, "about": "witness"}


@pytest.mark.parametrize(
    "said",
    [
        message(BELIEF, npy(np.array([{}, 1]), allow_pickle=True)),
        message(BELIEF, b""),
        message(BELIEF, npy(np.zeros(9))[:-8]),
        message(BELIEF, npy(np.zeros(9)), sizes=[10_000]),
        message(BELIEF, npy(np.zeros(9)), sizes=[2**31 + 1]),
        message(BELIEF, npy(np.zeros(9)), sizes=[-1]),
        message(BELIEF, npy(np.zeros(9)), sizes=7),
        message(BELIEF, npy(np.zeros(3)), npy(np.zeros(3))),
        message(BELIEF),
        message({**BELIEF, "work": "much"}, npy(np.zeros(3))),
        message({"kind": "belief", "about": "witness"}, npy(np.zeros(3))),
        message({**BELIEF, "about": ["key"]}, npy(np.zeros(3))),
        message({"kind": "query", "helper": [], "capture": None}),
        b"",
        b"hello\n",
        message([1]),
        b"[" * 100_000 + b"\n",
        b"{" * 3_000_000,
    ],
)
def test_what_comes_back_is_never_unpickled_nor_believed(
    monkeypatch: pytest.MonkeyPatch, said: bytes
) -> None:
    saying(monkeypatch, said)
    with pytest.raises(ContractError, match=r"^s: `believe\(\)` must be"):
        STRANGER.believe(empty_view(), rng=np.random.default_rng(0))


@pytest.mark.parametrize(("kind", "made"), [("belief", Belief), ("guesses", Guesses)])
def test_plain_arrays_are_taken(monkeypatch: pytest.MonkeyPatch, kind: str, made: type) -> None:
    told = {"kind": kind, "work": 2.5, "about": "witness"}
    saying(monkeypatch, message(told, npy(np.zeros((1, 2, 2)))))
    answer = STRANGER.believe(empty_view(), rng=np.random.default_rng(0))
    assert isinstance(answer, made)
    assert answer.work == 2.5


@pytest.mark.parametrize("told", [{}, {"name": "x"}, {"name": "x", "sees": 3, "likes": [], "summary": ""}])
def test_a_half_introduction_is_refused(monkeypatch: pytest.MonkeyPatch, told: dict[str, Any]) -> None:
    saying(monkeypatch, message(told))
    with pytest.raises(UsageError, match=r"s\.py must introduce itself as an attack"):
        meet("/somewhere/s.py")


def test_a_scheme_that_cannot_be_sent_is_named() -> None:
    import threading

    with pytest.raises(ContractError, match="parts that cannot be copied"):
        STRANGER.believe(
            empty_view(SimpleNamespace(name="odd", lock=threading.Lock())), rng=np.random.default_rng(0)
        )


def test_a_registered_attack_of_another_package_is_not_imported(monkeypatch: pytest.MonkeyPatch) -> None:
    entry = EntryPoint(name="visitor", value="visitors_package.attack:Visitor", group="keyassay.attacks")
    known = plugins.names("attack")
    monkeypatch.setattr(plugins, "names", lambda kind: {**known, "visitor": entry})
    asked: list[str] = []

    def converse(spec: str, *_: Any) -> tuple[dict[str, Any], list[Array]]:
        asked.append(spec)
        told = {"name": "visitor", "sees": ["mimic"], "likes": [], "summary": "", "variants": []}
        return {**told, "interferes": False, "tunes": False, "strength": None}, []

    monkeypatch.setattr(isolation, "_converse", converse)
    result = audit(SHORT, attacks=["visitor", "distant-sensor"], corpus=PAIR)
    assert asked == ["visitor"]
    assert result.select(attack="visitor")[0].status == "untested"
    assert [a["isolated"] for a in result.attacks] == [True, False]


def test_what_a_scheme_keeps_in_its_class_or_module_stays_behind(plugins: Path) -> None:
    people = Channel(subjects=10, attempts=5)
    file = plugins / "keeper.py"
    result = audit(f"{file}:Keeper", attacks=f"{file}:Looks", corpus=people)
    (odds,) = result.select(attack="looks", measure="success-odds", budget=100)
    assert odds.value is not None
    # one random guess for each of 100 keys of 12 bits: three hits by chance in one of 400 000 runs
    assert odds.value * odds.attempts < 3


def test_the_same_scheme_in_the_same_process_gives_everything(plugins: Path) -> None:
    kept = load(plugins / "keeper.py")
    scheme, attack = kept.Keeper(), kept.Looks()
    scheme.kept.clear()  # an audit in this process may have filled them to more than a list can hold
    kept.STORE.clear()
    people = Channel(subjects=1, sessions=1, attempts=5)
    (sitting,) = people.sittings()
    block = people.block(sitting, frozenset({"device-a:value"}))
    witness = scheme.witness(block["device-a:value"].capture)
    keys, helper = scheme.generate(witness, rng=np.random.default_rng(0))
    nothing = np.zeros(5, int)
    view = View(scheme=scheme, attempts=5, subject=nothing, session=nothing, captures={}, helper=helper)
    taken = attack.believe(view, rng=np.random.default_rng(1)).keys
    assert (taken == keys[:, None, :]).all(axis=2).any(axis=1).all()
