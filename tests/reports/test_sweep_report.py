"""A sweep as page, figure, text and table."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest

from fixtures.controls import Channel, SignCommitment
from harness.cli import root
from harness.cli.sweeping import sweep as command
from harness.contracts import DEVICE_B
from harness.sweeping import sweep
from harness.swept import CURVES, Parameter, Sweep
from reports.model import Figure
from reports.standing import CAUTIONS
from reports.sweep import sweep_document
from reports.sweep_figures import MOST_CURVES, draw_curves, drawn_parameters
from reports.sweep_text import sweep_csv, sweep_html, sweep_text

HOSTILE = "=<script>alert(1)</script>"
FIGURE = Figure("curves", "curves", "title <b>", "described")
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def found() -> Sweep:
    return sweep(
        SignCommitment(name=HOSTILE),
        vary={"code": ("golay-23-12", "repetition-7", "=no@code"), "ones": (0.5, 0.3)},
        corpus=Channel(subjects=6, errors=((DEVICE_B, 0.1), ("remote", 0.2))),
        attacks=["helper-leak", "distant-sensor"],
    )


def test_the_page_leads_with_the_best_and_its_check(found: Sweep) -> None:
    page = sweep_document(found)
    assert [s.key for s in page.sections] == ["best", "curves", "points", "annex"]
    (table,) = page.tables("confirmation")
    assert len(table.rows) == len(CURVES) + 1  # and the strongest adversary
    (points,) = page.tables("points")
    assert [row[0].text for row in points.rows] == ["1", "2", "3", "4", "5", "6"]
    assert [row[-1].text for row in points.rows].count("chosen") == 1
    assert [row[-1].text for row in points.rows].count("refused") == 2
    told = str(page.section("annex").blocks)
    assert "point 5, refused" in told
    assert "the name of a known code" in told


def test_the_html_is_escaped_loads_nothing_and_warns(found: Sweep) -> None:
    page = sweep_html(found)
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert not re.search(r"""(src|href)\s*=\s*["'](?!#)""", page)
    assert "flatters it" in page
    assert "sweep.json" in page
    assert "result.json" not in page
    assert all(name in page for name, _ in CAUTIONS)
    assert page.count("<svg") == 1
    assert page == sweep_html(found)


def test_the_figure_has_a_panel_a_curve_and_a_band_for_each(found: Sweep) -> None:
    svg = draw_curves(found, FIGURE)
    assert svg == draw_curves(found, FIGURE)
    root_element = ET.fromstring(svg)
    assert root_element.find(f"{SVG}title").text == "title <b>"
    groups = [g.get("id", "") for g in root_element.iter(f"{SVG}g")]
    assert sum(g.startswith("curves-axes_") for g in groups) >= len(CURVES)
    # two curves in each of seven panels, with a band each
    assert sum("FillBetweenPolyCollection" in g or "PolyCollection" in g for g in groups) == 2 * len(CURVES)
    texts = {t.text for t in root_element.iter(f"{SVG}text")}
    assert {"0.5", "0.3", "ones"} <= texts


def test_a_second_parameter_of_many_values_takes_the_axis(found: Sweep) -> None:
    many = Parameter(of="corpus", name="ones", values=tuple(i / 20 for i in range(MOST_CURVES + 1)))
    wide = replace(found, parameters=[found.parameters[0], many])
    assert drawn_parameters(wide) == (many, found.parameters[0])
    both = replace(found, parameters=[replace(many, name="length"), many])
    assert drawn_parameters(both) is None
    with pytest.raises(ValueError, match="at most 8 values"):
        draw_curves(both, FIGURE)


def test_the_text_fits_a_terminal(found: Sweep) -> None:
    text = sweep_text(found)
    assert max(map(len, text.splitlines())) <= 100
    assert all(c.isprintable() or c == "\n" for c in text)
    assert "Confirmed on 6 freshly simulated people, seed" in text
    assert "point 5 refused" in text
    assert "flatters it" in text


def test_the_csv_is_tidy_and_no_word_is_a_formula(found: Sweep) -> None:
    rows = list(csv.DictReader(io.StringIO(sweep_csv(found))))
    swept = [r for r in rows if r["people"] == "swept"]
    assert len(swept) == 4 * len(CURVES) + 2
    assert [r["quantity"] for r in rows if r["people"] == "confirmation"] == list(CURVES)
    for row in rows:
        for name, cell in row.items():
            if name not in ("value", "low", "high", "level", "corpus.ones"):
                assert not cell.startswith(("=", "+", "-", "@")), (name, cell)
    first = next(r for r in swept if (r["point"], r["quantity"]) == ("2", "agreement"))
    assert float(first["value"]) == found.points[1].rows["agreement"].value


SMALL = ["--attack", "population", "--subjects", "3", "--sessions", "1", "--attempts", "2"]


@pytest.fixture
def registered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(root.cli.commands, "sweep", command)


def run(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr(sys, "argv", ["keyassay", "sweep", *words])
    with pytest.raises(SystemExit) as left:
        root.main()
    return int(left.value.code or 0)


@pytest.mark.usefixtures("registered")
def test_the_command_writes_three_files(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    words = ["interval-gray", "--vary", "cell_s=0.004:0.008:2", *SMALL, "--out", str(tmp_path / "out")]
    assert run(monkeypatch, *words) == 0
    assert "Chosen: point" in capsys.readouterr().out
    first = {p.name: p.read_bytes() for p in (tmp_path / "out").iterdir()}
    assert set(first) == {"sweep.html", "sweep.csv", "sweep.json"}
    content = json.loads(first["sweep.json"])
    assert content["settings"]["command"][:4] == [
        "keyassay", "sweep", "interval-gray", "--vary",
    ]  # fmt: skip
    assert str(tmp_path) not in first["sweep.json"].decode()
    # the printed command makes the same bytes again
    assert run(monkeypatch, *content["settings"]["command"][2:], "--out", str(tmp_path / "again")) == 0
    assert {p.name: p.read_bytes() for p in (tmp_path / "again").iterdir()} == first


@pytest.mark.usefixtures("registered")
@pytest.mark.parametrize(
    ("vary", "said"),
    [
        (["cells=1,2"], "did you mean 'cell_s'"),
        (["cell_s=1,2", "blocks=1,2", "key_bits=1,2"], "one or two parameters, got 3"),
        (["code=none,such"], "all were refused"),
    ],
)
def test_bad_input_is_one_sentence_and_nothing_is_written(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    vary: list[str],
    said: str,
) -> None:
    words = [w for v in vary for w in ("--vary", v)]
    assert run(monkeypatch, "interval-gray", *words, *SMALL, "--out", str(tmp_path / "out")) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert not (tmp_path / "out").exists()


@pytest.mark.usefixtures("registered")
def test_a_failing_attack_ends_in_status_three_and_the_curves_stand(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "fails.py"
    path.write_text(
        "class Fails:\n    name = 'fails'\n    sees = frozenset({'remote'})\n"
        "    def believe(self, view, *, rng):\n        raise RuntimeError('on purpose')\n",
        "utf-8",
    )
    words = ["interval-gray", "--vary", "cell_s=0.004,0.008", *SMALL, "--attack", f"{path}:Fails"]
    assert run(monkeypatch, *words, "--out", str(tmp_path / "out")) == 3
    captured = capsys.readouterr()
    assert "failed: point 1, fails" in captured.err
    assert (tmp_path / "out" / "sweep.html").is_file()
