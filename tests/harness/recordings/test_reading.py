"""What a sound manifest means: captures, units, cuts, order, people and counts."""

import json
import pickle
import re
from typing import Any

import numpy as np
import pytest

from harness.contracts import Corpus, Sitting
from harness.errors import CorpusError
from harness.recordings import open_corpus

A, B = "device-a:emg", "device-b:emg"


def read(corpus: Any, subject: int, session: int, stream: str) -> Any:
    sitting = next(s for s in corpus.sittings() if (s.subject, s.session) == (subject, session))
    return corpus.block(sitting, frozenset({stream}))[stream]


def test_the_face_of_a_corpus(park: Any) -> None:
    corpus = open_corpus(park.write())
    assert isinstance(corpus, Corpus)
    assert (corpus.name, corpus.data) == ("park", "recorded")
    streams = frozenset({A, B})
    assert list(corpus.sittings()) == [
        Sitting(subject=0, session=0, attempts=2, streams=streams),
        Sitting(subject=0, session=1, attempts=1, streams=streams),
    ]
    assert open_corpus(park.folder / "manifest.csv").digest() == corpus.digest()


def test_npz_rows_and_table_columns_arrive_as_recorded(park: Any) -> None:
    corpus = open_corpus(park.write())
    am = read(corpus, 0, 0, B)
    np.testing.assert_array_equal(am.capture.samples[1], park.arrays["device-b-2"])
    assert am.attempt.tolist() == [0, 1]
    assert am.attacker.tolist() == [-1, -1]
    assert am.capture.samples.dtype == np.float64
    assert (am.capture.rate_hz, am.capture.signal, am.capture.unit) == (100.0, "emg", "uV")
    np.testing.assert_array_equal(am.capture.seconds, [0.4, 0.4])
    np.testing.assert_array_equal(read(corpus, 0, 1, B).capture.samples[0, 0], park.table[:, 1])


def test_a_block_reads_only_the_files_that_it_needs(park: Any) -> None:
    corpus = open_corpus(park.write())
    (park.folder / "pm.csv").unlink()
    morning, evening = corpus.sittings()
    assert set(corpus.block(morning, frozenset({A, "mimic:emg"}))) == {A}
    assert corpus.block(evening, frozenset()) == {}
    with pytest.raises(CorpusError):
        corpus.block(evening, frozenset({A}))


def test_a_sitting_of_another_corpus_is_the_callers_mistake(park: Any) -> None:
    corpus = open_corpus(park.write())
    with pytest.raises(ValueError, match="subject 5, session 0"):
        corpus.block(Sitting(subject=5, session=0, attempts=1, streams=frozenset({A})), frozenset({A}))


def test_rows_that_differ_in_channel_make_one_capture_in_the_files_order(park: Any) -> None:
    park.npz("wide.npz", {"samples": np.arange(48.0).reshape(12, 4)})
    park.rows = [
        park.row(file="wide.npz", session="am", attempt="1", role="device-a", channel=channel)
        for channel in ("11", "2", "5")
    ]
    park.rows += [
        park.row(file="pm.csv", session="am", attempt="1", role="device-b", channel=channel)
        for channel in ("right", "left")
    ]
    corpus = open_corpus(park.write())
    np.testing.assert_array_equal(
        read(corpus, 0, 0, A).capture.samples[0], np.arange(48.0).reshape(12, 4)[[2, 5, 11]]
    )
    np.testing.assert_array_equal(read(corpus, 0, 0, B).capture.samples[0], park.table.T)


@pytest.mark.parametrize(
    ("signal", "unit", "canonical", "factor"),
    [
        ("emg", "uV", "uV", 1),
        ("emg", "µV", "uV", 1),
        ("emg", "μV", "uV", 1),
        ("emg", "mV", "uV", 1000),
        ("emg", "V", "uV", 1e6),
        ("emg", "nV", "uV", 1e-3),
        ("ecg", "uV", "mV", 1e-3),
        ("ecg", "V", "mV", 1e3),
        ("acceleration", "mg", "g", 1e-3),
        ("acceleration", "m/s2", "g", 1 / 9.80665),
        ("acceleration", "m/s²", "g", 1 / 9.80665),
        ("sweat", "uS", "uS", 1),
    ],
)
def test_units(park: Any, signal: str, unit: str, canonical: str, factor: float) -> None:
    for row in park.rows:
        row |= {"signal": signal, "unit": unit}
    capture = read(open_corpus(park.write()), 0, 0, f"device-a:{signal}").capture
    assert capture.unit == canonical
    np.testing.assert_allclose(capture.samples[0], park.arrays["device-a-1"] * factor, rtol=1e-15)


