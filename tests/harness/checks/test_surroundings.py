"""What is noticed of the process and its files, and what is not held against anybody."""

from __future__ import annotations

import io
import os
import py_compile
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from harness.checks.outcomes import Breach
from harness.checks.surroundings import Watch
from harness.checks.written_files import Watcher, own_folder, remove_own


def watched(kind: str, work: Any) -> str:
    """The sentence of a breach, or nothing."""
    watch = Watch()
    with watch.over("witness()"):
        work()
    try:
        watch.judge(kind)
    except Breach as breach:
        return f"{breach.place}: {breach.expected}, {breach.got}"
    return ""


def environment(work: Any) -> str:
    return watched("environment", work)


def test_variables_and_folders_are_noticed_and_set_back(tmp_path: Path) -> None:
    before = os.getcwd()
    assert "CONTRACT_WORD" in environment(lambda: os.environ.update(CONTRACT_WORD="1"))
    assert "CONTRACT_WORD" not in os.environ
    assert "working directory" in environment(lambda: os.chdir(tmp_path))
    assert os.getcwd() == before
    with np.errstate(divide="warn"):
        assert "numpy.geterr()" in environment(lambda: np.seterr(divide="raise"))
        assert np.geterr()["divide"] == "warn"
    assert "warnings.filters" in environment(lambda: warnings.simplefilter("ignore", ImportWarning))
    assert "umask" in environment(lambda: os.umask(0o077))
    assert environment(lambda: None) == ""


def test_a_thread_that_runs_on_is_noticed() -> None:
    go = threading.Event()
    for daemon in (False, True):
        thread = threading.Thread(target=go.wait, daemon=daemon)
        try:
            assert "threads" in environment(thread.start)
        finally:
            go.set()
            thread.join()
        go.clear()
    assert environment(lambda: threading.Thread(target=lambda: None).start()) == ""


@pytest.mark.parametrize("name", ["stdout", "stderr"])
def test_another_standard_stream_is_noticed_and_set_back(name: str) -> None:
    before = getattr(sys, name)
    assert f"sys.{name}" in environment(lambda: setattr(sys, name, io.StringIO()))
    assert getattr(sys, name) is before


def test_another_global_bit_generator_is_noticed_and_set_back() -> None:
    before = np.random.mtrand.get_bit_generator()
    swapped = watched("random state", lambda: np.random.mtrand.set_bit_generator(np.random.PCG64(1)))
    assert "numpy.random" in swapped
    assert np.random.mtrand.get_bit_generator() is before


def test_global_coins_are_noticed() -> None:
    assert "numpy.random" in watched("random state", np.random.mtrand.random_sample)
    rng = np.random.Generator(np.random.PCG64(1))
    assert watched("random state", rng.random) == ""


def files(work: Any) -> str:
    return watched("files", work)


def test_files_that_stay_are_noticed(tmp_path: Path) -> None:
    there = tmp_path / "there.txt"
    there.write_text("old")
    assert "'there.txt' written" in files(lambda: there.write_text("new"))
    assert "'more.txt' made" in files(lambda: (tmp_path / "more.txt").write_text("x"))
    assert "'folder' made" in files((tmp_path / "folder").mkdir)
    assert "'other.txt' removed" not in files(lambda: (tmp_path / "other.txt").unlink(missing_ok=True))
    assert "'more.txt' removed" in files(lambda: os.rename(tmp_path / "more.txt", tmp_path / "moved.txt"))
    assert "'there.txt' removed" in files(there.unlink)
    assert "'link' made" in files(lambda: (tmp_path / "link").symlink_to(tmp_path))
    assert "'folder' removed" in files((tmp_path / "folder").rmdir)
    assert "'raw' made" in files(lambda: os.close(os.open(tmp_path / "raw", os.O_CREAT | os.O_WRONLY)))


def test_what_is_made_and_removed_again_and_what_is_only_read_is_fine(tmp_path: Path) -> None:
    def busy() -> None:
        with tempfile.TemporaryDirectory(dir=tmp_path) as folder:
            Path(folder, "a", "b").mkdir(parents=True)
            Path(folder, "a", "b", "c.txt").write_text("x")
        shutil.rmtree(tmp_path / "none", ignore_errors=True)
        with open(os.devnull, "w") as nothing:
            nothing.write("x")

    assert files(busy) == ""
    (tmp_path / "there.txt").write_text("old")
    assert files((tmp_path / "there.txt").read_text) == ""


def test_folders_of_the_checks_themselves_are_nobodys_doing(tmp_path: Path) -> None:
    own = own_folder()
    assert files(lambda: (own / "0-0.npy").write_text("x")) == ""
    assert files(lambda: shutil.rmtree(own)) == ""
    remove_own(own)
    assert files(own.mkdir) != ""
    alike = tmp_path / "keyassay-check-x"
    assert files(alike.mkdir) != ""
    assert "'key' made" in files(lambda: (alike / "key").write_text("x"))


