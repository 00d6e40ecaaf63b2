"""Rows that hold no NaN, and how they are found and read again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from harness.contracts import Estimate
from harness.results import Audit, Finding, PerSubject, Row, keys_of, measured, unmeasured

EMPTY: dict[str, Any] = {"per_subject": [], "findings": [], "settings": {}, "corpus": {}}
EMPTY |= {"schemes": [], "attacks": [], "versions": {}}


def estimate(**changes: Any) -> Estimate:
    sound = {"value": 0.5, "low": 0.4, "high": 0.6, "level": 0.95, "unit": "bit", "side": "estimate"}
    more = {"evidence": "counted", "subjects": 3, "attempts": 9, "method": "means"}
    return Estimate(**{**sound, **more, **changes})


def row(attack: str | None = None, budget: int | None = None, **changes: Any) -> Row:
    return measured(
        estimate(**changes), scheme="s", attack=attack, measure="m", data="recorded", budget=budget
    )


def result(*rows: Row, **more: Any) -> Audit:
    return Audit(rows=rows, **{**EMPTY, **more})


def test_the_open_end_of_a_one_sided_limit_is_null() -> None:
    found = row(high=np.nan)
    assert (found.value, found.low, found.high) == (0.5, 0.4, None)
    assert '"high": null' in result(found).to_json()


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_no_row_holds_what_json_has_no_word_for(bad: float) -> None:
    values = {name: getattr(row(), name) for name in Row.__dataclass_fields__}
    with pytest.raises(ValueError, match="finite or None"):
        Row(**{**values, "value": bad})
    with pytest.raises(ValueError, match="`value` must be finite"):
        PerSubject(scheme="s", attack=None, measure="m", budget=None, subject=1, value=bad, attempts=1)
    with pytest.raises(ValueError, match="JSON"):
        result(settings={"seed": bad}).to_json()


def test_statuses_and_severities_are_from_their_lists() -> None:
    values = {"scheme": "s", "attack": None, "measure": "m", "unit": "bit", "data": "recorded"}
    with pytest.raises(ValueError, match="`status` must be one of measured, untested"):
        unmeasured("skipped", "why", **values)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="`severity` must be one of note, low"):
        Finding(id="x", severity="bad", scheme="s", attack=None, text="x")


def test_a_cell_without_numbers_has_a_reason_and_none() -> None:
    cell = unmeasured(
        "untested", "no mimic", scheme="s", attack="mimicry", measure="m", unit="bit", data="recorded"
    )
    assert (cell.value, cell.low, cell.high, cell.level, cell.side, cell.evidence) == (None,) * 6
    assert cell.reason == "no mimic"
    assert not result(cell).failed
    assert result(
        unmeasured("failed", "x", scheme="s", attack=None, measure="m", unit="", data="recorded")
    ).failed


def test_rows_are_selected_by_any_of_their_fields() -> None:
    rows = [row(), row("a", 1), row("a", 10), row("b", 1)]
    found = result(*rows)
    assert found.select(attack="a", budget=10) == [rows[2]]
    assert found.select(attack=None) == [rows[0]]
    assert found.select(attack="c") == []
    assert len(set(keys_of(rows))) == 4
    assert keys_of(rows)[1] == ("s", "a", "m", 1, "bit", "means")


def test_numbers_words_and_order_come_back(tmp_path: Path) -> None:
    third = row("a", 2**64, value=1 / 3, low=5e-324, high=1e300)
    odd = Finding(
        id="x", severity="note", scheme="ß\n\u2028", attack=None, text="x", details={"a": [1, None]}
    )
    text = result(third, row(), findings=[odd]).to_json()
    again = Audit.from_json(text)
    assert list(again.rows) == [third, row()]
    assert again.to_json() == text
    (tmp_path / "result.json").write_text(text, "utf-8")
    assert Audit.read(tmp_path).to_json() == Audit.read(tmp_path / "result.json").to_json() == text