def test_cuts_and_padding(park: Any) -> None:
    for row, (start, stop) in zip(
        park.rows, [("", "0.1"), ("", ""), ("0.05", "0.3"), ("", "")], strict=False
    ):
        row |= {"start_s": start, "stop_s": stop}
    corpus = open_corpus(park.write())
    corpus.check()
    sensed = read(corpus, 0, 0, A)
    assert sensed.capture.samples.shape == (2, 1, 25)
    np.testing.assert_array_equal(sensed.capture.samples[0, :, :10], park.arrays["device-a-1"][:, :10])
    assert np.isnan(sensed.capture.samples[0, :, 10:]).all()
    np.testing.assert_array_equal(sensed.capture.samples[1], park.arrays["device-a-2"][:, 5:30])
    np.testing.assert_allclose(sensed.capture.seconds, [0.1, 0.25])


@pytest.mark.parametrize(("period", "rate"), [(0.01, 100.0), (0.0100005, 100.0), (0.03, 33.33)])
def test_time_stamps_give_the_rate_and_the_cut(park: Any, period: float, rate: float) -> None:
    times = 5 + period * (
        np.arange(40) + np.random.default_rng(1).uniform(-0.1, 0.1, 40) * (np.arange(40) % 39 > 0)
    )
    park.text(
        "pm.csv", park.csv(("left", "time_s", "right"), np.insert(park.table, 1, times, axis=1).tolist())
    )
    park.rows = [
        row | {"rate_hz": "", "start_s": "5.12", "stop_s": "5.24"}
        for row in park.rows
        if row["session"] == "pm"
    ]
    capture = read(open_corpus(park.write()), 0, 0, B).capture
    assert capture.rate_hz == rate
    start, stop = round(0.12 * rate), round(0.24 * rate)
    np.testing.assert_array_equal(capture.samples[0, 0], park.table[start:stop, 1])


def test_event_series(park: Any) -> None:
    park.npz("beats.npz", {"a": np.array([[800, 900, 1000, 700]]), "b": np.array([[810.0, 890.0]])})
    park.rows = [
        park.row(
            file="beats.npz", session="am", attempt=attempt, role=role, array=array, signal="intervals",
            unit="ms", rate_hz="", start_s=start, stop_s=stop,
        )
        for attempt, role, array, start, stop in (
            ("1", "device-a", "a", "", ""),
            ("1", "device-b", "b", "", ""),
            ("2", "device-a", "a", "0.5", "2.8"),
            ("2", "device-b", "b", "", ""),
        )
    ]  # fmt: skip
    corpus = open_corpus(park.write())
    corpus.check()
    sensed = read(corpus, 0, 0, "device-a:intervals")
    assert (sensed.capture.rate_hz, sensed.capture.unit) == (None, "s")
    np.testing.assert_allclose(sensed.capture.samples[0, 0], [0.8, 0.9, 1.0, 0.7])
    np.testing.assert_allclose(sensed.capture.samples[1, 0], [0.9, 1.0, np.nan, np.nan])
    np.testing.assert_allclose(sensed.capture.seconds, [3.4, 1.9])


def test_attempts_lacking_a_device_and_excluded_ones_are_counted_not_handed_out(park: Any) -> None:
    park.rows[1] |= {"excluded_reason": "strap slipped"}
    park.rows.append(park.rows[0] | {"attempt": "8", "file": "gone.npz", "excluded_reason": "no signal"})
    park.rows.append(park.rows[0] | {"attempt": "9"})
    corpus = open_corpus(park.write())
    corpus.check()
    facts = corpus.describe()
    assert facts["excluded"] == {"no signal": 1, "strap slipped": 1}
    assert (facts["incomplete"], facts["attempts"]) == (1, 2)
    assert [sitting.attempts for sitting in corpus.sittings()] == [1, 1]
    np.testing.assert_array_equal(read(corpus, 0, 0, A).capture.samples[0], park.arrays["device-a-2"])
    assert re.fullmatch("[0-9a-f]{64}", corpus.digest())


def test_several_adversaries_are_several_rows_of_the_same_attempt(park: Any) -> None:
    for attacker, device, attempt in (
        ("m10", "", "2"),
        ("m2", "", "2"),
        ("r1", "", "1"),
        ("", "2", "2"),
        ("", "", "2"),
    ):
        park.rows.append(
            park.rows[0] | {"role": "mimic", "attempt": attempt, "attacker": attacker, "device": device}
        )
    corpus = open_corpus(park.write())
    sensed = read(corpus, 0, 0, "mimic:emg")
    assert sensed.attempt.tolist() == [0, 1, 1, 1, 1]
    assert sensed.attacker.tolist() == [0, -1, -1, 1, 2]  # a subject is the same person as an attacker
    assert corpus.describe()["attackers"] == 3