@pytest.mark.skipif(not Path("/dev/shm").is_dir(), reason="there is no memory that files can be kept in")
def test_memory_is_a_place_to_keep_files_as_well() -> None:
    place = Path("/dev/shm", f"contract-{os.getpid()}")
    try:
        assert f"{place.name!r} made" in files(lambda: place.write_text("x"))
    finally:
        place.unlink(missing_ok=True)


def test_what_an_import_leaves_is_fine_and_nothing_else_beside_it(tmp_path: Path) -> None:
    (tmp_path / "known.py").write_text("")
    folder = tmp_path / "__pycache__"
    assert files(lambda: py_compile.compile(str(tmp_path / "known.py"))) == ""
    assert "'key.pyc' made" in files(lambda: (folder / "key.pyc").write_text("x"))
    assert "'known.txt' made" in files(lambda: (folder / "known.txt").write_text("x"))


def test_what_is_changed_in_place_is_noticed(tmp_path: Path) -> None:
    for number, work in enumerate(
        (
            lambda path: os.truncate(path, 1),
            lambda path: os.chmod(path, 0o600),
            lambda path: os.utime(path, (1, 1)),
        )
    ):
        path = tmp_path / f"{number}.txt"
        path.write_text("old")
        assert f"'{number}.txt' changed" in files(lambda work=work, path=path: work(path))
    with path.open() as still_open:
        assert "'2.txt' changed" in files(lambda: os.chmod(still_open.fileno(), 0o644))
    store = tmp_path / "store.db"
    assert "'store.db' made" in files(lambda: sqlite3.connect(store).close())
    assert files(lambda: sqlite3.connect(":memory:").close()) == ""


def test_programs_are_noticed() -> None:
    assert "true" in watched("programs", lambda: subprocess.run(["true"], check=True))
    assert "true" in watched("programs", lambda: os.system("true"))
    assert watched("programs", lambda: None) == ""


def test_nothing_is_noticed_outside(tmp_path: Path) -> None:
    watch = Watch()
    with watch.over("witness()"):
        pass
    (tmp_path / "later.txt").write_text("x")
    watch.judge("files")


def test_the_first_breach_is_kept_and_the_work_may_fail() -> None:
    watch = Watch()
    with pytest.raises(KeyError), watch.over("witness()"):
        raise KeyError("x")
    for member in ("witness()", "generate()"):
        with watch.over(member):
            os.environ["CONTRACT_WORD"] = "1"
    with pytest.raises(Breach) as told:
        watch.judge("environment")
    assert told.value.place.member == "witness()"


def test_events_are_read_as_the_system_tells_them(tmp_path: Path) -> None:
    there = tmp_path / "there.txt"
    there.write_text("old")
    folder = os.open(tmp_path, os.O_RDONLY)
    try:
        seen = Watcher()
        seen.see("os.remove", ("there.txt", folder))  # by its folder's number, as trees are removed
        seen.see("os.remove", ("there.txt", 10**6))
        seen.see("os.rmdir", (str(tmp_path / "none"), -1))
        seen.see("os.mkdir", ("new", 0o777, folder))
    finally:
        os.close(folder)
    for mode, flags in (("r", 0), ("w", 0), (None, os.O_RDONLY), (None, os.O_WRONLY)):
        seen.see("open", (str(tmp_path / f"{mode}{flags}.txt"), mode, flags))
    seen.see("open", (3, "w", 0))
    seen.see("open", ("/dev/null", "w", 0))
    seen.see("open", ("/dev/ptmx/none", "r", 0))
    (tmp_path / "x.py").touch()
    for compiled in ("x.pyc", "x.cpython-313.pyc", "x.cpython-313.opt-1.pyc.140234"):
        seen.see("open", (str(tmp_path / "__pycache__" / compiled), "wb", 0))
    seen.see("os.mkdir", (str(tmp_path / "__pycache__"), 0o777, -1))
    seen.see("os.truncate", (10**6, 0))
    seen.see("os.fork", ())
    seen.see("subprocess.Popen", ("/bin/true", ["true"], None, None))
    assert seen.started == ["a copy of this process", "true"]
    seen.see("os.rename", (str(there), str(tmp_path / "moved.txt"), -1, -1))
    seen.see("os.symlink", (str(there), str(tmp_path / "link"), -1))
    seen.see("os.listdir", (str(tmp_path),))
    assert {Path(path).name: done for path, done in seen.touched.items()} == {
        "there.txt": "removed",
        "new": "made",
        "w0.txt": "made",
        f"None{os.O_WRONLY}.txt": "made",
        "moved.txt": "made",
        "link": "made",
    }
