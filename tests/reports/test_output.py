"""What the page, the Markdown file and the terminal text look like from outside."""

from __future__ import annotations

import re
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path

import matplotlib as mpl
import pytest

import reports
from harness.results import Audit
from reports import to_html, to_markdown, to_text, write_reports
from reports.document import document
from reports.markdown import escape
from reports.model import Cell, Code, Document, Facts, Items, Section, Table
from reports.text import WIDTH


class _Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: Counter[str] = Counter()
        self.attributes: list[tuple[str, str, str]] = []
        self.text: list[str] = []
        self.headings: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        self._open.append(tag)

    def handle_data(self, data: str) -> None:
        if self._open and self._open[-1] != "style":
            self.text.append(data)

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.text).split())


@pytest.fixture(scope="module")
def html(audit: Audit) -> str:
    return to_html(document(audit))


def test_hostile_words_stay_words_in_html(html: str) -> None:
    page = _Page(html)
    assert page.tags["script"] == 0
    assert page.tags["img"] == 0
    assert "<script>alert(1)</script>" in page.words
    assert "grip|rim `tick` <img src=x onerror=alert(2)>" in page.words
    assert not [a for a in page.attributes if a[1].startswith("on")]
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e]", html)


def test_the_page_loads_nothing(html: str) -> None:
    page = _Page(html)
    assert {"link", "iframe", "object", "embed", "image", "base"}.isdisjoint(page.tags)
    loading = [
        v for _, n, v in page.attributes if n in ("src", "href", "xlink:href", "data", "action", "srcset")
    ]
    assert loading
    assert all(value.startswith("#") for value in loading)
    assert "url(" not in re.sub(r"url\(#[\w-]+\)", "", html)
    assert "@import" not in html
    policy = next(v for t, n, v in page.attributes if t == "meta" and n == "content" and "default-src" in v)
    assert policy.startswith("default-src 'none'")


def test_ids_are_unique_and_links_land(html: str) -> None:
    page = _Page(html)
    ids = Counter(v for _, n, v in page.attributes if n == "id")
    assert {i for i, count in ids.items() if count > 1} == set()
    targets = {v[1:] for _, n, v in page.attributes if n in ("href", "xlink:href")}
    targets |= set(re.findall(r"url\(#([\w-]+)\)", html))
    assert targets <= set(ids)


def test_the_page_serves_light_and_dark_and_paper(html: str) -> None:
    assert "@media (prefers-color-scheme: dark)" in html
    assert "@media print" in html


@pytest.mark.parametrize("render", [to_html, to_markdown, to_text])
def test_the_same_audit_gives_the_same_bytes(audit: Audit, render) -> None:  # type: ignore[no-untyped-def]
    assert render(document(audit)) == render(document(audit))


def test_settings_of_the_machine_change_no_byte(audit: Audit, html: str) -> None:
    with mpl.rc_context({"axes.linewidth": 7.0, "font.size": 20.0, "svg.hashsalt": "other"}):
        assert to_html(document(audit)) == html
        assert mpl.rcParams["font.size"] == 20.0


def test_headings_of_both_files_stand_in_the_order_of_the_document(audit: Audit, html: str) -> None:
    report = document(audit)
    titles = [s.title for s in report.sections]
    assert re.findall(r"^## \d+\. (.*)$", to_markdown(report), re.MULTILINE) == titles
    assert re.findall(r'<h2><span class="number">\d+</span> (.*?)</h2>', html) == titles


def test_every_table_cell_reaches_both_files(audit: Audit, html: str) -> None:
    report = document(audit)
    words, markdown = _Page(html).words, to_markdown(report)
    for section in report.sections:
        for block in section.blocks:
            for row in getattr(block, "rows", ()):
                for cell in row:
                    for text in (cell.text, cell.detail):
                        assert text in words
                        assert escape(text) in markdown


