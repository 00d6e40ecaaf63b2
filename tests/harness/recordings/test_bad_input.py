"""Every way to damage a corpus is refused with one sentence that says where."""

import io
import os
import pickle
import warnings
import zipfile
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from one_sentence import sentence

from harness.errors import CorpusError
from harness.recordings import open_corpus

Damage = Callable[[Any], object]


def drop(park: Any, role: str) -> None:
    park.rows = [row for row in park.rows if row["role"] != role]


def with_sample(park: Any, value: float) -> None:
    park.arrays["device-b-2"][0, 17] = value
    park.npz("am.npz", park.arrays)


def with_array(park: Any, array: Any) -> None:
    park.npz("am.npz", park.arrays | {"device-b-1": array})


def with_cell(park: Any, value: object) -> None:
    lines = park.table.tolist()
    lines[5][1] = value
    park.text("pm.csv", park.csv(("left", "right"), lines))


def with_times(park: Any, times: np.ndarray, *, rate: str = "") -> None:
    park.text(
        "pm.csv", park.csv(("time_s", "left", "right"), np.column_stack([times, park.table]).tolist())
    )
    for line in (6, 7):
        park.edit(line, rate_hz=rate)


def with_header(park: Any, header: bytes, *, data: bytes = b"", method: int = zipfile.ZIP_STORED) -> None:
    """An array whose declaration is not what follows it."""
    raw = b"\x93NUMPY\x01\x00" + len(header).to_bytes(2, "little") + header + data
    with zipfile.ZipFile(park.folder / "am.npz", "w") as archive:
        for name, array in park.arrays.items():
            buffer = io.BytesIO()
            np.save(buffer, array)
            archive.writestr(f"{name}.npy", buffer.getvalue())
    with zipfile.ZipFile(park.folder / "bad.npz", "w") as archive:
        archive.writestr("samples.npy", raw, method)
    park.edit(3, file="bad.npz", array="")


def declared(shape: str, kind: str = "<f8") -> bytes:
    return f"{{'descr': '{kind}', 'fortran_order': False, 'shape': {shape}, }}\n".encode()


def link(park: Any, name: str, target: object) -> None:
    os.symlink(str(target), park.folder / name)


def outside(park: Any) -> Any:
    path = park.folder.parent / "elsewhere"
    path.mkdir()
    (path / "am.npz").write_bytes((park.folder / "am.npz").read_bytes())
    return path


def truncated(park: Any) -> None:
    path = park.folder / "am.npz"
    path.write_bytes(path.read_bytes()[:-200])


def flipped(park: Any) -> None:
    path = park.folder / "am.npz"
    raw = bytearray(path.read_bytes())
    at = raw.find(park.arrays["device-a-1"].tobytes())
    raw[at + 3] ^= 1
    path.write_bytes(bytes(raw))


def unzipped(park: Any) -> None:
    (park.folder / "am.npz").write_bytes(b"PK" + bytes(50))


def duplicated(park: Any) -> None:
    park.rows.append(dict(park.rows[1]))


def appended(**cells: str) -> Damage:
    return lambda park: park.rows.append(park.rows[1] | cells)


def edited(line: int, **cells: str) -> Damage:
    return lambda park: park.edit(line, **cells)


