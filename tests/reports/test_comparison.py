"""The comparison as page, text and table: whole, escaped, within its width, and safe in a spreadsheet."""

from __future__ import annotations

import csv
import io
import re
import sys
from pathlib import Path

import pytest

from fixtures.controls import Channel, SignCommitment
from harness.cli import root
from harness.cli.comparing import compare as command
from harness.comparing import compare
from harness.contracts import DEVICE_B
from harness.sidebyside import QUANTITIES, SideBySide
from reports.comparison import comparison_document
from reports.comparison_text import CSV_COLUMNS, comparison_csv, comparison_text, guarded
from reports.html import to_html
from reports.markdown import to_markdown
from reports.model import Table
from reports.standing import CAUTIONS

HOSTILE = "=HYPERLINK(<script>alert(1)</script>)"
NUMBERS = ("value", "low", "high", "level")


@pytest.fixture(scope="module")
def found() -> SideBySide:
    corpus = Channel(subjects=12, errors=((DEVICE_B, 0.1), ("remote", 0.2)))
    schemes = [SignCommitment(), SignCommitment(code="repetition-7", blocks=3, name=HOSTILE)]
    return compare(schemes, corpus=corpus, attacks=["helper-leak", "distant-sensor", "population"])


def test_the_page_has_every_quantity_of_every_scheme(found: SideBySide) -> None:
    (table,) = comparison_document(found).tables("side-by-side")
    assert [row[0].text for row in table.rows] == [q.title for q in QUANTITIES]
    assert table.columns == ("Quantity", *found.schemes, "What it bounds")
    for row in table.rows:
        for cell in row[1:-1]:
            assert cell.text
            assert cell.text != "untested" or cell.detail


def test_the_page_names_the_adversaries_and_every_difference(found: SideBySide) -> None:
    page = comparison_document(found)
    for table in page.tables("adversaries"):
        assert [row[0].text for row in table.rows] == ["helper-leak", "distant-sensor", "population"]
        assert [row[0].detail for row in table.rows] == ["", "the strongest", ""]
    (differences,) = page.tables("differences")
    assert len(differences.rows) == len(found.differences)
    assert "keys of 12 and 3 bits" in str(differences.rows)


def test_nothing_adds_up_to_a_score(found: SideBySide) -> None:
    page = to_html(comparison_document(found))
    assert "There is no total score" in page
    (dominance,) = comparison_document(found).tables("dominance")
    assert [row[1].text for row in dominance.rows] == ["neither"]


def test_the_html_is_escaped_and_loads_nothing(found: SideBySide) -> None:
    page = to_html(comparison_document(found))
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert not re.search(r"""(src|href)\s*=\s*["'](?!#)""", page)
    assert all(name in page for name, _ in CAUTIONS)
    assert page == to_html(comparison_document(found))
    assert "<script" not in to_markdown(comparison_document(found))


def test_the_text_fits_a_terminal_and_says_what_is_not_measured(found: SideBySide) -> None:
    text = comparison_text(found)
    assert max(map(len, text.splitlines())) <= 100
    assert all(c.isprintable() or c == "\n" for c in text)
    assert "Not measured, and no pass:" in text
    assert "no adversary held several enrolments" in text
    assert "Evidence, not a certificate" in text


def test_the_csv_is_tidy_and_keeps_all_digits(found: SideBySide) -> None:
    rows = list(csv.DictReader(io.StringIO(comparison_csv(found))))
    assert tuple(rows[0]) == CSV_COLUMNS
    keys = [(r["scheme"], r["quantity"], r["adversary"]) for r in rows]
    assert len(set(keys)) == len(keys)
    attacked = [q.slug for q in QUANTITIES if q.of == "adversary"]
    assert len(keys) == 2 * (len(QUANTITIES) - len(attacked) + 3 * len(attacked))
    for entry in found.by_adversary:
        own = (guarded(entry.row.scheme), entry.quantity, entry.row.attack)
        row = rows[keys.index(own)]
        value = entry.row.value
        assert (float(row["value"]) if row["value"] else None) == value
        assert row["status"] == entry.row.status


def test_no_word_of_others_is_a_formula(found: SideBySide) -> None:
    for row in csv.DictReader(io.StringIO(comparison_csv(found))):
        for name, cell in row.items():
            if name not in NUMBERS:
                assert not cell.startswith(("=", "+", "-", "@")), (name, cell)
    assert guarded("\t=1") == "'=1"
    assert guarded("a=1") == "a=1"


def test_many_schemes_stand_in_several_tables() -> None:
    corpus = Channel(subjects=3, errors=((DEVICE_B, 0.1),))
    schemes = [SignCommitment(code="hamming-7-4", name=f"number {i}") for i in range(5)]
    text = comparison_text(compare(schemes, corpus=corpus, attacks="helper-leak"))
    assert text.count("strongest adversary") == 2
    assert max(map(len, text.splitlines())) <= 100


def test_a_document_holds_no_blank_cell_for_a_quantity(found: SideBySide) -> None:
    for section in comparison_document(found).sections:
        for block in section.blocks:
            if isinstance(block, Table) and block.key in ("side-by-side", "adversaries"):
                assert all(cell.text for row in block.rows for cell in row)


@pytest.fixture
def compared(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(root.cli.commands, "compare", command)


def run(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr(sys, "argv", ["keyassay", "compare", *words])
    with pytest.raises(SystemExit) as left:
        root.main()
    return int(left.value.code or 0)


SMALL = ["--attack", "population", "--subjects", "3", "--sessions", "1", "--attempts", "2"]
PAIR = ["interval-gray", "interval-gray:cell_s=0.008,name=coarse"]


@pytest.mark.usefixtures("compared")
def test_the_command_writes_three_files_and_prints_a_table(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert run(monkeypatch, *PAIR, *SMALL, "--out", str(tmp_path / "out")) == 0
    assert "interval-gray and coarse" in capsys.readouterr().out
    names = {p.name for p in (tmp_path / "out").iterdir()}
    assert names == {"comparison.html", "comparison.csv", "result.json"}
    assert run(monkeypatch, *PAIR, *SMALL, "--out", str(tmp_path / "out"), "--format", "csv") == 0
    assert capsys.readouterr().out == (tmp_path / "out" / "comparison.csv").read_text("utf-8")


@pytest.mark.usefixtures("compared")
def test_the_command_refuses_one_scheme_in_one_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert run(monkeypatch, PAIR[0], *SMALL, "--out", str(tmp_path / "out")) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert not (tmp_path / "out").exists()


@pytest.mark.usefixtures("compared")
def test_a_failing_scheme_ends_in_status_three_and_the_other_stands(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "fails.py"
    path.write_text(
        "from schemes.interval_gray import IntervalGray\n"
        "class Fails:\n"
        "    name, key_bits, signal = '=fails', 8, 'intervals'\n"
        "    def witness(self, capture):\n        raise RuntimeError('on purpose \\x1b[31m')\n"
        "    def generate(self, witness, *, rng): ...\n"
        "    def reproduce(self, witness, helper): ...\n",
        "utf-8",
    )
    assert run(monkeypatch, PAIR[0], f"{path}:Fails", *SMALL, "--out", str(tmp_path / "out")) == 3
    captured = capsys.readouterr()
    assert "on purpose" in captured.err
    assert "\x1b" not in captured.out + captured.err
    assert "failed" in captured.out
