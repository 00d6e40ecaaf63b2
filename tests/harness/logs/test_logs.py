"""A scheme of which there is only a log: what it says is measured, what it cannot say is untested."""

from __future__ import annotations

import csv
import pickle
import zipfile
from pathlib import Path
from typing import Any

import cloudpickle
import numpy as np
import pytest
from active_support import staged
from scipy.stats import binom

from fixtures.controls import Channel, SignCommitment
from fixtures.scenario import CargoBike
from harness import audit, plugins
from harness.contracts import DEVICE_B, Array
from harness.errors import CorpusError, UsageError
from harness.logs import is_log, open_log
from harness.logs.files import MOST_BYTES
from harness.logs.replaying import replayable
from harness.optional_parts import Assisting
from reports.reading import outcome

PEOPLE, EACH, BITS, ERROR = 40, 10, 16, 0.2


def told(rows: int = PEOPLE * EACH, **more: Array) -> dict[str, Array]:
    """Exchanges of uniform bits whose two devices differ seldom, and a mimic who errs in a fifth."""
    rng = np.random.default_rng(5)
    a = rng.integers(0, 2, (rows, BITS))
    b = a ^ (rng.random(a.shape) < 0.02)
    mimic = a ^ (rng.random(a.shape) < ERROR)
    columns = {
        "subject": np.array([f"rider {i // EACH:02d}" for i in range(rows)]),
        "session": np.arange(rows) // 5 % 2 + 9,  # 9 comes before 10, though not as words
        "witness_a": a,
        "witness_b": b,
        "key_a": a[:, ::-1],
        "key_b": b[:, ::-1],
        "helper:salt": rng.integers(0, 256, (rows, 2)),
        "role:mimic": mimic,
    }
    return {**columns, **more}


def written(folder: Path, columns: dict[str, Array], name: str = "trial.npz") -> Path:
    path = folder / name
    if path.suffix == ".npz":
        np.savez(path, **columns)
        return path
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        writer.writerows(zip(*([_cell(v) for v in values] for values in columns.values()), strict=True))
    return path


def _cell(value: Any) -> str:
    if np.ndim(value) == 0:
        return str(value)
    digits = all(0 <= v < 10 for v in value)
    return ("" if digits else " ").join(str(int(v)) for v in value)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("logs")
    written(folder, told())
    written(folder, told(), "trial.csv")
    return folder


def test_a_role_gets_what_its_symbols_are_worth(folder: Path) -> None:
    result = audit(str(folder / "trial.npz"), attacks=["mimicry", "population", "helper-tamper", "relay"])
    rows = PEOPLE * EACH
    none, one, two = binom.pmf([0, 1, 2], BITS, ERROR)
    # best first: the mimic's own word, all with one change, and 83 of the 120 with two
    for budget, truth in ((1, none), (100, none + one + two * 83 / 120)):
        (odds,) = result.select(attack="mimicry", measure="success-odds", budget=budget)
        low, high = binom.interval(1 - 0.01 / 2, rows, truth)
        assert odds.value is not None
        assert low - 1 <= odds.value * rows <= high + 1
        assert (odds.side, odds.high) == ("attacker-at-least", 1.0)  # a decoder may get any amount more
    (agreement,) = result.select(attack=None, measure="key-agreement")
    assert agreement.value == np.mean((told()["witness_a"] == told()["witness_b"]).all(axis=1))
    assert result.corpus["data"] == "recorded"
    assert (result.corpus["subjects"], result.corpus["sessions"]) == (PEOPLE, 2 * PEOPLE)


def test_a_witness_that_is_the_key_and_nothing_published_is_ranked_exactly(tmp_path: Path) -> None:
    columns = told()
    bare = {k: columns[k] for k in ("subject", "session", "witness_a", "witness_b", "role:mimic")}
    result = audit(str(written(tmp_path, bare)), attacks="mimicry")
    (odds,) = result.select(attack="mimicry", measure="success-odds", budget=1)
    assert odds.high is not None
    assert odds.high < 0.2


def test_an_undecoded_log_is_cleared_of_nothing(folder: Path) -> None:
    result = audit(str(folder / "trial.npz"), attacks="mimicry")
    (rank,) = result.select(attack="mimicry", measure="key-rank")
    assert (rank.method, rank.low) == ("whole-witness", 0.0)
    verdict = outcome(result, "trial", "mimicry").verdict
    assert (verdict.tone, verdict.text[:9]) in (("open", "undecided"), ("alarm", "gains: be"))
    # 100 guesses hold a quarter of keys of 16 bits, far above the promise: that much is certain
    assert result.select(attack="mimicry", measure="success-odds", budget=100)[0].low > 100 / 2**16