RECORDED_AT_OPEN: dict[str, tuple[Damage, tuple[str, ...]]] = {
    "missing file": (edited(3, file="gone.npz"), ("line 3, `file`", "'gone.npz'")),
    "folder for a file": (
        lambda p: ((p.folder / "dir.npz").mkdir(), p.edit(3, file="dir.npz")),
        ("line 3, `file`", "regular file"),
    ),
    "unknown suffix": (edited(3, file="am.xls"), ("line 3, `file`", ".npz, .csv", ".parquet", "'am.xls'")),
    "unknown column": (
        lambda p: [row.update(chanel="") for row in p.rows],
        ("line 1", "'chanel'", "`channel`"),
    ),
    "missing column": (lambda p: [row.pop("unit") for row in p.rows], ("line 1", "`unit`")),
    "no device-a": (lambda p: drop(p, "device-a"), ("`role`", "device-a", "device-b")),
    "no device-b": (lambda p: drop(p, "device-b"), ("`role`", "device-b", "device-a")),
    "no attempt with both": (
        lambda p: [p.edit(k + 2, attempt=f"{k}") for k in range(len(p.rows))],
        ("both device-a and device-b",),
    ),
    "all excluded": (
        lambda p: [row.update(excluded_reason="slipped") for row in p.rows],
        ("both device-a and device-b",),
    ),
    "wrong unit": (edited(4, unit="g"), ("line 4, `unit`", "emg", "'g'")),
    "wrong unit of the same kind": (
        lambda p: [p.edit(k, signal="sweat", unit=u) for k, u in ((2, "uS"), (4, "kOhm"))],
        ("lines 2 and 4, `unit`", "'uS'", "'kOhm'"),
    ),
    "rate zero": (edited(5, rate_hz="0"), ("line 5, `rate_hz`", "positive", "'0'")),
    "rate negative": (edited(5, rate_hz="-100"), ("line 5, `rate_hz`", "'-100'")),
    "rate not a number": (edited(5, rate_hz="fast"), ("line 5, `rate_hz`", "'fast'")),
    "rate NaN": (edited(5, rate_hz="nan"), ("line 5, `rate_hz`", "'nan'")),
    "rate infinite": (edited(5, rate_hz="inf"), ("line 5, `rate_hz`", "'inf'")),
    "rate with underscore": (edited(5, rate_hz="1_00"), ("line 5, `rate_hz`", "'1_00'")),
    "rates that differ": (edited(4, rate_hz="200"), ("lines 2 and 4, `rate_hz`", "100 and 200")),
    "no rate for a sampled signal": (edited(2, rate_hz=""), ("line 2, `rate_hz`", "emg")),
    "a rate for intervals": (edited(2, signal="intervals", unit="s"), ("line 2, `rate_hz`", "100")),
    "duplicate row": (duplicated, ("lines 3 and 8", "duplicates", "'1'")),
    "duplicate channel in other digits": (
        lambda p: (p.edit(3, channel="1"), appended(channel="01")(p)),
        ("lines 3 and 8", "duplicates"),
    ),
    "all channels and one": (appended(channel="1"), ("lines 3 and 8, `channel`",)),
    "one capture from two files": (
        lambda p: (p.edit(3, channel="0"), appended(channel="1", array="device-b-2")(p)),
        ("lines 3 and 8, `array`", "'device-b-1'", "'device-b-2'"),
    ),
    "two sensors of one owner": (appended(device="spare"), ("lines 3 and 8, `device`", "'spare'")),
    "parent folder": (edited(3, file="../am.npz"), ("line 3, `file`", "below", "'../am.npz'")),
    "parent folder inside": (edited(3, file="a/../../am.npz"), ("line 3, `file`", "`..`")),
    "absolute path": (edited(3, file="/etc/am.npz"), ("line 3, `file`", "relative", "'/etc/am.npz'")),
    "drive letter": (edited(3, file="C:am.npz"), ("line 3, `file`", "relative")),
    "backslash": (edited(3, file="..\\am.npz"), ("line 3, `file`", "relative")),
    "control character": (edited(3, file="a\x00m.npz"), ("line 3, `file`", "\\x00")),
    "link to a file outside": (
        lambda p: (link(p, "l.npz", outside(p) / "am.npz"), p.edit(3, file="l.npz")),
        ("line 3, `file`", "'l.npz'", "out of it"),
    ),
    "link to a folder outside": (
        lambda p: (link(p, "sub", outside(p)), p.edit(3, file="sub/am.npz")),
        ("line 3, `file`", "'sub/am.npz'", "out of it"),
    ),
    "link outside in an excluded row": (
        lambda p: (
            link(p, "l.npz", outside(p) / "am.npz"),
            appended(file="l.npz", attempt="9", excluded_reason="x")(p),
        ),
        ("line 8, `file`", "'l.npz'", "out of it"),
    ),
    "pipe": (
        lambda p: (os.mkfifo(p.folder / "pipe.csv"), p.edit(6, file="pipe.csv")),
        ("line 6, `file`", "regular file"),
    ),
    "channel by name in an NPZ": (edited(2, channel="left"), ("line 2, `channel`", "'left'")),
    "array in a table": (edited(6, array="x"), ("line 6, `array`", "'x'")),
    "stop before start": (
        lambda p: (p.rows[0].update(start_s="0.2", stop_s="0.1"),),
        ("line 2, `stop_s`", "0.1"),
    ),
    "start negative": (lambda p: p.rows[0].update(start_s="-1"), ("line 2, `start_s`", "'-1'")),
    "no unit in a format that states none": (edited(4, unit=""), ("line 4, `unit`", ".npz", "empty cell")),
    "two groups of one subject": (
        lambda p: [p.edit(k, group="left" if k < 5 else "right") for k in range(2, 8)],
        ("lines 2 and 5, `group`", "'r1'", "'left'", "'right'"),
    ),
    "role with a colon": (edited(2, role="device-a:x"), ("line 2, `role`", "'device-a:x'")),
    "role in capitals": (edited(2, role="Device-A"), ("line 2, `role`", "'Device-A'")),
    "role that is a word of views": (edited(2, role="population"), ("line 2, `role`", "'population'")),
    "empty subject": (edited(2, subject=""), ("line 2, `subject`", "''")),
    "endless label": (edited(2, subject="x" * 300), ("line 2, `subject`", "200")),
    "attacker on the owner's device": (
        lambda p: p.rows[0].update(attacker="m"),
        ("line 2, `attacker`", "'m'"),
    ),
    "day unreadable": (lambda p: p.rows[0].update(day="Tuesday"), ("line 2, `day`", "'Tuesday'")),
    "two days in a sitting": (
        lambda p: [p.rows[0].update(day="1"), p.rows[1].update(day="2")],
        ("lines 2 and 3, `day`", "1 and 2"),
    ),
    "days of two kinds": (
        lambda p: [row.update(day="3" if row["session"] == "am" else "2001-12-31") for row in p.rows],
        ("lines 2 and 6, `day`", "3 and 2001-12-31"),
    ),
}