def people(park: Any, rows: list[dict[str, str]]) -> list[tuple[int, int, float]]:
    """Return subject, session and the first sample, which tells the rows apart."""
    park.npz("tags.npz", {f"t{k}": np.full((1, 3), float(k)) for k in range(len(rows))})
    park.rows = [
        park.row(file="tags.npz", array=f"t{k}", attempt="1", role=role) | row
        for k, row in enumerate(rows)
        for role in ("device-a", "device-b")
    ]
    corpus = open_corpus(park.write())
    return [
        (s.subject, s.session, float(corpus.block(s, frozenset({A}))[A].capture.samples[0, 0, 0]))
        for s in corpus.sittings()
    ]


def test_people_and_sessions_are_numbered_in_natural_order(park: Any) -> None:
    rows = [
        {"subject": s, "session": t} for s, t in (("p10", "x2"), ("p2", "x10"), ("p10", "x1"), ("p2", "x9"))
    ]
    assert people(park, rows) == [(0, 0, 3.0), (0, 1, 1.0), (1, 0, 2.0), (1, 1, 0.0)]


@pytest.mark.parametrize("days", [("10", "9", "9"), ("2003-02-01", "2003-01-31", "2003-01-31")])
def test_days_order_sessions(park: Any, days: tuple[str, ...]) -> None:
    rows = [
        {"subject": "p", "session": session, "day": day}
        for session, day in zip(("a", "c", "b"), days, strict=True)
    ]
    assert people(park, rows) == [(0, 0, 2.0), (0, 1, 1.0), (0, 2, 0.0)]


def test_numbers_do_not_depend_on_the_order_of_rows_nor_on_exclusions(park: Any) -> None:
    rows = [{"subject": s, "session": t} for s in ("a", "b", "c") for t in ("1", "2")]
    full = people(park, rows)
    park.rows.reverse()
    corpus = open_corpus(park.write())
    assert [(s.subject, s.session) for s in corpus.sittings()] == [row[:2] for row in full]
    rows[2] |= {"excluded_reason": "wet"}
    assert people(park, rows) == [row for row in full if row[2] != 2.0]


def test_a_recording_of_another_day_may_stand_beside_the_owners(park: Any) -> None:
    for row in park.rows:
        row["day"] = "2" if row["session"] == "am" else "1"
    park.rows.append(park.rows[0] | {"role": "earlier", "day": "0"})
    corpus = open_corpus(park.write())
    assert corpus.describe()["days"] == 2
    assert [s.attempts for s in corpus.sittings()] == [1, 2]


def test_the_description_is_json_without_paths_or_names_of_people(park: Any) -> None:
    text = json.dumps(open_corpus(park.write()).describe())
    assert str(park.folder.parent) not in text
    assert "r1" not in text


def test_the_digest_covers_the_manifest_and_every_byte_of_every_file(park: Any) -> None:
    first = open_corpus(park.write())
    checked = open_corpus(park.folder)
    checked.check()
    assert checked.digest() == first.digest()
    assert len(first.digest()) == 64
    seen = {first.digest()}
    for name in ("manifest.csv", "am.npz", "pm.csv"):
        path = park.folder / name
        before = path.read_bytes()
        path.write_bytes(before + b"\n")
        seen.add(open_corpus(park.folder).digest())
        path.write_bytes(before)
    assert len(seen) == 4
    assert open_corpus(park.folder).digest() in seen


def test_a_worker_gets_the_same_bytes(park: Any) -> None:
    corpus = open_corpus(park.write())
    copy = pickle.loads(pickle.dumps(corpus))
    assert copy.sittings() == corpus.sittings()
    one, two = read(corpus, 0, 0, A).capture, read(copy, 0, 0, A).capture
    assert one.samples.tobytes() == two.samples.tobytes()
    assert not one.samples.flags.writeable


def test_a_link_inside_the_folder_is_followed(park: Any) -> None:
    (park.folder / "again.npz").symlink_to("am.npz")
    park.edit(2, file="again.npz")
    open_corpus(park.write()).check()


@pytest.mark.parametrize("dtype", ["<i2", ">i4", "<u8", "<f4", ">f8", "<f2"])
@pytest.mark.parametrize("order", ["C", "F"])
def test_any_real_number_type(park: Any, dtype: str, order: Any) -> None:
    stored = np.asarray(np.arange(8).reshape(2, 4), dtype=dtype, order=order)
    park.npz("other.npz", {"samples": stored})
    for line in (2, 4):
        park.edit(line, file="other.npz", array="")
    capture = read(open_corpus(park.write()), 0, 0, A).capture
    np.testing.assert_array_equal(capture.samples[1], np.arange(8.0).reshape(2, 4))


def test_line_ends_and_byte_order_mark_of_other_systems(park: Any) -> None:
    plain = open_corpus(park.write())
    expected = read(plain, 0, 1, A).capture.samples
    path = park.folder / "pm.csv"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n") + b"\r\n")
    np.testing.assert_array_equal(read(open_corpus(park.folder), 0, 1, A).capture.samples, expected)