def test_a_log_keeps_the_optional_parts_of_its_scheme(tmp_path: Path) -> None:
    parts = {
        "crossing-set": {"labels", "linear", "extraction"},
        "level-golay": {"labels", "linear", "generate", "channels"},
        "gait-deviation": {"assisted"},
    }
    for name, members in parts.items():
        scheme = plugins.resolve("scheme", name).value
        m = scheme.witness(_capture_of(scheme)).symbols.shape[1]
        logged = replayable(scheme, name="x", key_bits=scheme.key_bits, symbols=m, alphabet=2)
        assert members <= {part for part in dir(logged) if not part.startswith("_")}
        assert not hasattr(logged, "listed")
        assert isinstance(logged, Assisting) == (name == "gait-deviation")
        again = pickle.loads(cloudpickle.dumps(logged))
        assert again.labels.shape == scheme.labels.shape


def _capture_of(scheme: Any) -> Any:
    corpus = CargoBike(subjects=1, sessions=1, attempts=1)
    stream = f"device-a:{scheme.signal}"
    return corpus.block(corpus.sittings()[0], frozenset({stream}))[stream].capture


def test_what_a_log_cannot_answer_is_untested_and_says_why(folder: Path) -> None:
    attacks = ["helper-tamper", "injection", "relay", "camera"]
    result = audit(str(folder / "trial.npz"), attacks=attacks)
    for attack, reason in (
        ("helper-tamper", "no device that could be asked"),
        ("injection", "cannot be run again"),
        ("relay", "no live messages"),
        ("camera", "no capture of role 'camera'"),
    ):
        (row,) = result.select(attack=attack, measure="success-odds")
        assert row.status == "untested"
        assert reason in str(row.reason)
    for measure in ("strangers-agreement", "time", "rate"):
        row = result.select(attack=None, measure=measure)[0]
        assert row.status == "untested", row
    assert not result.failed


def test_a_csv_says_the_same_as_arrays(folder: Path) -> None:
    both = [audit(str(folder / name), attacks="mimicry") for name in ("trial.npz", "trial.csv")]
    assert both[0].rows == both[1].rows


def test_sessions_that_are_numbers_come_in_their_order(folder: Path) -> None:
    _, corpus = open_log(folder / "trial.csv")
    first = corpus.sittings()[0]
    assert np.array_equal(corpus.finished(first, 0).a.symbols, told()["witness_a"][:5])


def test_the_scheme_that_attacks_are_shown_knows_nothing_of_what_happened(
    folder: Path, plugins: Path
) -> None:
    logged, corpus = open_log(folder / "trial.npz")
    secret = corpus.log.keys_a.tobytes()
    assert len(cloudpickle.dumps(logged)) < 2000 < len(secret)
    result = audit(str(folder / "trial.npz"), attacks=f"{plugins / 'thief.py'}:Thief")
    (odds,) = result.select(attack="thief", measure="success-odds", budget=100)
    # 64 guesses at most of 2^16 keys: more hits than this in one run of a million
    assert odds.status == "measured"
    assert odds.value * 400 <= binom.ppf(1 - 1e-6, 400, 64 / 2**BITS)


def test_a_log_of_a_known_scheme_is_attacked_as_the_scheme_is(tmp_path: Path) -> None:
    scheme = SignCommitment(code="hamming-7-4", blocks=3)
    people = Channel(subjects=8, attempts=5, errors=((DEVICE_B, 0.02),))
    stage = staged(people, scheme, tmp_path)
    honest = stage.honest
    columns: dict[str, Array] = {
        "subject": honest.subject,
        "session": honest.session,
        "witness_a": honest.a.symbols,
        "witness_b": honest.b.symbols,
        "key_a": honest.keys_a,
        "key_b": honest.keys_b,
        "accepted": honest.accepted,
        **{f"helper:{k}": v for k, v in honest.helper.items()},
    }
    logged, corpus = open_log(written(tmp_path, columns), scheme=scheme)
    again = audit(logged, attacks=["helper-leak", "helper-tamper"], corpus=corpus)
    live = audit(scheme, attacks=["helper-leak", "helper-tamper"], corpus=people)
    for measure in ("key-agreement", "bit-mismatch", "strangers-agreement", "linkage", "min-entropy"):
        ours, theirs = ([r.value for r in x.select(attack=None, measure=measure)] for x in (again, live))
        assert ours == theirs
        assert any(v is not None for v in ours), measure
    for attack in ("helper-leak", "helper-tamper"):
        ours, theirs = (
            [r.value for r in x.select(attack=attack, measure="success-odds")] for x in (again, live)
        )
        assert ours == theirs
        assert len(ours) > 3


