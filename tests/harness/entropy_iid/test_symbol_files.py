"""Files of symbols: every kind that is read, and every refusal in one sentence."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import UsageError
from harness.symbol_files import read_symbols


def written(tmp_path: Path, data: bytes) -> Path:
    path = tmp_path / "symbols"
    path.write_bytes(data)
    return path


def npy(array: Any, *, pickled: bool = False) -> bytes:
    buffer = io.BytesIO()
    np.save(buffer, np.asarray(array), allow_pickle=pickled)
    return buffer.getvalue()


def npz(**arrays: Any) -> bytes:
    buffer = io.BytesIO()
    np.savez(buffer, **arrays)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("data", "kind", "bits", "symbols"),
    [
        (b"0110", "bits", 1, [0, 1, 1, 0]),
        (b"01 10\n1\r\n", "bits", 1, [0, 1, 1, 0, 1]),
        (b"\xef\xbb\xbf0110\n", "bits", 1, [0, 1, 1, 0]),
        (b"0,1, 1\n0", "integers", 1, [0, 1, 1, 0]),
        (b"3 0 2\n1", "integers", 2, [3, 0, 2, 1]),
        (b"17;255\t+4", "integers", 8, [17, 255, 4]),
        (b"\xff\x00\x0f", "bytes", 8, [255, 0, 15]),
        (npy([0, 5, 1]), "array", 3, [0, 5, 1]),
        (npy([True, False]), "array", 1, [1, 0]),
        (npy(np.array([2.0, 1.0])), "array", 2, [2, 1]),
        (npy(np.asfortranarray([[0, 1, 2], [3, 4, 5]])), "array", 3, [[0, 1, 2], [3, 4, 5]]),
        (npz(only=np.array([1, 2])), "array", 2, [1, 2]),
    ],
)
def test_what_a_file_is_shows_from_its_content(
    tmp_path: Path, data: bytes, kind: str, bits: int, symbols: list[Any]
) -> None:
    found = read_symbols(written(tmp_path, data))
    assert (found.kind, found.bits, found.symbols.tolist()) == (kind, bits, symbols)
    assert found.symbols.dtype == np.uint8


@given(st.binary(min_size=1, max_size=40), st.sampled_from([1, 2, 4, 8]))
def test_raw_bytes_are_cut_from_the_first_bit_on(
    tmp_path_factory: pytest.TempPathFactory, data: bytes, bits: int
) -> None:
    path = written(tmp_path_factory.mktemp("raw"), data * 2)
    found = read_symbols(path, kind="bytes", bits=bits).symbols
    assert "".join(format(s, f"0{bits}b") for s in found) == "".join(format(b, "08b") for b in data * 2)


def test_what_could_be_either_is_read_as_told(tmp_path: Path) -> None:
    path = written(tmp_path, b"10 11 0")
    assert read_symbols(path).symbols.tolist() == [1, 0, 1, 1, 0]
    assert read_symbols(path, kind="integers").symbols.tolist() == [10, 11, 0]
    assert read_symbols(path, kind="bytes").symbols.tolist() == list(b"10 11 0")


def test_one_array_of_several_is_named(tmp_path: Path) -> None:
    path = written(tmp_path, npz(grip=np.array([1, 2]), band=np.array([3, 0])))
    assert read_symbols(path, array="band").symbols.tolist() == [3, 0]


def test_told_bits_hold_the_largest(tmp_path: Path) -> None:
    assert read_symbols(written(tmp_path, b"0 3 1"), bits=5).bits == 5


@pytest.mark.parametrize(
    ("data", "options", "says"),
    [
        (b"", {}, "at least two symbols, got 0"),
        (b" \n", {}, "at least two symbols, got 0"),
        (b"1", {}, "at least two symbols, got 1"),
        (b"1,x,2", {}, "whole numbers, got 'x' as number 2"),
        (b"1 1.5 2", {}, "whole numbers, got '1.5' as number 2"),
        (b"1 nan 2", {}, "whole numbers, got 'nan' as number 2"),
        (b"1 -2 3", {}, "0 or more, got -2 as number 2"),
        (b"1 256", {}, "at most 255 .* got 256 as number 2: quantise"),
        (b"0120021", {}, "at least two symbols, got 1"),
        (b"01200212001201201212012", {}, "stand apart, got '01200212001201201212'... as number 1"),
        (b"9 " + b"9" * 40, {}, "stand apart"),
        (b"0 4", {"bits": 2}, "at most 3 .* got 4 as number 2: allow more bits"),
        (b"0 4", {"bits": 9}, "1 to 8 bits, got 9"),
        (b"\xff\xfe", {"bits": 3}, "1, 2, 4 or 8 bits, got 3"),
        (b"012", {"kind": "bits"}, "0 and 1, got '2' as character 3"),
        (b"\xff\x1b", {"kind": "bits"}, r"got '\\xff' as character 1"),
        (b"\xff 1", {"kind": "integers"}, "whole numbers"),
        (b"0 1", {"kind": "words"}, "one of bits, integers, bytes, array"),
        (b"0 1", {"kind": "array"}, "whole NumPy file"),
        (b"0 1", {"array": "x"}, "only a NumPy archive"),
        (npy([0, 1]), {"array": "x"}, "holds one array"),
        (npy([0.0, np.nan]), {}, "whole numbers, got nan as number 2"),
        (npy([0.0, np.inf]), {}, "at most 255 .* got inf"),
        (npy([0.0, -np.inf]), {}, "0 or more, got -inf"),
        (npy([0.5, 1]), {}, "whole numbers, got 0.5 as number 1"),
        (npy([0, -3]), {}, "0 or more, got -3 as number 2"),
        (npy([0, 1 << 40]), {}, "at most 255"),
        (npy(np.zeros((2, 2, 2), int)), {}, r"shape \(2, 2, 2\)"),
        (npy(np.zeros((0, 4), int)), {}, "at least two symbols, got 0"),
        (npy(5), {}, "at least two|shape"),
        (npy(["a", "b"]), {}, "whole numbers, got type"),
        (npy([1j, 2]), {}, "whole numbers, got type"),
        (npy(np.array([1, None]), pickled=True), {}, "whole numbers, got type 'object'"),
        (npy([1, 2, 3])[:-4], {}, "no more than are there"),
        (npy([1, 2, 3])[:20], {}, "cannot be read"),
        (npz(a=np.array([1, 2]), b=np.array([1, 2])), {}, "must name one array .* holds a, b"),
        (npz(a=np.array([1, 2])), {"array": "c"}, "got c; it holds a"),
        (npz(a=np.array([1, 2]))[:60], {}, "cannot be read"),
        (b"PK\x05\x06" + bytes(18), {}, "must name one array .* holds none"),
    ],
)
def test_bad_files_are_refused_in_one_sentence(
    tmp_path: Path, data: bytes, options: dict[str, Any], says: str
) -> None:
    with pytest.raises(UsageError, match=says) as caught:
        read_symbols(written(tmp_path, data), **options)
    assert "\n" not in str(caught.value)


def test_an_array_that_claims_more_than_there_is_is_not_read(tmp_path: Path) -> None:
    header = npy(np.zeros(2, np.uint8)).replace(b"(2,), ", b"(999999999999,), ")
    with pytest.raises(UsageError, match=r"999999999999|cannot be read"):
        read_symbols(written(tmp_path, header))


def test_a_small_archive_that_unpacks_to_much_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "bomb"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("zeros.npy", npy(np.zeros((1 << 27) + 1, np.uint8)))
    assert path.stat().st_size < 1 << 20
    with pytest.raises(UsageError, match="at most 134217728 bytes"):
        read_symbols(path)


def test_a_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="got a folder"):
        read_symbols(tmp_path)


def test_no_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="got none"):
        read_symbols(tmp_path / "gone")


def test_a_device_is_refused() -> None:
    with pytest.raises(UsageError, match="something else"):
        read_symbols(Path("/dev/zero"))
