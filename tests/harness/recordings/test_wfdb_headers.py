"""What a WFDB header may not say, and the line that says it."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from harness.errors import CorpusError
from harness.recordings.wfdb_header import MAX_LINE, read_record_header

GOOD = "grip 2 100 4\nforce.dat 16 100/N 12 0 0 0 0 left\nforce.dat 16 100/N 12 0 0 0 0 right\n"


def beside(folder: Path, text: bytes | str, size: int = 16) -> None:
    """Read a header beside a file of so many bytes."""
    file = folder / "force.dat"
    file.write_bytes(bytes(size))
    raw = text if isinstance(text, bytes) else text.encode()
    read_record_header(io.BytesIO(raw), lambda _: str(file))


def test_a_good_header_is_read(tmp_path: Path) -> None:
    beside(tmp_path, GOOD)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"grip 1 \xff", "UTF-8 text, got byte 7"),
        ("# nothing else\n\n", "line 1 must name the record, got an empty header"),
        ("grip " + "9" * MAX_LINE, f"line 1 must have at most {MAX_LINE} characters"),
        ("grip/3 2 100\n", "line 1 must name a record of one segment, got 'grip/3'"),
        ("grip 2\n", "line 1 must state number of signals and rate, got 'grip 2'"),
        (GOOD.replace(" 100 4", " fast 4"), "line 1 must state a positive rate, got 'fast'"),
        (GOOD.replace(" 100 4", " 100 -4"), "line 1 must state a length"),
        (GOOD.replace("grip 2", "grip 3"), "line 1 must declare as many signals as follow, got 3 for 2"),
        (GOOD.replace("force.dat 16", "../force.dat 16", 1), "line 2 must name a file beside the header"),
        (GOOD.replace("force.dat 16", "force.dat 8", 1), "line 2 must name an uncompressed format"),
        (GOOD.replace("force.dat 16 100/N 12 0 0 0 0 left", "force.dat"), "line 2 must name an uncompr"),
        (GOOD.replace("100/N", "0/N", 1), "line 2 must state a gain that calibrates the signal, got '0/N'"),
        (GOOD.replace(" 16 ", " 16x0 ", 1), "line 2 must state a sample or more in each frame, got 0"),
        (GOOD.replace(" 16 ", " 16+2 ", 1), "line 2 must share format and offset with all of 'force.dat'"),
    ],
)
def test_a_bad_line_is_named(tmp_path: Path, text: bytes | str, says: str) -> None:
    with pytest.raises(CorpusError) as caught:
        beside(tmp_path, text)
    assert says in str(caught.value)


def test_a_file_that_is_cut_off_or_empty_is_named(tmp_path: Path) -> None:
    with pytest.raises(CorpusError, match="must hold 16 bytes for 4 frames, got 15: it is cut off"):
        beside(tmp_path, GOOD, size=15)
    with pytest.raises(CorpusError, match="must hold samples, got a record of none"):
        beside(tmp_path, GOOD.replace(" 100 4", " 100"), size=0)