def test_where_rounds_went_to_and_fro_a_witness_is_not_taken_for_a_key(folder: Path) -> None:
    result = audit(f"{folder / 'trial.npz'}:one_way=False", attacks="mimicry")
    (row,) = result.select(attack="mimicry", measure="success-odds")
    assert row.status == "untested"
    assert "neither" in str(row.reason)


def test_keys_alone_stand_for_witnesses(tmp_path: Path) -> None:
    columns = told()
    kept = {k: columns[k] for k in ("subject", "key_a", "key_b")}
    logged, corpus = open_log(written(tmp_path, kept))
    assert (logged.symbols, logged.alphabet, logged.key_bits) == (BITS, 2, BITS)
    assert corpus.describe()["taken for granted"] == [
        "key bits are taken for witness bits: the log holds no witness",
        "B is taken to have accepted where its key is A's: the log does not say",
    ]


def test_an_empty_witness_was_not_acquired_and_an_empty_key_never_made(tmp_path: Path) -> None:
    text = "subject,witness_a,witness_b,key_a,key_b\nx,0120,0120,0x3,0011\nx,,0120,,\ny,0110,,0x1,\n"
    text += "y,1111,1111,,0001\n"
    path = tmp_path / "trial.csv"
    path.write_text(text, "utf-8")
    logged, corpus = open_log(path)
    log = corpus.log
    assert (logged.alphabet, logged.key_bits) == (3, 4)
    assert log.a.acquired.tolist() == [True, False, True, True]
    assert log.b.acquired.tolist() == [True, True, False, True]
    assert log.keys_a.tolist()[0] == [0, 0, 1, 1]
    established = [corpus.finished(s, i).established.tolist() for i, s in enumerate(corpus.sittings())]
    assert established == [[True, False], [True, False]]
    agreed = [corpus.finished(s, i).agreed.tolist() for i, s in enumerate(corpus.sittings())]
    assert agreed == [[True, False], [False, False]]


