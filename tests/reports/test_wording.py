"""Numbers and names as a reader sees them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.wording import budget_text, clean, interval_text, joined, level_text, number_text, side_text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.000123, "1.2e-4"),
        (0.0, "0"),
        (1.0, "1"),
        (0.0117, "0.0117"),
        (0.5, "0.5"),
        (-0.25, "-0.25"),
        (0.99992, "0.9999"),
        (0.9995, "0.9995"),
        (0.999999, ">0.9999"),
        (87.456, "87.5"),
        (126.9, "127"),
        (2.5e7, "2.5e7"),
        (float("nan"), "–"),
        (float("inf"), "–"),
        (None, "–"),
    ],
)
def test_numbers_known_by_heart(value: float | None, text: str) -> None:
    assert number_text(value) == text


@given(st.floats(min_value=1e-300, max_value=1 - 1e-12))
def test_odds_strictly_between_never_read_as_certain(value: float) -> None:
    assert number_text(value) not in ("0", "1")


@given(st.floats(min_value=1e-300, max_value=1e300).filter(lambda v: not 0.99995 < v < 1))
def test_a_shown_number_is_within_its_last_digit(value: float) -> None:
    text = number_text(value)
    if value < 1e-99:
        assert text == "<1e-99"
    else:  # two significant digits at least: half a unit of the second is five per cent
        assert float(text) == pytest.approx(value, rel=0.05)


@pytest.mark.parametrize(
    ("budget", "text"),
    [
        (1, "1"),
        (10, "10"),
        (100, "100"),
        (2**20, "2^20"),
        (2**40, "2^40"),
        (2**64, "2^64"),
        (None, ""),
        (1025, "1025"),
    ],
)
def test_budgets(budget: int | None, text: str) -> None:
    assert budget_text(budget) == text


def test_intervals_say_an_open_end() -> None:
    assert interval_text(0.0041, 0.0301) == "[0.0041, 0.0301]"
    assert interval_text(None, 0.01409) == "[at most 0.0141]"
    assert interval_text(0.2, None) == "[at least 0.2]"
    assert interval_text(None, None) == "(no interval)"


def test_sides_are_said_in_words() -> None:
    assert side_text("attacker-at-least") == "an attacker gets at least this"
    assert side_text("defender-at-most") == "the owners keep at most this"
    assert side_text(None) == "–"


def test_levels_and_facts() -> None:
    assert level_text(0.95) == "95 %"
    assert joined({"a": [1, {"b": True}], "c": None}) == "a: (1, (b: yes)); c: none"
    assert joined(frozenset({"remote", "helper"})) == "helper, remote"


@given(st.text())
def test_clean_text_cannot_steer_a_terminal(text: str) -> None:
    assert clean(text).isprintable()
