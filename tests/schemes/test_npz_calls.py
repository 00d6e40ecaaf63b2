"""Schemes that are programs: a worked example, whole audits of it, and files that do not fit."""

from __future__ import annotations

import json
import os
import sys
import time
import zipfile
from pathlib import Path

import numpy as np
import pytest

from harness.errors import ContractError
from schemes.commanded import commanded
from schemes.npz_calls import call_program
from tests.schemes.programs import SETTINGS, capture_of, program


@pytest.mark.parametrize(
    ("body", "text"),
    [
        (
            "sys.exit('boom')",
            r"witness\(\)` must be a program that ends with status 0, got status 1; it .* boom",
        ),
        ("sys.exit('/some/folder/licence.txt: none')", "it said: licence.txt: none"),
        ("raise ValueError('bad \\x1b[2J')", r"it said: ValueError: bad \\x1b\[2J"),
        ("sys.stderr.buffer.write(b'\\xff\\xfe'); sys.exit(3)", "status 3"),
        ("import os; os.kill(os.getpid(), 9)", "status -9"),
        ("pass", "writes OUT.npz, got no such file"),
        ("open(target, 'wb').write(b'garbage' * 99)", "plain arrays in OUT.npz"),
        ("open(target, 'wb').close()", "plain arrays in OUT.npz"),
        ("import os; os.mkdir(target)", "got no such file"),
        (
            "np.savez(target, symbols=np.array([{}], object))",
            "plain arrays in OUT.npz, got array 'symbols' of object",
        ),
        ("np.savez(target, symbols=np.array(['a']))", "array 'symbols' of <U1"),
        ("np.savez(target, acquired=np.ones(3))", r"symbols` must be whole numbers of shape \(3, 40\)"),
        ("np.savez(target, symbols=np.ones((3, 39), int))", r"got int64 of shape \(3, 39\)"),
        ("np.savez(target, symbols=np.ones((3, 40)))", "got float64 of shape"),
        ("np.savez(target, symbols=np.full((3, 40), 2))", "got the value 2"),
        ("np.savez(target, symbols=np.full((3, 40), -1))", "got the value -1"),
        ("np.savez(target, symbols=np.ones((3, 40), int))", r"acquired` must be .* with symbols"),
        (
            "np.savez(target, symbols=np.ones((3, 40), int), acquired=np.ones(3, bool), "
            "features=np.full((3, 40, 1), np.nan))",
            "finite where acquired, got a NaN",
        ),
        (
            "np.savez(target, symbols=np.ones((3, 40), int), acquired=[1] * 3, features=np.ones(3))",
            r"shape \(3, 40, any\)",
        ),
    ],
)
def test_what_a_program_does_wrong_is_said_in_one_sentence(tmp_path: Path, body: str, text: str) -> None:
    with pytest.raises(ContractError, match=text) as told:
        program(tmp_path, body).witness(capture_of(3))
    assert str(told.value).isprintable()


@pytest.mark.parametrize(
    ("body", "text"),
    [
        ("np.savez(target, keys=np.ones((3, 7), int))", r"keys` must be whole numbers of shape \(3, 8\)"),
        ("np.savez(target, **{'keys': np.ones((3, 8), int), 'helper.x': np.ones(2)})", "helper.x.* 3 rows"),
        (
            "np.savez(target, **{'keys': np.ones((3, 8), int), 'helper.x': np.full(3, np.nan)})",
            "helper.x` must be finite",
        ),
        ("np.savez(target, **{'keys': np.ones((3, 8), int), 'helper.x': np.array(1)})", "3 rows"),
    ],
)
def test_what_generate_does_wrong(tmp_path: Path, body: str, text: str) -> None:
    good = (
        "if step == 'witness': np.savez(target, symbols=np.ones((3, 40), int), acquired=np.ones(3, int))\n"
    )
    made = program(tmp_path, f"{good}else: {body}")
    with pytest.raises(ContractError, match=text):
        made.generate(made.witness(capture_of(3)), rng=np.random.default_rng(0))


def test_a_program_that_hangs_is_ended_with_all_that_it_started(tmp_path: Path) -> None:
    mark = tmp_path / "alive"
    child = f"import time, pathlib\\nwhile True:\\n pathlib.Path({str(mark)!r}).touch(); time.sleep(0.05)"
    body = (
        f'import subprocess, time\nsubprocess.Popen([sys.executable, "-c", "{child}"])\n'
        "print('waiting', file=sys.stderr, flush=True)\ntime.sleep(60)"
    )
    start = time.monotonic()
    with pytest.raises(ContractError, match=r"done within 1\.5 s, got no end; it said: waiting"):
        program(tmp_path, body, limit_s=1.5).witness(capture_of(3))
    assert time.monotonic() - start < 10
    mark.unlink(missing_ok=True)
    time.sleep(0.3)
    assert not mark.exists()


