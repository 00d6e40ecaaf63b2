"""A calibration as page and as text."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from made_up_trials import TRUTH, alone, control, pair, read, trial

from harness.calibration import Calibration, Flaw
from harness.calibration.calibrating import weighed
from harness.calibration.cases import Case
from reports.calibration import calibration_document
from reports.calibration_text import _no_figure, calibration_html, calibration_text
from reports.model import Figure
from reports.standing import CAUTIONS

HOSTILE = "<script>alert(1)</script>\x1b[31m"


@pytest.fixture(scope="module")
def found() -> Calibration:
    """Two flaws, one of them missed and hostile; alarms, a missed truth, shuffled pairs, a failure."""
    hostile = Flaw(
        planted=control(HOSTILE, sound=False),
        twin=control("quiet-twin", sound=True),
        found_by=frozenset({"keys-repeat"}),
        met=HOSTILE,
    )
    truths = (TRUTH, replace(TRUTH, attack=HOSTILE, source=HOSTILE, bound="at-least", value=0.3))
    cases = [
        *pair("leak", "keys-repeat", "strangers-agree"),
        Case(control=hostile.planted, role="planted", flaw=hostile),
        Case(control=hostile.twin, role="twin", flaw=hostile),
        alone("known", sound=True, truths=truths),
        alone("pairs", sound=True, truths=(TRUTH,), shuffled=True),
        alone("open", sound=False),
        alone("broken", sound=True, truths=(replace(TRUTH, bound="at-most"),)),
    ]
    trials = []
    for r in range(20):
        trials += [
            trial("leak", r, flagged=("keys-repeat",) if r < 15 else ("keys-repeat", "blind-key-bits")),
            trial("leak-twin", r, flagged=("blind-key-bits",) if r < 5 else ()),
            trial(HOSTILE, r, flagged=(HOSTILE,)),
            trial("quiet-twin", r),
            trial("known", r, readings=(read(0.6, 0.7), read(0.2, 0.4, truth=0.3))),
            trial("pairs", r, readings=(read(0.4, 0.6, value=0.7),)),
            trial("open", r, flagged=("odds-above-promise",)),
            trial("broken", r, failure=HOSTILE),
        ]
    settings = {"seed": 0, "seeds": 20, "command": ["keyassay", "calibrate", "--only", HOSTILE]}
    return weighed(cases, trials, settings=settings)


def test_the_page_has_its_sections_and_verdicts(found: Calibration) -> None:
    page = calibration_document(found)
    assert [s.key for s in page.sections] == [
        "outcome", "flaws", "alarms", "coverage", "truths", "chance", "annex",
    ]  # fmt: skip
    (verdicts,) = page.tables("verdicts")
    assert [row[1].text for row in verdicts.rows] == ["missed"] * 6
    assert {row[1].tone for row in verdicts.rows} == {"alarm"}


def test_the_matrix_shows_numbers_and_outlines_what_sees_the_flaw(found: Calibration) -> None:
    (matrix,) = calibration_document(found).tables("matrix")
    ids = matrix.columns[3:]
    assert list(ids) == sorted(ids)
    rows = {row[0].text: dict(zip(matrix.columns, row, strict=True)) for row in matrix.rows}
    leak = rows["leak"]
    assert (leak["Found"].text, leak["Found"].tone) == ("20 of 20", "calm")
    assert (leak["keys-repeat"].text, leak["keys-repeat"].tone) == ("20", "heat4 aim")
    assert (leak["blind-key-bits"].text, leak["blind-key-bits"].tone) == ("5", "heat1")
    assert (leak["strangers-agree"].text, leak["strangers-agree"].tone) == ("0", "heat0 aim")
    assert (leak["odds-above-promise"].text, leak["odds-above-promise"].tone) == ("", "heat0")
    assert rows["open"]["Found"].text == "20 of 20"
    (missed,) = (row for name, row in rows.items() if "script" in name)
    assert (missed["Found"].text, missed["Found"].tone) == ("0 of 20", "alarm")


def test_tables_say_what_was_counted(found: Calibration) -> None:
    page = calibration_document(found)
    (sound,) = page.tables("sound")
    first = sound.rows[0]
    assert [cell.text for cell in first[:3]] == ["leak-twin", "5 of 20", "blind-key-bits 5"]
    assert first[1].tone == "alarm"
    (rules,) = page.tables("rules")
    assert [(row[0].text, row[1].tone) for row in rules.rows if row[2].text != "none"] == [
        ("detectors", "alarm")
    ]
    (coverage,) = page.tables("coverage")
    assert [row[0].text for row in coverage.rows] == ["success-odds 1 (bound)", "success-odds 1"]
    assert [row[-1].text for row in coverage.rows] == ["as said", "too narrow"]
    (truths,) = page.tables("truths")
    told = {(row[0].text, row[2].text): row for row in truths.rows}
    assert told["known", "0.5"][5].text == "0 of 20"
    assert told["known", "0.5"][5].tone == "alarm"
    assert told["known", "≥ 0.3"][3].detail == "an attacker gets at least this"
    assert told["broken", "≤ 0.5"][5].detail == "20 of 20 audits told nothing"
    assert told["broken", "≤ 0.5"][5].tone == "open"
    (chance,) = page.tables("chance")
    assert [cell.text for cell in chance.rows[0][:2]] == ["spy", "1400 of 2000"]
    assert chance.rows[0][-1].tone == "alarm"


def test_the_html_is_escaped_loads_nothing_and_warns(found: Calibration) -> None:
    page = calibration_html(found)
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "\x1b" not in page
    assert not re.search(r"""(src|href)\s*=\s*["'](?!#)""", page)
    assert 'class="heat4 aim">20<' in page
    assert all(name in page for name, _ in CAUTIONS)
    assert "calibration.json" in page
    assert "result.json" not in page
    assert page == calibration_html(found)


def test_the_text_fits_a_terminal(found: Calibration) -> None:
    text = calibration_text(found)
    assert [line for line in text.splitlines() if len(line) > 100] == []
    assert all(c.isprintable() or c == "\n" for c in text)
    assert "0 of 20 !" in text
    assert "0/20 !" in text
    assert "5 of 20 !" in text
    assert "Never flagged (audits of each: 0 to 20): quiet-twin, known, pairs, broken" in text
    assert text.count("attacker ≥") >= 3
    assert all(name in text for name, _ in CAUTIONS)


def test_verdicts_and_flaws_come_first_and_truths_last(found: Calibration) -> None:
    text = calibration_text(found)
    parts = [
        "Controls: ", "missed      trials", "Flaws and controls that must be", "are made up, so that",
        "20 of 20: ", "Never flagged", "Do intervals hold", "look at the wrong person", CAUTIONS[0][0],
        "Truths (",
    ]  # fmt: skip
    places = [text.index(part) for part in parts]
    assert places == sorted(places)


def test_text_of_what_is_well_has_no_tables_of_trouble() -> None:
    told = weighed(
        [alone("sound", sound=True)], [trial("sound")], settings={"seed": 0, "seeds": 1, "command": []}
    )
    text = calibration_text(told)
    assert "flagged all the same" not in text
    assert "Never flagged (audits of each: 1): sound" in text
    assert "Flaws and controls" not in text
    assert "!" not in text
    assert "not tested  found" in text


def test_there_is_nothing_to_draw() -> None:
    with pytest.raises(ValueError, match="no figures, got 'odds'"):
        _no_figure(Figure("odds", "x", "x", "x"))
