"""Whatever stands in the manifest or in a file: a corpus, or a `CorpusError`, and nothing else."""

import io
import tempfile
import warnings
import zipfile
from pathlib import Path

import numpy as np
from hypothesis import event, given, settings
from hypothesis import strategies as st

from harness.errors import CorpusError
from harness.recordings import open_corpus
from harness.recordings.manifest import OPTIONAL, REQUIRED

ODD = st.one_of(
    st.text(max_size=8), st.sampled_from(["", "0", "-1", "nan", "1e400", "٣", "9" * 30, "\x00", "\n", '"'])
)
CELLS = {
    "file": st.sampled_from(["a.npz", "b.csv", "./a.npz", "c.npz", "../a.npz", "A.NPZ"]),
    "subject": st.sampled_from(["r1", "r2", "r"]),
    "session": st.sampled_from(["am", "pm"]),
    "attempt": st.sampled_from(["1", "2"]),
    "role": st.sampled_from(["device-a", "device-b", "mimic"]),
    "signal": st.sampled_from(["emg", "intervals", "sweat"]),
    "rate_hz": st.sampled_from(["100", "", "1e-3", "1e8"]),
    "unit": st.sampled_from(["uV", "V", "s"]),
    "array": st.sampled_from(["", "samples", "x"]),
    "channel": st.sampled_from(["", "0", "1", "x"]),
    "start_s": st.sampled_from(["", "0", "0.01", "1e9"]),
    "stop_s": st.sampled_from(["", "0.02", "1e9"]),
    "attacker": st.sampled_from(["", "r2", "m"]),
    "device": st.sampled_from(["", "1"]),
    "day": st.sampled_from(["", "1", "2001-01-01"]),
    "condition": st.sampled_from(["", "wet"]),
    "group": st.sampled_from(["", "", "left-handed"]),
    "excluded_reason": st.sampled_from(["", "", "slipped"]),
}


CALM = {"file": "a.npz", "subject": "r1", "session": "am", "signal": "emg", "rate_hz": "100", "unit": "uV"}


def archive(*, samples: np.ndarray) -> bytes:
    buffer = io.BytesIO()
    np.savez_compressed(buffer, samples=samples)
    return buffer.getvalue()


SOUND = archive(samples=np.arange(60.0).reshape(2, 30))


@st.composite
def manifests(draw: st.DrawFn) -> bytes:
    """Rows that mostly make sense, with an odd cell here and there, or no manifest at all."""
    if draw(st.integers(0, 9)) == 0:
        return draw(st.binary(max_size=200))
    columns = [*REQUIRED, *draw(st.lists(st.sampled_from(OPTIONAL), unique=True))]
    lines = [",".join(columns)]
    for role in ("device-a", "device-b", *draw(st.lists(CELLS["role"], max_size=4))):
        cells = CALM | {"role": role, "attempt": draw(CELLS["attempt"]) if role == "mimic" else "1"}
        for column in draw(st.lists(st.sampled_from(columns), max_size=2)):
            cells[column] = draw(CELLS[column])
        if draw(st.integers(0, 9)) == 0:
            cells[draw(st.sampled_from(columns))] = draw(ODD)
        lines.append(",".join(cells.get(c, "") for c in columns))
    return "\n".join(lines).encode("utf-8", "surrogatepass")


@st.composite
def arrays(draw: st.DrawFn) -> bytes:
    """A sound archive, one with some bytes changed, or one whose array header is made up."""
    kind = draw(st.sampled_from([0, 0, 0, 1, 2, 3]))
    if kind == 0:
        return SOUND
    if kind == 1:
        return draw(st.binary(max_size=100))
    if kind == 2:
        raw = bytearray(SOUND)
        for _ in range(draw(st.integers(1, 4))):
            raw[draw(st.integers(0, len(raw) - 1))] = draw(st.integers(0, 255))
        return bytes(raw[: draw(st.integers(0, len(raw)))] if draw(st.booleans()) else raw)
    shape = draw(
        st.sampled_from(
            ["(1, 4)", "(0, 4)", "(2,)", "(1, -4)", "(1, 2**9)", "(1, 10**30)", "((", "(1, True)"]
        )
    )
    descr = draw(
        st.sampled_from(
            ["'<f8'", "'|O'", "'<U3'", "'<M8[s]'", "[('a', '<f8')]", "'(2,)<f8'", "7", "'<f16'"]
        )
    )
    header = f"{{'descr': {descr}, 'fortran_order': False, 'shape': {shape}, }}\n".encode()
    version = draw(st.sampled_from([b"\x01\x00", b"\x02\x00", b"\x03\x00", b"\x09\x09"]))
    length = len(header).to_bytes(2 if version == b"\x01\x00" else 4, "little")
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as target:
        target.writestr(
            "samples.npy", b"\x93NUMPY" + version + length + header + draw(st.binary(max_size=40))
        )
    return buffer.getvalue()


TABLES = st.one_of(
    st.binary(max_size=80),
    st.text(alphabet="01.,-e\n\r x\"'#nt_", max_size=60).map(str.encode),
    st.lists(st.tuples(*[st.floats()] * 2), max_size=5).map(
        lambda rows: ("x,time_s\n" + "\n".join(f"{a},{b}" for a, b in rows)).encode()
    ),
    st.just(b"x,0\n" + b"1,2\n" * 30),
)


@settings(max_examples=400, deadline=None)
@given(manifest=manifests(), npz=arrays(), table=TABLES)
def test_only_corpus_errors(manifest: bytes, npz: bytes, table: bytes) -> None:
    with tempfile.TemporaryDirectory() as name, warnings.catch_warnings():
        warnings.simplefilter("error")
        folder = Path(name)
        (folder / "manifest.csv").write_bytes(manifest)
        (folder / "a.npz").write_bytes(npz)
        (folder / "A.NPZ").write_bytes(npz)
        (folder / "b.csv").write_bytes(table)
        try:
            corpus = open_corpus(folder)
            event("opened")
            corpus.check()
            for sitting in corpus.sittings():
                for sensed in corpus.block(sitting, sitting.streams).values():
                    lengths = (~np.isnan(sensed.capture.samples)).sum(axis=-1)
                    assert (lengths > 0).all()
                    assert (sensed.attempt < sitting.attempts).all()
                    assert (np.diff(sensed.attempt) >= 0).all()
            corpus.digest()
            event("read to the end")
        except CorpusError as error:
            sentence = str(error)
        else:
            sentence = ""
    assert "\n" not in sentence
    assert name not in sentence
