"""The command as a user meets it: help, refusals in one sentence, statuses, and the main job."""

from __future__ import annotations

import csv
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pytest
from command_line import run

ROOT = Path(__file__).parents[2]
HEADER = ["file", "subject", "session", "attempt", "role", "signal", "rate_hz", "unit"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two people, two attempts each, a few seconds of both devices, one NPZ a person."""
    rng = np.random.default_rng(0)
    rows = []
    for subject in ("p1", "p2"):
        arrays = {}
        for attempt in ("1", "2"):
            for role in ("device-a", "device-b"):
                name = f"{role}-{attempt}"
                arrays[name] = rng.standard_normal((1, 3000)) * 100
                rows.append([f"{subject}.npz", subject, "s1", attempt, role, "emg", "1000", "uV", name])
        np.savez(tmp_path / f"{subject}.npz", **arrays)
    write(tmp_path, rows)
    return tmp_path


def write(folder: Path, rows: list[list[str]], header: list[str] | None = None) -> None:
    with (folder / "manifest.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header or [*HEADER, "array"], *rows])


def read(folder: Path) -> list[list[str]]:
    with (folder / "manifest.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.reader(file))[1:]


def change(column: str, value: str, row: int = 0) -> Callable[[Path], None]:
    def damage(folder: Path) -> None:
        rows = read(folder)
        rows[row][[*HEADER, "array"].index(column)] = value
        write(folder, rows)

    return damage


def samples(values: object) -> Callable[[Path], None]:
    def damage(folder: Path) -> None:
        with np.load(folder / "p1.npz") as stored:
            arrays = dict(stored)
        arrays["device-a-1"] = values  # type: ignore[assignment]
        np.savez(folder / "p1.npz", **arrays)

    return damage


def without(role: str) -> Callable[[Path], None]:
    return lambda folder: write(folder, [r for r in read(folder) if r[4] != role])


def duplicated(folder: Path) -> None:
    rows = read(folder)
    write(folder, [*rows, rows[0]])


def unknown_column(folder: Path) -> None:
    write(folder, [[*row, "1"] for row in read(folder)], [*HEADER, "array", "subjekt"])


def unreadable(folder: Path) -> None:
    (folder / "one.csv").write_text("emg\n1.0\nhigh\n3.0\n", "utf-8")
    change("file", "one.csv")(folder)
    change("array", "")(folder)


def gone(folder: Path) -> None:
    (folder / "p1.npz").unlink()


NOT_FINITE = np.full((1, 3000), np.nan)
INFINITE = np.full((1, 3000), np.inf)
BAD_CORPORA: list[tuple[str, Callable[[Path], None], str]] = [
    ("missing file", gone, "p1.npz"),
    ("unknown column", unknown_column, "subjekt"),
    ("no device-a", without("device-a"), "device-a"),
    ("no device-b", without("device-b"), "device-b"),
    ("NaN", samples(NOT_FINITE), "p1.npz"),
    ("infinite", samples(INFINITE), "p1.npz"),
    ("wrong unit", change("unit", "mmHg"), "mmHg"),
    ("zero length", samples(np.zeros((1, 0))), "p1.npz"),
    ("unreadable number", unreadable, r"one\.csv.*3"),
    ("duplicate attempt", duplicated, r"2.*10|10.*2"),
    ("parent folder", change("file", "../p1.npz"), r"\.\./p1\.npz"),
    ("absolute path", change("file", "/p1.npz"), "/p1.npz"),
    ("objects", samples(np.array([object()], dtype=object)), "p1.npz"),
    ("rate of nothing", change("rate_hz", "0"), "rate_hz"),
]


@pytest.mark.parametrize(("damage", "place"), [b[1:] for b in BAD_CORPORA], ids=[b[0] for b in BAD_CORPORA])
def test_a_damaged_corpus_is_refused_in_one_sentence(
    capsys: pytest.CaptureFixture[str], folder: Path, damage: Callable[[Path], None], place: str
) -> None:
    damage(folder)
    before = sorted(p.name for p in folder.iterdir())
    out = folder / "out"
    status, said, told = run(
        capsys, "audit", "envelope-trend:blocks=1,key_bits=12", "--corpus", str(folder), "--out", str(out)
    )
    assert status == 2, told
    assert said == ""
    assert told.count("\n") == 1
    assert told.startswith("keyassay: ")
    assert re.search(place, told), told
    assert "Traceback" not in told
    assert sorted(p.name for p in folder.iterdir()) == before


def test_the_undamaged_corpus_is_audited(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    out = folder / "out"
    status, said, _ = run(
        capsys, "audit", "envelope-trend:blocks=1,key_bits=12", "--corpus", str(folder), "--out", str(out)
    )
    assert status == 0
    assert said.rstrip().endswith(f"Threat report: {out / 'report.html'}")
    assert sorted(p.name for p in out.iterdir()) == ["report.html", "report.md", "result.json"]
    assert str(folder) not in (out / "result.json").read_text("utf-8")


BAD_WORDS: list[tuple[list[str], str]] = [
    (["audit", "envelop-trend"], "did you mean 'envelope-trend'"),
    (["audit", "--attack", "replya"], "did you mean 'replay'"),
    (["audit", "--corpus", "nowhere/manifest.csv"], "nowhere"),
    (["audit", "--corpus", "cargo-byke"], "did you mean 'cargo-bike'"),
    (["audit", "no_such_file.py:Scheme"], "no_such_file.py"),
    (["audit", "{plugins}/median_bits.py:MeanBits"], "did you mean 'MedianBits'"),
    (["audit", "{plugins}/thief.py"], "exactly one scheme"),
    (["audit", "{plugins}/broken.py:NoMembers"], "key_bits"),
    (["audit", "--attack", "{plugins}/broken.py:NoMembers"], "sees"),
    (["audit", "--attack", "{plugins}/median_bits.py:MedianBit"], "did you mean 'MedianBits'"),
    (["audit", "{tmp}/breaks.py:Scheme"], "ZeroDivisionError"),
    (["audit", "--attack", "{tmp}/breaks.py:Attack"], "ZeroDivisionError"),
    (["audit", "envelope-trend:windows=3"], "did you mean 'window_s'"),
    (["audit", "envelope-trend:window_s=-1"], "window_s"),
    (["audit", "envelope-trend:window_s"], "envelope-trend:window_s"),
    (["audit", "--subjects", "0"], "--subjects"),
    (["audit", "--seed", "-1"], "--seed"),
    (["audit", "--jobs", "many"], "--jobs"),
    (["audit", "--out", "{tmp}/breaks.py"], "--out"),
    (["audit", "--out", "{tmp}/breaks.py/below"], "--out"),
    (["audit", "--out", "{tmp}/nowhere"], "--out"),
    (["audit", "--attack", "{plugins}/rude.py:AsksTheOwner"], "device-a:value"),
    (["audit", "--attempts", "-3"], "--attempts"),
    (["audit", "{plugins}/median_bits.py"], "device-a:value"),
    (["audit", "--outt", "x"], "--outt"),
    (["adit"], "adit"),
]


@pytest.mark.parametrize(("words", "place"), BAD_WORDS, ids=[" ".join(w) for w, _ in BAD_WORDS])
def test_a_wrong_word_is_refused_in_one_sentence(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    plugins: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    place: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "breaks.py").write_text("1 / 0\n", "utf-8")
    (tmp_path / "nowhere").symlink_to(tmp_path / "gone")
    status, said, told = run(capsys, *[w.format(plugins=plugins, tmp=tmp_path) for w in words])
    assert status == 2, told
    assert said == ""
    assert told.count("\n") == 1, told
    assert place in told
    assert "Traceback" not in told
    assert {p.name for p in tmp_path.iterdir()} <= {"breaks.py", "nowhere", "__pycache__"}
    assert not (tmp_path / "nowhere").exists()


def test_a_failing_plug_in_ends_in_3_and_the_rest_is_written(
    capsys: pytest.CaptureFixture[str], plugins: Path, tmp_path: Path
) -> None:
    status, said, told = run(
        capsys,
        *[
            "audit",
            "interval-gray",
            "--attack",
            f"{plugins / 'broken.py'}:Raises",
            "--attack",
            "population",
        ],
        *["--subjects", "3", "--attempts", "2", "--out", str(tmp_path / "out")],
    )
    assert status == 3
    assert told.splitlines()[-1].startswith("failed: interval-gray, raises: ")
    assert "it rained on the sensor" in told
    assert "population" in said
    assert (tmp_path / "out" / "report.html").is_file()


def test_help_is_there_at_every_level(capsys: pytest.CaptureFixture[str]) -> None:
    status, said, _ = run(capsys, "--help")
    assert status == 0
    assert "audit" in said
    assert "Exit status" in said
    status, said, _ = run(capsys, "audit", "-h")
    assert status == 0
    for option in (
        "--attack",
        "--corpus",
        "--subjects",
        "--sessions",
        "--attempts",
        "--seed",
        "--jobs",
        "--out",
    ):
        assert option in said
    for word in ("SCHEME", "Examples:", "my_scheme.py:MyScheme"):
        assert word in said
    status, said, _ = run(capsys, "--version")
    assert status == 0
    assert re.fullmatch(rf"keyassay, version {re.escape(version('keyassay'))}\n", said)


def test_list_shows_schemes_attacks_corpora_codes_and_bodies(capsys: pytest.CaptureFixture[str]) -> None:
    status, said, _ = run(capsys, "list")
    assert status == 0
    for name in (
        "envelope-trend",
        "mimicry",
        "cargo-bike",
        "golay-24-12",
        "bch-127-64",
        "muscle",
        "shuffled-pairs",
    ):
        assert name in said


def test_help_loads_no_numerical_library() -> None:
    code = (
        "import sys; sys.argv = ['keyassay', '--help']\n"
        "from harness.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'sklearn', 'pandas', 'matplotlib'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize(
    ("typed", "expected"),
    [("keyassay audit env", "envelope-trend"), ("keyassay audit --attack mim", "mimicry")],
)
def test_names_are_completed(typed: str, expected: str) -> None:
    words = typed.split()
    environment = {
        **os.environ,
        "_KEYASSAY_COMPLETE": "bash_complete",
        "COMP_WORDS": typed,
        "COMP_CWORD": str(len(words) - 1),
    }
    done = subprocess.run(
        [Path(sys.executable).parent / "keyassay"],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert f"plain,{expected}" in done.stdout


def test_the_command_of_make_audit_does_the_main_job(tmp_path: Path) -> None:
    menu = (ROOT / "Makefile").read_text("utf-8")
    found = re.search(r"^audit:.*\n\t\$\(BIN\)/(keyassay .*)$", menu, re.MULTILINE)
    assert found is not None
    words = shlex.split(found[1])
    words[0] = str(Path(sys.executable).parent / "keyassay")
    done = subprocess.run(
        [*words, "--subjects", "2", "--attempts", "1", "--out", str(tmp_path / "audit")],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
    )
    assert done.returncode == 0, done.stderr
    for adversary in ("mimicry", "helper-leak", "distant-sensor", "replay"):
        assert re.search(rf"^{adversary}\s", done.stdout, re.MULTILINE)
    last = done.stdout.rstrip().splitlines()[-1]
    assert Path(last.removeprefix("Threat report: ")).is_file()