BAD = {
    "nobody": ({"subject": None}, "whose exchange"),
    "one side": ({"witness_b": None}, "got witness_a alone"),
    "unknown": ({"colour": np.zeros(400)}, "got 'colour'"),
    "rows": ({"accepted": np.zeros(3)}, "must have 400 rows"),
    "widths": ({"role:mimic": np.zeros((400, 3), int)}, "must hold 16 symbols"),
    "bits": ({"key_b": np.full((400, 16), 2)}, "row 0: must hold bits, got 2"),
    "halves": ({"witness_b": np.full((400, 16), 0.5)}, "row 0: must hold whole numbers"),
    "partly": (
        {"role:mimic": np.r_[[[-1, *[0] * 15]], np.zeros((399, 16), int)]},
        "row 0: must be given whole",
    ),
    "keys": ({"key_b": np.zeros((400, 9), int)}, "must be alike"),
    "words": ({"helper:salt": np.array(["x"] * 400)}, "finite numbers"),
    "doubt": ({"accepted": np.full(400, 0.3)}, "must be 0 or 1"),
    "time": ({"seconds": np.zeros(400)}, "must be above 0"),
    "letters": ({"witness_a": np.array(["01"] * 400)}, "must be numbers"),
    "great": ({"witness_a": np.full((400, 16), 300)}, "at most 256"),
    "role of an owner": ({"role:device-a": np.ones((400, 16), int)}, "a role must be an adversary's"),
    "role of a word": ({"role:history": np.ones((400, 16), int)}, "a role must be an adversary's"),
    "role of a path": ({"role:../x": np.ones((400, 16), int)}, "a role must be .* got '../x'"),
    "helper without a name": ({"helper:": np.ones(400)}, "helper data must have a printable name"),
    "subjects in two rows": ({"subject": np.ones((400, 2))}, "subject: must be a number or word"),
    "sessions of fields": ({"session": np.zeros(400, "i4,f8")}, "session: must be a number or word"),
    "no number": (
        {"subject": np.r_[1.0, np.nan, np.ones(398)]},
        "subject, row 1: must be given in every row",
    ),
    "nameless": ({"subject": np.array(["a", "", *["b"] * 398])}, "subject, row 1: must be given"),
    "aborted in pairs": ({"helper:aborted": np.ones((400, 2))}, "helper:aborted, row 0: must be 0 or 1"),
    "aborted twice": ({"helper:aborted": np.r_[2, np.zeros(399)]}, "helper:aborted, row 0: must be 0 or 1"),
    "vast symbols": ({"witness_a": np.full((400, 16), 1e300)}, "row 0: must hold whole numbers below"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_is_wrong_is_said_in_one_sentence(tmp_path: Path, case: str) -> None:
    changes, sentence = BAD[case]
    columns = {k: v for k, v in {**told(), **changes}.items() if v is not None}
    with pytest.raises(CorpusError, match=sentence) as raised:
        open_log(written(tmp_path, columns))
    assert str(raised.value).startswith("trial.npz")
    assert "\n" not in str(raised.value)


FILES = {
    "nothing.npz": (b"", "1 to"),
    "noise.npz": (b"not a zip file", "NPZ file of plain arrays"),
    "noise.csv": (b"\xff\xfe\x00", "CSV file in UTF-8"),
    "header.csv": (b"subject,key_a,key_b\n", "at least one row"),
    "ragged.csv": (b"subject,key_a,key_b\nx,01\n", "row 2: must have 3 cells, got 2"),
    "twice.csv": (b"subject,subject,key_a\nx,x,01\n", "'subject' twice"),
    "hex.csv": (b"subject,key_a,key_b\nx,0xzz,01\n", "row 2: must be hexadecimal"),
    "underscore.csv": (b"subject,key_a,key_b\nx,0x_f,0x_f\n", "row 2: must be hexadecimal"),
    "short.csv": (b"subject,key_a,key_b\nx,01,01\ny,011,01\n", "row 3: must hold 2 values"),
    "word.csv": (b"subject,key_a,key_b,seconds\nx,01,01,long\n", "row 2: must be a number, got 'long'"),
}


@pytest.mark.parametrize("name", FILES)
def test_a_damaged_file_is_named(tmp_path: Path, name: str) -> None:
    content, sentence = FILES[name]
    (tmp_path / name).write_bytes(content)
    with pytest.raises(CorpusError, match=sentence):
        open_log(tmp_path / name)


def test_a_header_that_is_no_header_is_one_sentence(tmp_path: Path) -> None:
    header = b"{'descr': '|u1', 'fortran_order': False, 'shape': (4,), ((((}\n"
    with zipfile.ZipFile(tmp_path / "trial.npz", "w") as archive:
        archive.writestr("subject.npy", b"\x93NUMPY\x01\x00" + len(header).to_bytes(2, "little") + header)
    with pytest.raises(CorpusError, match="plain arrays"):
        open_log(tmp_path / "trial.npz")


def test_what_unpacks_to_more_than_can_be_computed_with_is_not_unpacked(tmp_path: Path) -> None:
    np.savez_compressed(tmp_path / "trial.npz", subject=np.zeros(MOST_BYTES // 8 + 1))
    with pytest.raises(CorpusError, match=f"at most {MOST_BYTES} bytes"):
        open_log(tmp_path / "trial.npz")


def test_pickles_are_not_read(tmp_path: Path) -> None:
    np.savez(tmp_path / "trial.npz", subject=np.array([{}], dtype=object))
    with pytest.raises(CorpusError, match="plain arrays"):
        open_log(tmp_path / "trial.npz")


def test_a_log_stands_by_itself(folder: Path) -> None:
    path = str(folder / "trial.npz")
    with pytest.raises(UsageError, match="by itself, with the people it brings along, got 2 schemes"):
        audit([path, "interval-gray"])
    with pytest.raises(UsageError, match="got a corpus"):
        audit(path, corpus="cargo-bike")
    with pytest.raises(UsageError, match="takes the parameters alphabet, one_way, data and scheme"):
        audit(f"{path}:colour=3")
    with pytest.raises(UsageError, match="must be 2 to 256"):
        audit(f"{path}:alphabet=1")
    assert [is_log(s) for s in ("a.npz", "b/a.csv:alphabet=4", "a.py", "interval-gray", 3)] == [
        *(True, True, False),
        *(False, False),
    ]


def test_the_command_that_made_it_names_no_folder(folder: Path) -> None:
    result = audit(f"{folder / 'trial.npz'}:alphabet=2", attacks="population")
    said = " ".join(result.settings["command"])
    assert said == "keyassay audit trial.npz:alphabet=2 --attack population --seed 0"
    assert plugins.shown(str(folder / "trial.npz")) == "trial.npz"
