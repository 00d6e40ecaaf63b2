"""The intake check as page, figures and text."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest
from command_line import run
from recorded_bodies import write_people

from harness.intake import Inspection, inspect
from harness.intake.record import Remark
from harness.recordings import open_corpus
from reports.intake import intake_document
from reports.intake_figures import draw_intake
from reports.intake_text import WIDTH, intake_html, intake_text
from reports.model import Figure

HOSTILE = "<script>alert(1)</script>\x1b[31m"


class Camera:
    name = f"camera{HOSTILE}"
    sees = frozenset({"camera"})
    likes: frozenset[str] = frozenset()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_people(tmp_path_factory.mktemp("people"), subjects=2, attempts=1)


@pytest.fixture(scope="module")
def found(folder: Path) -> Inspection:
    clean = inspect(folder, attacks=[Camera()], synchronise=True)
    return replace(
        clean,
        name=HOSTILE,
        complaints=(f"line 3: {HOSTILE}",),
        remarks=(Remark(kind="mains", text=HOSTILE),),
        unread={HOSTILE: 2},
    )


def test_the_page_leads_with_what_is_damaged(found: Inspection) -> None:
    page = intake_document(found)
    assert [s.key for s in page.sections] == [
        "first", "streams", "clocks", "alike", "adversaries", "resolution", "synchronisation"
    ]  # fmt: skip
    first = str(page.sections[0].blocks)
    assert "Left out" in first
    assert "an audit refuses the corpus" in first
    (table,) = page.tables("coverage")
    assert table.rows[0][1].tone == "open"
    assert len(page.tables("streams")[0].rows) == 3


def test_the_html_is_escaped_and_loads_nothing(found: Inspection) -> None:
    page = intake_html(found)
    assert "<script" not in page
    assert "\x1b" not in page
    assert not re.search(r"""(src|href)\s*=\s*["'](?!#)""", page)
    assert page.count("<svg") == 3
    assert "intake.json" in page
    assert page == intake_html(found)


def test_the_figures_hold_what_was_measured(found: Inspection) -> None:
    svg = {
        k: ET.fromstring(draw_intake(found, Figure(k, k, "t", "d"))) for k in ("traces", "levels", "clocks")
    }
    name = "{http://www.w3.org/2000/svg}"
    panels = [g.get("id", "") for g in svg["traces"].iter(f"{name}g")]
    assert sum(g.startswith("traces-axes_") for g in panels) == 3
    texts = {t.text for t in svg["levels"].iter(f"{name}text")}
    assert "device-a:emg, uV" in texts
    with pytest.raises(ValueError, match="`kind` must be one of traces"):
        draw_intake(found, Figure("odds", "odds", "t", "d"))


def test_the_text_fits_a_terminal_and_says_the_same(found: Inspection) -> None:
    text = intake_text(found)
    assert max(map(len, text.splitlines())) <= WIDTH
    assert "\x1b" not in text
    for part in (
        "Left out: line 3",
        "Cannot test camera",
        "no capture of role camera",
        "Smallest odds",
        "Stratum day 1",
    ):
        assert part in text
    assert "Synchronised by onset" in text
    assert "Synchronised" not in intake_text(replace(found, shifts=None))


def test_the_command(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "inspect", str(folder), "--out", str(tmp_path / "intake"))
    assert status == 0
    assert "Nothing is damaged" in out
    assert "Cannot test mimicry: no capture of role mimic" in out
    assert json.loads((tmp_path / "intake" / "intake.json").read_text())["counts"]["subjects"] == 2
    assert (tmp_path / "intake" / "intake.html").read_text().startswith("<!doctype html>")


def test_a_damaged_corpus_is_told_of_and_ends_in_2(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for path in folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "p1-1.npz").write_bytes(b"PK")
    status, out, _ = run(capsys, "inspect", str(tmp_path))
    assert status == 2
    assert "p1-1.npz must be a NumPy archive" in " ".join(out.split())
    assert "3 attempts with both devices" in out


@pytest.mark.parametrize("name", ["nowhere/manifest.csv", "cargo-bikes"])
def test_what_is_not_there(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "inspect", name)
    assert (status, out) == (2, "")
    assert err.startswith("keyassay: ")
    assert err.count("\n") == 1


def test_an_aligned_manifest_beside_the_original(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for path in folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    words = ("inspect", str(tmp_path), "--synchronise", "--aligned")
    status, out, _ = run(capsys, *words, str(tmp_path / "aligned.csv"))
    assert status == 0
    assert "Aligned by onset" in out
    open_corpus(tmp_path / "aligned.csv").check()
    for place, says in (
        (tmp_path / "aligned.csv", "not overwritten"),
        (folder / "x.csv", "beside the manifest"),
    ):
        status, _, err = run(capsys, *words, str(place))
        assert status == 2
        assert says in err
    assert "needs `--synchronise`" in run(capsys, "inspect", str(tmp_path), "--aligned", "x.csv")[2]


def test_a_figure_of_levels_is_drawn_only_where_there_are_levels(found: Inspection) -> None:
    def figures(of: Inspection) -> set[str]:
        section = next(s for s in intake_document(of).sections if s.key == "streams")
        return {block.kind for block in section.blocks if isinstance(block, Figure)}

    assert figures(found) == {"traces", "levels"}
    events = [
        replace(s, captures=tuple((who, replace(q, snr_db=None)) for who, q in s.captures))
        for s in found.streams
    ]
    assert figures(replace(found, streams=tuple(events))) == {"traces"}
