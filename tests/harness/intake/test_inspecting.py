"""A whole corpus: a sound one raises nothing, and each planted flaw is named."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from recorded_bodies import RATE, write_people

from fixtures.scenario import CargoBike
from harness.errors import CorpusError
from harness.intake import Inspection, inspect
from harness.intake.coverage import Coverage
from harness.intake.resolution import resolution


@dataclass(frozen=True)
class Sees:
    name: str
    sees: frozenset[str]
    likes: frozenset[str] = frozenset()


ATTACKS = [
    Sees("body-site", frozenset({"other-site"})),
    Sees("camera", frozenset({"camera"})),
    Sees("population", frozenset({"population"})),
    Sees("replay", frozenset({"earlier"})),
    Sees("past-keys", frozenset({"history", "labels"})),
    Sees("both", frozenset({"other-site", "camera"})),
]


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_people(tmp_path_factory.mktemp("people"))


def copy(sound: Path, target: Path) -> Path:
    for path in sound.iterdir():
        (target / path.name).write_bytes(path.read_bytes())
    return target


def rows_of(folder: Path) -> list[dict[str, str]]:
    with (folder / "manifest.csv").open(newline="", encoding="utf-8") as handle:
        return list(csv.DictReader(handle))


def store(folder: Path, rows: list[dict[str, str]]) -> Path:
    with (folder / "manifest.csv").open("w", newline="", encoding="utf-8") as handle:
        writer = csv.DictWriter(handle, list(dict.fromkeys(c for row in rows for c in row)))
        writer.writeheader()
        writer.writerows(rows)
    return folder


def change(folder: Path, file: str, array: str, how: Callable[[np.ndarray], np.ndarray]) -> Path:
    with np.load(folder / file) as archive:
        arrays: dict[str, Any] = dict(archive)
    arrays[array] = how(arrays[array])
    np.savez(folder / file, **arrays)
    return folder


def test_a_sound_corpus_raises_nothing(sound: Path) -> None:
    found = inspect(sound, attacks=ATTACKS)
    assert found.complaints == ()
    assert found.remarks == ()
    assert found.alike == ()
    assert (found.counts["subjects"], found.counts["sessions"], found.counts["attempts"]) == (3, 6, 12)
    assert found.counts["roles"] == {"device-a": 12, "device-b": 12, "other-site": 12}
    assert [s.stream for s in found.streams] == ["device-a:emg", "device-b:emg", "other-site:emg"]
    assert {(s.kind, s.value, s.attempts) for s in found.strata} == {
        ("day", "1", 6), ("day", "2", 6), ("condition", "dry", 12)
    }  # fmt: skip


def hum(samples: np.ndarray) -> np.ndarray:
    return samples + 20 * np.sin(2 * np.pi * 50 * np.arange(samples.shape[1]) / RATE)


def stuck(samples: np.ndarray) -> np.ndarray:
    samples = samples.copy()
    samples[:, 1000:2000] = samples[:, 1000:1001]
    return samples


FLAWS: dict[str, tuple[str, Callable[[np.ndarray], np.ndarray]]] = {
    "clipping": ("clipping", lambda x: np.clip(np.repeat(x[:, ::4], 4, axis=1), -40, 40)),
    "mains": ("mains", hum),
    "flat": ("flat", stuck),
    "dead": ("dead", lambda x: np.zeros_like(x)),
    "offset": ("offset", lambda x: np.roll(x, 80, axis=1)),
}


@pytest.mark.parametrize("flaw", FLAWS)
def test_each_planted_flaw_is_named_with_its_place(sound: Path, tmp_path: Path, flaw: str) -> None:
    kind, how = FLAWS[flaw]
    folder = copy(sound, tmp_path)
    if flaw == "offset":  # one window of five seconds has no error: a longer recording is needed
        folder = write_people(tmp_path, subjects=2, sessions=1, attempts=1, seconds=40)
        change(folder, "p1-0.npz", "device-b-0", how)
    else:
        change(folder, "p1-0.npz", "device-b-1", how)
    found = inspect(folder)
    told = {remark.kind: remark.text for remark in found.remarks}
    assert kind in told
    assert "subject 1, session 0" in told[kind]
    allowed = {kind, "flat"} if flaw in ("clipping", "dead") else {kind}
    assert set(told) <= allowed


def test_planted_duplicates_are_named(sound: Path, tmp_path: Path) -> None:
    folder = copy(sound, tmp_path)
    with np.load(folder / "p0-0.npz") as archive:
        one = archive["device-a-0"]
    change(folder, "p2-1.npz", "device-a-1", lambda _: one)
    (remark,) = [r for r in inspect(folder).remarks if r.kind == "duplicate"]
    assert "different subjects, 1 pair(s)" in remark.text
    assert "subject 0, session 0, attempt 0" in remark.text
    assert "subject 2, session 1, attempt 1" in remark.text


@pytest.mark.parametrize(("starts", "shares"), [(("0", "3"), False), (("0", "2.5"), True)])
def test_attempts_that_share_samples(
    sound: Path, tmp_path: Path, starts: tuple[str, str], shares: bool
) -> None:
    folder = copy(sound, tmp_path)
    rows = [row for row in rows_of(folder) if row["file"] == "p0-0.npz"]
    for row in rows:
        start = starts[int(row["attempt"])]
        row |= {"array": row["array"][:-1] + "0", "start_s": start, "stop_s": str(float(start) + 3)}
    told = {r.kind: r.text for r in inspect(store(folder, rows)).remarks}
    assert ("overlap" in told) == shares
    if shares:
        assert "2 pair(s)" in told["overlap"]
        assert "(0.5 s)" in told["overlap"]


def reasons(found: Inspection) -> dict[str, Coverage]:
    return {one.attack: one for one in found.coverage}


def test_what_can_be_tested_and_why_not(sound: Path, tmp_path: Path) -> None:
    found = reasons(inspect(sound, attacks=ATTACKS))
    assert (found["body-site"].attempts, found["body-site"].subjects) == (12, 3)
    assert found["camera"].reason == "no capture of role camera"
    assert found["both"].reason == "no capture of role camera"
    assert found["population"].reason is None
    assert (found["replay"].attempts, found["past-keys"].attempts) == (6, 6)  # of second sessions
    assert found["mimicry"].reason == "no such attack is there"
    assert found["strangers"].reason is None
    folder = copy(sound, tmp_path)
    store(folder, [row for row in rows_of(folder) if (row["subject"], row["session"]) == ("p0", "0")])
    alone = reasons(inspect(folder, attacks=ATTACKS))
    for name, why in (
        ("population", "two subjects"),
        ("past-keys", "earlier session"),
        ("replay", "earlier"),
    ):
        assert why in str(alone[name].reason)
    assert "two subjects" in str(alone["strangers"].reason)


def test_coverage_agrees_with_what_an_audit_does(sound: Path) -> None:
    """The check says beforehand what the audit says afterwards: measured, or untested."""
    from attacks.body_site import BodySite
    from attacks.camera import Camera
    from attacks.past_keys import PastKeys
    from attacks.replay import Replay
    from harness import audit

    attacks = [BodySite(), Camera(), PastKeys(), Replay()]
    said = {one.attack for one in inspect(sound, attacks=attacks).coverage if one.reason is None}
    done = audit("envelope-trend:window_s=0.2,blocks=1,key_bits=12", attacks=attacks, corpus=sound)
    measured = {str(r.attack) for r in done.rows if r.measure == "success-odds" and r.status == "measured"}
    assert measured & {a.name for a in attacks} == said & {a.name for a in attacks}


def test_roles_that_nobody_reads(sound: Path, tmp_path: Path) -> None:
    folder = copy(sound, tmp_path)
    store(
        folder, [row | {"role": row["role"].replace("other-site", "othersite")} for row in rows_of(folder)]
    )
    assert inspect(folder, attacks=ATTACKS).unread == {"othersite": 12}


def test_the_rest_of_a_damaged_corpus_is_looked_at(sound: Path, tmp_path: Path) -> None:
    folder = copy(sound, tmp_path)
    (folder / "p2-1.npz").write_bytes(b"")
    rows = rows_of(folder)
    rows[0]["rate_hz"] = "fast"
    rows[1]["unit"] = "g"
    rows[7]["rate_hz"] = "500"
    store(folder, rows)
    found = inspect(folder)
    said = "\n".join(found.complaints)
    for part in (
        "line 2, `rate_hz`",
        "line 3, `unit`",
        "lines 6 and 9, `rate_hz`",
        "p2-1.npz must hold a recording",
    ):
        assert part in said, said
    assert len(found.complaints) == 4
    assert found.counts["attempts"] == 8  # of twelve: two of p2, two of p0


def test_every_violation_of_a_row_is_listed(sound: Path, tmp_path: Path) -> None:
    folder = copy(sound, tmp_path)
    rows = rows_of(folder)
    rows[0] |= {"rate_hz": "fast", "role": "Device A", "day": "Tuesday"}
    store(folder, rows)
    said = [c for c in inspect(folder).complaints if "line 2," in c]
    assert len(said) == 3


def test_nothing_usable_is_refused_in_one_sentence(sound: Path, tmp_path: Path) -> None:
    folder = copy(sound, tmp_path)
    store(folder, [row | {"rate_hz": "fast"} for row in rows_of(folder)])
    with pytest.raises(CorpusError, match=r"its first violation: .*line 2, `rate_hz`") as caught:
        inspect(folder)
    assert "\n" not in str(caught.value)


def test_effective_rates_stand_beside_nominal_ones(tmp_path: Path) -> None:
    times = np.arange(4000) / 1000.4
    lines = "\n".join(
        f"{t:.6f},{v:.3f}" for t, v in zip(times, np.random.default_rng(0).normal(size=4000), strict=True)
    )
    (tmp_path / "r.csv").write_text(f"time_s,v\n{lines}\n")
    head = "file,subject,session,attempt,role,signal,rate_hz,unit"
    body = "\n".join(f"r.csv,p,s,1,{role},emg,1000,uV" for role in ("device-a", "device-b"))
    (tmp_path / "manifest.csv").write_text(f"{head}\n{body}\n")
    found = inspect(tmp_path)
    quality = found.streams[0].captures[0][1]
    assert quality.nominal_hz == 1000
    assert quality.effective_hz == pytest.approx(1000.4, rel=1e-6)


def test_resolution_is_that_of_the_estimators() -> None:
    found = resolution([k for k in range(20) for _ in range(5)])
    assert found.people is not None
    assert found.people.high == pytest.approx(1 - 0.05 ** (1 / 20))  # rule of three, exactly
    assert found.odds is not None
    assert found.odds.high < found.people.high
    assert found.leak_attempts is not None
    assert found.leak_subjects is not None
    assert found.leak_attempts < found.leak_subjects
    assert resolution([]).odds is None
    assert resolution([1]).leak_subjects is None


def test_the_record_is_json_without_names_of_people(sound: Path) -> None:
    text = inspect(sound, attacks=ATTACKS, synchronise=True).to_json()
    found = json.loads(text)
    assert found["version"] == 1
    assert len(found["shifts"]) == 12
    assert '"p0' not in text
    assert str(sound) not in text
    assert text == inspect(sound, attacks=ATTACKS, synchronise=True).to_json()


def test_a_simulated_corpus_by_its_face() -> None:
    found = inspect(CargoBike(subjects=2, sessions=1, attempts=1), attacks=ATTACKS)
    assert found.data == "simulated"
    assert found.counts["attempts"] == 2
    assert reasons(found)["camera"].attempts == 2