RECORDED_AT_CHECK: dict[str, tuple[Damage, tuple[str, ...]]] = {
    "NaN in an array": (
        lambda p: with_sample(p, np.nan),
        ("line 5", "am.npz", "nan", "channel 0, sample 17"),
    ),
    "infinity in an array": (lambda p: with_sample(p, -np.inf), ("line 5", "-inf", "channel 0, sample 17")),
    "NaN in a table": (
        lambda p: with_cell(p, "nan"),
        ("line 7", "pm.csv", "nan", "line 7, column 'right'"),
    ),
    "infinity in a table": (lambda p: with_cell(p, "inf"), ("line 7", "inf", "line 7, column 'right'")),
    "infinite after conversion": (
        lambda p: (with_sample(p, 1e308), [p.edit(k, unit="V") for k in (2, 3, 4, 5, 6, 7)]),
        ("line 5", "1e+308", "channel 0, sample 17"),
    ),
    "decimal comma": (lambda p: with_cell(p, "1,2"), ("pm.csv line 7", "2 numbers", "got 3")),
    "unreadable number": (lambda p: with_cell(p, "loose"), ("pm.csv line 7, column 'right'", "'loose'")),
    "empty cell": (lambda p: with_cell(p, ""), ("pm.csv line 7, column 'right'", "''")),
    "short line": (
        lambda p: p.text("pm.csv", "left,right\n1,2\n3\n"),
        ("pm.csv line 3", "2 numbers", "got 1"),
    ),
    "blank line": (lambda p: p.text("pm.csv", "left,right\n1,2\n\n3,4\n"), ("pm.csv line 3", "got 1")),
    "one column twice": (lambda p: p.text("pm.csv", "left,left\n1,2\n"), ("pm.csv line 1", "once")),
    "time alone": (lambda p: p.text("pm.csv", "time_s\n1\n2\n"), ("pm.csv line 1", "time_s")),
    "not UTF-8": (lambda p: (p.folder / "pm.csv").write_bytes(b"left,right\n\xff"), ("pm.csv", "UTF-8")),
    "empty table": (lambda p: p.text("pm.csv", "left,right\n"), ("line 6", "pm.csv", "zero-length")),
    "empty file": (lambda p: p.text("pm.csv", ""), ("line 6", "pm.csv", "0 bytes")),
    "zero-length array": (lambda p: with_array(p, np.empty((2, 0))), ("line 3", "am.npz", "zero-length")),
    "no channels": (lambda p: with_array(p, np.empty((0, 5))), ("line 3", "zero-length")),
    "zero-length cut": (
        lambda p: p.rows[1].update(start_s="0.1", stop_s="0.1001"),
        ("line 3", "zero-length"),
    ),
    "cut beyond the end": (lambda p: p.rows[1].update(stop_s="9"), ("line 3", "0 to 0.4 s")),
    "one dimension": (lambda p: with_array(p, np.ones(5)), ("line 3", "'device-b-1'", "(5,)")),
    "objects": (lambda p: with_array(p, np.array([[{}]])), ("line 3", "'device-b-1'", "objects")),
    "text array": (lambda p: with_array(p, np.array([["a"]])), ("line 3", "real numbers", "<U1")),
    "complex array": (lambda p: with_array(p, np.array([[1j]])), ("line 3", "real numbers")),
    "no such array": (edited(3, array="wrist"), ("line 3", "am.npz", "'wrist'", "'device-a-1'")),
    "no such channel": (edited(3, channel="2"), ("line 3", "'2'", "rows 0 to 0")),
    "no such column": (edited(7, channel="middle"), ("line 7", "'middle'", "'left', 'right'")),
    "channels that differ": (
        lambda p: with_array(p, np.ones((2, 5))),
        ("lines 3 and 5", "number of channels", "2 and 1"),
    ),
    "truncated archive": (truncated, ("am.npz", "NumPy archive")),
    "no archive": (unzipped, ("am.npz", "NumPy archive")),
    "flipped bit": (flipped, ("line 2", "am.npz", "CRC")),
    "huge declaration": (
        lambda p: with_header(p, declared("(1, 99999999999999)")),
        ("line 3", "bad.npz", "'samples'", "799999999999992"),
    ),
    "declared more than there is": (
        lambda p: with_header(p, declared("(1, 4)"), data=bytes(24)),
        ("line 3", "bad.npz", "32 bytes", "24"),
    ),
    "declared less than there is": (
        lambda p: with_header(p, declared("(1, 2)"), data=bytes(24)),
        ("line 3", "bad.npz", "16 bytes", "24"),
    ),
    "expands a thousandfold": (
        lambda p: with_header(
            p, declared("(1, 9000000)"), data=bytes(72_000_000), method=zipfile.ZIP_DEFLATED
        ),
        ("line 3", "bad.npz", "100 times", "72000000"),
    ),
    "negative shape": (
        lambda p: with_header(p, declared("(-1, -4)"), data=bytes(32)),
        ("bad.npz", "(-1, -4)"),
    ),
    "header that is code": (
        lambda p: with_header(p, b"__import__('os').getcwd()\n"),
        ("line 3", "bad.npz", "ValueError"),
    ),
    "compression that takes memory as it likes": (
        lambda p: with_header(p, declared("(1, 2)"), data=bytes(16), method=zipfile.ZIP_LZMA),
        ("line 3", "bad.npz", "stored or deflated", "14"),
    ),
    "header that never ends": (
        lambda p: with_header(p, declared("((")),
        ("line 3", "bad.npz", "'samples'"),
    ),
    "time stamps that fall": (lambda p: with_times(p, -np.arange(40.0)), ("line 6", "pm.csv", "rising")),
    "time before zero": (
        lambda p: with_times(p, np.arange(40.0) / 100 - 0.1),
        ("line 6", "pm.csv", "from 0 s on", "-0.1 s at line 2"),
    ),
    "time that steps back": (
        lambda p: with_times(p, np.where(np.arange(40) == 20, 0.05, np.arange(40.0) / 100)),
        ("pm.csv", "rising", "0.05 s at line 22", "after 0.19 s"),
    ),
    "an interval of no length": (
        lambda p: (
            p.npz("beats.npz", {"samples": np.array([[0.8, 0.0, 0.9]])}),
            p.edit(4, file="beats.npz", array="", signal="intervals", unit="s", rate_hz=""),
        ),
        ("line 4", "beats.npz", "positive intervals", "got 0 at channel 0, sample 1"),
    ),
    "lost sample": (
        lambda p: with_times(p, np.delete(np.arange(41.0), 20) / 100),
        ("pm.csv", "even time stamps", "line 22", "0.21 s"),
    ),
    "time stamps of another rate": (
        lambda p: with_times(p, np.arange(40.0) / 50, rate="100"),
        ("pm.csv", "rate_hz 100", "50 Hz"),
    ),
    "time stamp NaN": (
        lambda p: with_times(p, np.where(np.arange(40) == 3, np.nan, np.arange(40.0))),
        ("pm.csv", "line 5, column 'time_s'"),
    ),
    "no rate and no time stamps": (
        lambda p: [p.edit(k, rate_hz="") for k in (6, 7)],
        ("line 6", "pm.csv", "time_s", "`rate_hz`"),
    ),
    "cut of an unknown event series": (
        lambda p: p.rows.append(
            p.rows[0] | {"role": "remote", "signal": "steps", "rate_hz": "", "stop_s": "1"}
        ),
        ("line 8", "event series"),
    ),
    "damage in an incomplete attempt": (
        lambda p: p.rows.append(p.rows[0] | {"attempt": "7", "array": "none"}),
        ("line 8", "'none'"),
    ),
}