def test_markdown_shows_no_raw_html_and_keeps_its_columns(audit: Audit) -> None:
    lines = to_markdown(document(audit)).splitlines()
    assert not [line for line in lines if re.search(r"<[a-z/!]", line)]
    width = 0
    for line in lines:
        bars = len(re.findall(r"(?<!\\)\|", line))
        if width and line.startswith("|"):
            assert bars == width, line
        width = bars if line.startswith("|") else 0


def test_markdown_escape_known_answers() -> None:
    assert escape("a|b") == r"a\|b"
    assert escape("<b>&`x`") == r"&lt;b&gt;&amp;\`x\`"
    assert escape("![i](http://x)\n# h") == r"\!\[i\](http://x) \# h"


def test_a_command_cannot_close_its_code_block(audit: Audit) -> None:
    settings = {**audit.settings, "command": ["keyassay", "```", "<b>"]}
    changed = Audit(
        rows=audit.rows,
        per_subject=[],
        findings=[],
        settings=settings,
        corpus={},
        schemes=[],
        attacks=[],
        versions={},
    )
    assert "\n````\nkeyassay '```' '<b>'\n````\n" in to_markdown(document(changed))


def test_terminal_text_fits_and_cannot_steer_the_terminal(audit: Audit, empty: Audit) -> None:
    for one in (audit, empty):
        text = to_text(document(one))
        assert max(map(len, text.splitlines())) <= WIDTH == 100
        assert all(c.isprintable() or c == "\n" for c in text)


def test_terminal_text_tells_verdicts_pair_findings_and_threats(audit: Audit) -> None:
    text = " ".join(to_text(document(audit)).split())
    assert "Honest pair, envelope-trend: keys agree 0.946 [0.915, 0.968]" in text
    assert "Findings: 1 critical, 1 high, 1 medium, 1 low, 1 note" in text
    assert "Open threat: replay against envelope-trend" in text
    assert text.count("gains:") == 2


def test_write_reports_puts_both_files_and_nothing_else(audit: Audit, tmp_path: Path, html: str) -> None:
    folder = tmp_path / "deep" / "out"
    paths = write_reports(audit, folder)
    assert paths == (folder / "report.html", folder / "report.md")
    assert sorted(p.name for p in folder.iterdir()) == ["report.html", "report.md"]
    assert paths[0].read_text("utf-8") == html
    before = [p.read_bytes() for p in paths]
    assert [p.read_bytes() for p in write_reports(audit, folder)] == before


def test_a_failed_report_leaves_the_old_one(
    audit: Audit, empty: Audit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    paths = write_reports(empty, tmp_path)
    before = [p.read_bytes() for p in paths]
    real = Path.write_text

    def full_disk(self: Path, data: str, **options: str) -> int:
        if "report.md" in self.name:
            real(self, data[:10], **options)  # type: ignore[arg-type]
            raise OSError("no space left")
        return real(self, data, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(reports.Path, "write_text", full_disk)
    with pytest.raises(OSError, match="no space left"):
        write_reports(audit, tmp_path)
    assert [p.read_bytes() for p in paths] == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["report.html", "report.md"]


def test_each_renderer_guards_itself_against_an_uncleaned_document() -> None:
    raw = "\x1b[2J\u202e<i>|`"
    table = Table(
        raw, ("Scheme", *"ABCDEFGH"), ((Cell(raw, raw, "alarm"),) * 9,), key="outcome", heading=raw
    )
    facts, items = Facts(((raw, raw),)), Items(((raw, raw),))
    report = Document(raw, raw, (Section("first-screen", raw, (facts, table, items, Code(raw))),))
    for text in (to_html(report), to_markdown(report), to_text(report)):
        assert "[2J" in text
        assert not re.search(r"[\x1b\u202e]", text)
    assert "<i>" not in to_html(report)
    assert "<i>" not in to_markdown(report).replace("```\n�[2J�<i>|`\n```", "")
