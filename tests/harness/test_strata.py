"""Attempts of one condition are attacked, and of this or another learned from; no others count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.cli import cli
from harness.contracts import DEVICE_B, Belief, Sensed, Sitting, View
from harness.errors import UsageError
from harness.results import Audit

CLEAN, NOISY = 0.1, 0.4


def channel(error: float) -> Channel:
    return Channel(subjects=30, attempts=5, errors=((DEVICE_B, 0.02), ("remote", error)))


@dataclass(frozen=True)
class TwoDays:
    """A distant sensor that errs seldom in the first session, the quiet one, and often in the other."""

    name: str = "two-days"
    data: str = "simulated"

    def sittings(self) -> Sequence[Sitting]:
        return channel(CLEAN).sittings()

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        return channel(NOISY if sitting.session else CLEAN).block(sitting, streams)

    def labels(self, sitting: Sitting, kind: str) -> Sequence[str | None]:
        if kind != "condition":
            return [None] * sitting.attempts
        return ["loud" if sitting.session else "quiet"] * sitting.attempts

    def describe(self) -> Mapping[str, Any]:
        return {}

    def digest(self) -> str:
        return "two"


@dataclass(frozen=True)
class Counts:
    """Believes what the sensor says as far as it was right about other people."""

    name: str = "counts"
    sees: frozenset[str] = frozenset({"remote", "population"})

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        others = view.population
        wrong = view.scheme.witness(others.captures["remote"]).symbols != others.witness.symbols
        error = wrong.mean()
        seen = view.scheme.witness(view.captures["remote"]).symbols
        return Belief(log_prob=np.log(np.where(np.arange(2) == seen[..., None], 1 - error, error)))


def gained(truth: float, believed: float) -> float:
    """Bits per symbol over one bit, for who believes another error than is true."""
    return float(1 + (1 - truth) * np.log2(1 - believed) + truth * np.log2(believed))


def told(**options: Any) -> Audit:
    return audit(SignCommitment(code="hamming-7-4"), attacks=Counts(), corpus=TwoDays(), **options)


@pytest.mark.parametrize(
    ("stratum", "learn_from", "truth", "believed"),
    [
        ("quiet", None, CLEAN, CLEAN),
        ("loud", None, NOISY, NOISY),
        ("quiet", "loud", CLEAN, NOISY),
        ("loud", "quiet", NOISY, CLEAN),
    ],
)
def test_who_learns_elsewhere_believes_what_holds_elsewhere(
    stratum: str, learn_from: str | None, truth: float, believed: float
) -> None:
    taught = None if learn_from is None else f"condition={learn_from}"
    result = told(stratum=f"condition={stratum}", learn_from=taught)
    (row,) = result.select(attack="counts", measure="mutual-information", unit="bit/symbol")
    assert row.attempts == 150
    assert row.value is not None
    # 1050 signs: the share of errors has a standard error of .009 or .015, times the slope of the logarithm
    slope = abs(np.log2(believed / (1 - believed)))
    assert row.value == pytest.approx(max(0.0, gained(truth, believed)), abs=4 * 0.015 * slope + 0.02)
    (agreement,) = result.select(attack=None, measure="key-agreement")
    assert (agreement.subjects, agreement.attempts) == (30, 150)
    assert result.corpus["attempts"] == 150
    assert 300 not in {r.attempts for r in result.rows}  # the other session counts nowhere
    assert result.settings["strata"] == {
        "attacked": f"condition={stratum}",
        "learned from": f"condition={learn_from or stratum}",
    }
    assert result.settings["command"][-4:][:2] == (
        ["--stratum", f"condition={stratum}"] if learn_from else ["--seed", "0"]
    )


def test_parts_are_not_taken_for_the_whole_by_a_gate() -> None:
    digests = {told(**options).corpus["digest"] for options in (
        {}, {"stratum": "condition=quiet"}, {"stratum": "condition=loud"},
        {"stratum": "condition=quiet", "learn_from": "condition=loud"},
    )}  # fmt: skip
    assert len(digests) == 4


def test_without_strata_all_count_and_nothing_is_said_of_them() -> None:
    result = told()
    (row,) = result.select(attack="counts", measure="success-odds", budget=1)
    assert row.attempts == 300
    assert "strata" not in result.settings


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"stratum": "condition=foggy"}, "must hold attempts of condition 'foggy', found loud, quiet"),
        ({"stratum": "mood=sad"}, "must be by day, devices, condition, group, got 'mood'"),
        ({"stratum": "condition"}, "must read KIND=LABEL"),
        ({"stratum": "day=1"}, "two-days names no day"),
        ({"learn_from": "condition=quiet"}, "needs a stratum that is attacked"),
    ],
)
def test_strata_that_cannot_be_are_refused(options: dict[str, str], sentence: str) -> None:
    with pytest.raises(UsageError, match=sentence):
        told(**options)


def test_every_stratum_has_a_folder_of_its_own(tmp_path: Any) -> None:
    words = "simulate cargo-bike --subjects 2 --sessions 1 --attempts 2 --signal intervals"
    words += f" --role device-a --role device-b --out {tmp_path / 'sim'}"
    made = CliRunner().invoke(cli, words.split())
    assert made.exit_code == 0, made.output
    manifest = tmp_path / "sim" / "manifest.csv"
    lines = manifest.read_text("utf-8").splitlines()
    header = lines[0].split(",")
    attempt, condition = header.index("attempt"), header.index("condition")
    cells = [line.split(",") for line in lines[1:]]
    for row in cells:
        row[condition] = "../up" if row[attempt] == "0" else "walking"
    manifest.write_text("\n".join([lines[0], *(",".join(row) for row in cells)]) + "\n", "utf-8")
    out = tmp_path / "out"
    options = ["--corpus", str(tmp_path / "sim"), "--attack", "population", "--out", str(out)]
    found = CliRunner().invoke(cli, ["audit", "interval-trend", *options, "--by", "condition"])
    assert found.exit_code == 0, found.output
    assert sorted(p.name for p in out.iterdir()) == ["condition-0-up", "condition-1-walking"]
    for folder in out.iterdir():
        assert Audit.read(folder).corpus["attempts"] == 2
    both = CliRunner().invoke(
        cli, ["audit", *options, "--by", "condition", "--stratum", "condition=walking"]
    )
    assert both.exit_code == 2
