"""Baseline files: whole or refused in one sentence, whatever became of them."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from gate_pipelines import METRICS, result_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from harness import baseline as files
from harness.baseline import Baseline, baseline_of, parsed, read_baseline
from harness.errors import UsageError
from harness.gating import gate
from harness.results import Audit

RANKS, ODDS = METRICS[8], METRICS[5]


def found(people: int = 4) -> Audit:
    rng = np.random.default_rng(5)
    made = result_of({RANKS: 40 + rng.standard_normal(people), ODDS: rng.random(people)})
    outcomes = {"": "0" * 64, "mimicry": "1" * 64}
    return replace(made, schemes=[{**made.schemes[0], "outcomes": outcomes}], versions={"numpy": "2"})


RESULT = found()
WHOLE = baseline_of(RESULT, reason="the first of all")
RAW = WHOLE.text().encode()
CONTENT = json.loads(RAW)


def read(raw: bytes) -> Baseline:
    return parsed(raw, "baseline.json", "make it again")


def test_a_baseline_reads_back_as_it_was() -> None:
    assert read(RAW) == WHOLE
    assert WHOLE.text() == read(RAW).text()
    assert gate(RESULT, baseline=read(RAW)).outcome == "pass"


def test_a_review_sees_one_line_a_metric_with_its_mean() -> None:
    people = [replace(p, value=p.value + 0.25 * (p.budget is None)) for p in RESULT.per_subject]
    later = baseline_of(replace(RESULT, per_subject=people), reason=WHOLE.reason)
    before, after = WHOLE.text().splitlines(), later.text().splitlines()
    moved = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
    assert len(moved) == 2  # the ranks, and the hash
    means = [json.loads(line.strip().rstrip(","))["mean"] for line in moved[0]]
    assert means[1] - means[0] == pytest.approx(0.25)


def test_a_mean_that_is_not_that_of_its_people_is_refused() -> None:
    cells = [{**c, "mean": c["mean"] + 1.0} for c in CONTENT["cells"]]
    with pytest.raises(UsageError, match=r"the mean of .* must be that of its people"):
        read(resealed({**{k: v for k, v in CONTENT.items() if k != "sha256"}, "cells": cells}))


def test_whitespace_and_order_are_no_content() -> None:
    assert read(json.dumps(CONTENT, separators=(",", ":")).encode()) == WHOLE
    assert read(RAW.replace(b"\n", b"\r\n")) == WHOLE


def check(raw: bytes) -> None:
    """A changed file is refused in one printable line, or means exactly what the whole one means."""
    try:
        got = read(raw)
    except UsageError as error:
        refused = str(error)
    else:
        assert got == WHOLE
        return
    assert len(refused.splitlines()) == 1


BYTES = st.lists(
    st.tuples(st.sampled_from(["set", "drop", "insert", "double"]), st.integers(0, len(RAW)), st.binary()),
    min_size=1,
    max_size=4,
)


def bytes_changed(edits: list[tuple[str, int, bytes]]) -> bytes:
    raw = RAW
    for kind, at, new in edits:
        span = max(len(new), 1)
        match kind:
            case "set":
                raw = raw[:at] + new + raw[at + len(new) :]
            case "drop":
                raw = raw[:at] + raw[at + span :]
            case "insert":
                raw = raw[:at] + new + raw[at:]
            case _:
                raw = raw[: at + span] + raw[at:]
    return raw


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inside = (
        value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    )
    return [path, *(p for key, part in inside for p in places(part, (*path, key)))]


PLACES = [p for p in places(CONTENT) if p]
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**20), 10**20)
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["0" * 64, "measured", "key-rank", "simulated", 10**400]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=4,
)


def value_changed(place: tuple[Any, ...], kind: str, value: Any) -> dict[str, Any]:
    """The content with one part changed, dropped, or moved to another key."""
    content: dict[str, Any] = json.loads(RAW)
    inside: Any = content
    for key in place[:-1]:
        inside = inside[key]
    match kind:
        case "set":
            inside[place[-1]] = value
        case "drop":
            del inside[place[-1]]
        case _ if isinstance(inside, dict):
            inside[str(value)[:40]] = inside.pop(place[-1])
        case _:
            inside.insert(place[-1], value)
    return content


def dumped(content: dict[str, Any]) -> bytes:
    return json.dumps(content).encode("utf-8", "surrogatepass")


CHANGES = st.tuples(st.sampled_from(PLACES), st.sampled_from(["set", "drop", "move"]), VALUES)


def resealed(content: dict[str, Any]) -> bytes:
    """As someone would who knows how the hash is made."""
    content.pop("sha256", None)
    try:
        return dumped({**content, "sha256": files._seal(content)})
    except ValueError:  # no seal can be put to what is not finite
        return dumped(content)


def check_resealed(raw: bytes) -> None:
    """A forged file and the gate on it end in a verdict or a refusal, never in a crash."""
    try:
        gate(RESULT, baseline=read(raw))
    except UsageError as error:
        refused = str(error)
    else:
        return
    assert len(refused.splitlines()) == 1


@given(BYTES)
def test_no_change_of_bytes_is_overlooked(edits: list[tuple[str, int, bytes]]) -> None:
    check(bytes_changed(edits))


@given(CHANGES)
def test_no_change_of_values_is_overlooked(change: tuple[tuple[Any, ...], str, Any]) -> None:
    content = value_changed(*change)
    check(dumped(content))
    check_resealed(resealed(content))


@pytest.mark.slow
@settings(max_examples=5000, suppress_health_check=list(HealthCheck), deadline=None)
@given(BYTES)
def test_five_thousand_changes_of_bytes(edits: list[tuple[str, int, bytes]]) -> None:
    check(bytes_changed(edits))


@pytest.mark.slow
@settings(max_examples=5000, suppress_health_check=list(HealthCheck), deadline=None)
@given(CHANGES)
def test_five_thousand_changes_of_values(change: tuple[tuple[Any, ...], str, Any]) -> None:
    content = value_changed(*change)
    check(dumped(content))
    check_resealed(resealed(content))


def test_the_check_of_mutations_bites() -> None:
    """A reader that skips the hash would be caught by the checks above."""
    forged = resealed(value_changed(("seed",), "set", 5))
    with pytest.raises(AssertionError):
        check(forged)


def drop_seal(raw: bytes) -> bytes:
    return dumped({k: v for k, v in json.loads(raw).items() if k != "sha256"})


def nan(raw: bytes) -> bytes:
    return raw.replace(b'"seed": 0', b'"seed": NaN')


def twice(raw: bytes) -> bytes:
    return raw.replace(b'"seed": 0', b'"seed": 1, "seed": 0')


def version(number: object) -> Callable[[bytes], bytes]:
    return lambda raw: resealed({**json.loads(raw), "keyassay_baseline": number})


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        pytest.param(lambda raw: b"", "JSON", id="empty"),
        pytest.param(lambda raw: raw[:-40], "JSON", id="cut"),
        pytest.param(lambda raw: b"\xff" + raw, "JSON", id="no text"),
        pytest.param(lambda raw: b"[" * 100_000, "JSON", id="deep"),
        pytest.param(lambda raw: b"[]", "version 1", id="another thing"),
        pytest.param(version(2), "version 2", id="newer"),
        pytest.param(version(0), "version 0", id="older"),
        pytest.param(version(True), "version True", id="no number"),
        pytest.param(drop_seal, "hash", id="unsealed"),
        pytest.param(nan, "NaN", id="not a number"),
        pytest.param(twice, "once", id="twice"),
        pytest.param(lambda raw: raw.replace(b"first of all", b"last of all"), "hash", id="reason edited"),
    ],
)
def test_damage_is_named_and_says_what_to_do(
    damage: Callable[[bytes], bytes], says: str, tmp_path: Path
) -> None:
    path = tmp_path / "held.json"
    path.write_bytes(damage(RAW))
    with pytest.raises(UsageError, match=says) as refused:
        read_baseline(path)
    assert "keyassay baseline RESULT --reason" in str(refused.value)
    assert "held.json" in str(refused.value)


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    for path in (tmp_path / "none.json", tmp_path):
        with pytest.raises(UsageError, match="baseline must be"):
            read_baseline(path)


@pytest.mark.parametrize(
    "change",
    [
        {"measure": "odds"},
        {"budget": 3},
        {"scheme": "another"},
        {"people": {"one": [1.0, 1]}},
        {"people": {"1": [1.0, 0]}},
        {"people": {"01": [1.0, 1]}},
        {"people": {"1": [1e300, 1]}},
        {"measure": "key-agreement", "people": {"1": [1.5, 1]}},
    ],
)
def test_cells_that_no_baseline_has_are_refused_under_any_hash(change: dict[str, Any]) -> None:
    content = json.loads(RAW)
    content["cells"][0].update(change)
    with pytest.raises(UsageError, match="whole baseline"):
        read(resealed(content))


def test_a_cell_stands_once() -> None:
    content = json.loads(RAW)
    content["cells"].append(content["cells"][0])
    with pytest.raises(UsageError, match="stand once"):
        read(resealed(content))