def test_what_a_program_leaves_running_is_ended_too(tmp_path: Path) -> None:
    mark = tmp_path / "alive"
    child = f"import time, pathlib\\nwhile True:\\n pathlib.Path({str(mark)!r}).touch(); time.sleep(0.05)"
    body = (
        f'import subprocess, time\nsubprocess.Popen([sys.executable, "-c", "{child}"])\ntime.sleep(0.5)\n'
        "np.savez(target, symbols=np.ones((3, 40), int), acquired=np.ones(3, int))"
    )
    program(tmp_path, body).witness(capture_of(3))
    assert mark.exists()
    mark.unlink()
    time.sleep(0.3)
    assert not mark.exists()


def test_a_program_that_writes_too_much_is_ended(tmp_path: Path) -> None:
    path = tmp_path / "huge.py"
    path.write_text(
        "import sys, time\nwith open(sys.argv[3], 'wb') as f:\n"
        " for _ in range(600): f.write(bytes(10**5)); f.flush(); time.sleep(0.01)\n",
        "utf-8",
    )
    with pytest.raises(ContractError, match="content with 1000000 bytes, got more"):
        call_program("x", [sys.executable, str(path)], "witness", {}, limit_s=20, most_bytes=10**6)


def test_a_small_file_that_unpacks_to_much_is_not_unpacked(tmp_path: Path) -> None:
    path = tmp_path / "bomb.py"
    path.write_text(
        "import sys, numpy as np\nnp.savez_compressed(sys.argv[3], x=np.zeros(10**6))\n", "utf-8"
    )
    with pytest.raises(ContractError, match="more than 1000000 bytes"):
        call_program("x", [sys.executable, str(path)], "witness", {}, limit_s=20, most_bytes=10**6)


def test_a_header_that_promises_more_than_there_is_is_not_believed(tmp_path: Path) -> None:
    small = tmp_path / "small.npy"
    np.save(small, np.zeros(3))
    raw = small.read_bytes().replace(b"(3,), }      ", b"(3000000,), }")
    lie = tmp_path / "lie.npz"
    with zipfile.ZipFile(lie, "w") as archive:
        archive.writestr("x.npy", raw)
    body = f"import shutil; shutil.copy({str(lie)!r}, target)"
    with pytest.raises(ContractError, match="'x' whose shape is not its size"):
        program(tmp_path, body).witness(capture_of(3))


def test_every_call_has_a_fresh_folder_and_none_of_our_surroundings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SECRET_OF_THE_HARNESS", "1")
    log = tmp_path / "log"
    body = (
        "import os, json\n"
        f"with open({str(log)!r}, 'a') as f: f.write(json.dumps([os.getcwd(), os.environ['TMPDIR'], "
        "os.environ['HOME'], sorted(os.listdir('.')), 'SECRET_OF_THE_HARNESS' in os.environ]) + '\\n')\n"
        "open('left', 'w').close()\n"
        "np.savez(target, symbols=np.ones((3, 40), int), acquired=np.ones(3, int))"
    )
    made = program(tmp_path, body)
    for _ in range(2):
        made.witness(capture_of(3))
    calls = [json.loads(line) for line in log.read_text("utf-8").splitlines()]
    assert calls[0][0] != calls[1][0]
    for folder, temporary, home, held, secret in calls:
        assert folder == temporary == home
        assert held == []
        assert not secret
        assert not os.path.exists(folder)


def test_what_a_program_is_given(tmp_path: Path) -> None:
    seen = tmp_path / "seen.npz"
    body = (
        f"import shutil; shutil.copy(source, {str(seen)!r})\n"
        "np.savez(target, symbols=np.ones((3, 40), int), acquired=np.ones(3, int))"
    )
    capture = capture_of(3)
    program(tmp_path, body).witness(capture)
    with np.load(seen, allow_pickle=False) as given:
        assert set(given) == {"samples", "rate_hz"}
        assert np.array_equal(given["samples"], capture.samples)
        assert (given["samples"].dtype, given["rate_hz"].shape) == (np.float64, ())


def test_a_word_is_not_read_by_a_shell(tmp_path: Path) -> None:
    path = tmp_path / "program.py"
    path.write_text("import sys; sys.exit(' '.join(sys.argv[1:2]))", "utf-8")
    tree = {**SETTINGS, "command": {"run": [sys.executable, "program.py", "$HOME; echo `id`"]}}
    with pytest.raises(ContractError, match=r"it said: \$HOME; echo `id`"):
        commanded(tree, folder=tmp_path).witness(capture_of(1))


def test_a_program_that_has_gone_is_said_to_be_missing(tmp_path: Path) -> None:
    path = tmp_path / "vendor"
    path.write_text("#!/bin/sh\n", "utf-8")
    path.chmod(0o755)
    made = commanded({**SETTINGS, "command": {"run": ["vendor"]}}, folder=tmp_path)
    path.unlink()
    with pytest.raises(ContractError, match=r"can be started, got .*No such file"):
        made.witness(capture_of(1))
