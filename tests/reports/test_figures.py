"""Figures: well-formed, described, the same bytes, and true to their data."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from harness.results import Audit
from reports.figures import draw
from reports.model import Figure, Point, Series
from reports.plots import figures_of

SVG = "{http://www.w3.org/2000/svg}"


def _figure(kind: str, *series: Series) -> Figure:
    return Figure(kind, "key", "A <title>", "A & description", series, 128)


@pytest.mark.parametrize("kind", ["odds", "people", "rank", "leakage"])
def test_a_figure_is_well_formed_described_and_repeatable(kind: str) -> None:
    hostile = "$\\frac{x$ <b>&\x1b[0m 計測 _x"
    figure = _figure(
        kind,
        Series(hostile, (Point(0.0, 0.0, 0.0, 0.01), Point(20.0, 0.5, None, None)), flagged=True),
        Series("none", ()),
    )
    text = draw(figure)
    assert text == draw(figure)
    root = ET.fromstring(text)
    assert root[0].tag == f"{SVG}title"
    assert root[0].text == "A <title>"
    assert root[1].tag == f"{SVG}desc"
    assert root[1].text == "A & description"
    assert root.get("role") == "img"
    assert root.find(f".//{SVG}style") is None
    assert any("<b>&" in (t.text or "") for t in root.iter(f"{SVG}text"))


def test_colours_follow_the_page() -> None:
    text = draw(_figure("rank", Series("a", (Point(0.0, 5.0, 4.0, 6.0),), flagged=True)))
    assert "currentColor" in text
    assert "var(--gains" in text
    assert "#010203" not in text


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(
        ValueError, match="`kind` must be one of odds, people, rank, leakage, left, got 'pie'"
    ):
        draw(_figure("pie"))


def test_figures_take_their_numbers_from_the_rows(audit: Audit) -> None:
    figures = {f.kind: f for f in figures_of(audit, "envelope-trend", 1)}
    assert list(figures) == ["odds", "rank", "leakage", "people"]
    mimicry = next(s for s in figures["odds"].series if s.label == "mimicry")
    rows = audit.select(scheme="envelope-trend", attack="mimicry", measure="success-odds")
    assert [(round(2**p.x), p.value, p.low, p.high) for p in mimicry.points] == [
        (r.budget, r.value, r.low, r.high) for r in rows
    ]
    assert mimicry.flagged
    assert [len(s.points) for s in figures["people"].series] == [60, 60, 60]
    assert [s.label for s in figures["people"].series] == [
        "keys agree (owners)",
        "population at 1",
        "mimicry+helper-leak+distant-sensor at 2^64",
    ]


def test_a_scheme_without_numbers_has_no_figures(empty: Audit) -> None:
    assert figures_of(empty, "envelope-trend", 1) == []