def test_the_undamaged_corpus_is_sound(park: Any) -> None:
    corpus = open_corpus(park.write())
    corpus.check()
    assert corpus.describe()["attempts"] == 3


@pytest.mark.parametrize("name", RECORDED_AT_OPEN)
def test_damage_that_the_manifest_shows(park: Any, name: str) -> None:
    damage, places = RECORDED_AT_OPEN[name]
    damage(park)
    with pytest.raises(CorpusError) as caught:
        open_corpus(park.write())
    text = sentence(caught.value, park)
    assert [place for place in places if place not in text] == [], text


@pytest.mark.parametrize("name", RECORDED_AT_CHECK)
def test_damage_in_the_files(park: Any, name: str) -> None:
    damage, places = RECORDED_AT_CHECK[name]
    damage(park)
    corpus = open_corpus(park.write())
    with pytest.raises(CorpusError) as caught:
        corpus.check()
    text = sentence(caught.value, park)
    assert [place for place in places if place not in text] == [], text


@pytest.mark.parametrize("name", [n for n in RECORDED_AT_CHECK if "incomplete" not in n])
def test_no_block_hands_out_what_check_refuses(park: Any, name: str) -> None:
    RECORDED_AT_CHECK[name][0](park)
    corpus = open_corpus(park.write())

    def read_all() -> None:
        for sitting in corpus.sittings():
            corpus.block(sitting, sitting.streams)

    with pytest.raises(CorpusError):
        read_all()


def test_no_pickle_is_ever_loaded(park: Any) -> None:
    class Trap:
        def __reduce__(self) -> tuple[Any, ...]:
            return (warnings.warn, ("unpickled",))

    with_array(park, np.array([[Trap()]], dtype=object))
    with pytest.raises(UserWarning, match="unpickled"):  # the trap is set
        pickle.loads(pickle.dumps(Trap()))
    with pytest.raises(CorpusError, match="objects"):
        open_corpus(park.write()).check()
