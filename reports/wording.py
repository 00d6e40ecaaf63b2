"""Numbers and names as a reader sees them."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from harness.results import Row

__all__ = [
    "NOT_STATED",
    "adversary_text",
    "budget_text",
    "clean",
    "evidence_text",
    "folded",
    "interval_text",
    "joined",
    "level_text",
    "number_text",
    "quantity_text",
    "side_text",
    "value_text",
]

NOT_STATED = "not stated"
_FEW = 3  # parts of a combination that are named

_SIDES = {
    "estimate": "estimate, both ways uncertain",
    "attacker-at-least": "an attacker gets at least this",
    "attacker-at-most": "an attacker gets at most this",
    "defender-at-least": "the owners keep at least this",
    "defender-at-most": "the owners keep at most this",
}
_EVIDENCE = {
    "counted": "counted",
    "exact": "exact (enumerated)",
    "modelled": "modelled (assumption in the note)",
    "assumed": "assumed (rests on a parameter nobody measured)",
}


_TINY = 1e-99
"""What is smaller is a limit of the arithmetic, and says no more than how small floats get."""


def adversary_text(attack: str) -> str:
    """An adversary's name; a combination of many by how many they are.

    Examples
    --------
    >>> adversary_text("camera+mimicry"), adversary_text("a+b+c+d")
    ('camera+mimicry', '4 adversaries together')
    """
    parts = attack.split("+")
    return clean(attack) if len(parts) <= _FEW else f"{len(parts)} adversaries together"


def clean(text: object) -> str:
    """Text of unknown origin on one line, without control or direction-changing characters.

    Examples
    --------
    >>> clean("red\\x1b[31m\\nalert")
    'red�[31m alert'
    """
    words = " ".join(str(text).split())
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in words)


def number_text(value: float | None) -> str:
    """A number with three significant digits, never rounded to a certain 0 or 1.

    Parameters
    ----------
    value : float or None
        None, or not finite, reads "–".

    Examples
    --------
    >>> [number_text(v) for v in (0.0, 0.000123, 0.0477, 0.874, 0.99992, 1.0, 41.23, 1234.5)]
    ['0', '1.2e-4', '0.0477', '0.874', '0.9999', '1', '41.2', '1234']
    >>> number_text(1 - 1e-9), number_text(2.0**-128), number_text(None)
    ('>0.9999', '2.9e-39', '–')
    >>> number_text(2.2e-308)
    '<1e-99'
    """
    if value is None or not math.isfinite(value):
        return "–"
    size = abs(value)
    if size == 0:
        return "0"
    if size < _TINY:
        return "<1e-99" if value > 0 else ">-1e-99"
    if size < 1e-3 or size >= 1e6:
        mantissa, exponent = f"{value:.1e}".split("e")
        return f"{mantissa}e{int(exponent)}"
    if 0.999 < value < 1:
        return ">0.9999" if value > 0.99995 else f"{value:.4f}".rstrip("0")
    digits = max(0, 2 - math.floor(math.log10(size)))
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def budget_text(budget: int | None) -> str:
    """A guess budget: small ones as they are, powers of two as such.

    Examples
    --------
    >>> [budget_text(b) for b in (1, 100, 2**20, 2**40, 2**64, 5000, None)]
    ['1', '100', '2^20', '2^40', '2^64', '5000', '']
    """
    if budget is None:
        return ""
    if budget >= 1024 and budget & (budget - 1) == 0:
        return f"2^{budget.bit_length() - 1}"
    return str(budget)


def interval_text(low: float | None, high: float | None) -> str:
    """An interval; an open end is said in words.

    Examples
    --------
    >>> interval_text(0.31, 0.54), interval_text(None, 0.014), interval_text(0.85, None)
    ('[0.31, 0.54]', '[at most 0.014]', '[at least 0.85]')
    >>> interval_text(None, None)
    '(no interval)'
    """
    if low is None and high is None:
        return "(no interval)"
    if low is None:
        return f"[at most {number_text(high)}]"
    if high is None:
        return f"[at least {number_text(low)}]"
    return f"[{number_text(low)}, {number_text(high)}]"


def folded(text: object, width: int) -> list[str]:
    """Text as lines of at most `width` characters; a combination breaks after its plus signs.

    Examples
    --------
    >>> folded("mimicry+helper-leak+distant-sensor", 20)
    ['mimicry+helper-leak+', 'distant-sensor']
    """
    pieces: list[str] = []
    for piece in re.split(r"(?<=\+)(?=\S)", clean(text)):
        if pieces and len(pieces[-1]) + len(piece) <= width:
            pieces[-1] += piece
        else:
            pieces.append(piece)
    return [line for piece in pieces for line in textwrap.wrap(piece, width)]


def value_text(row: Row) -> str:
    """The value of a row with its interval; an unmeasured row says its status."""
    if row.status != "measured":
        return row.status
    return f"{number_text(row.value)} {interval_text(row.low, row.high)}"


def quantity_text(row: Row) -> str:
    """The value of a row with interval and unit."""
    unit = "" if row.unit in ("probability", "p-value") or row.status != "measured" else row.unit
    return f"{value_text(row)} {clean(unit)}".strip()


def side_text(side: str | None) -> str:
    """What a number bounds, in words."""
    return "–" if side is None else _SIDES.get(side, clean(side))


def evidence_text(evidence: str | None) -> str:
    """What a number rests on, in words."""
    return "–" if evidence is None else _EVIDENCE.get(evidence, clean(evidence))


def level_text(level: Any) -> str:
    """A confidence level as a percentage.

    Examples
    --------
    >>> level_text(0.95), level_text(0.999), level_text(None)
    ('95 %', '99.9 %', 'not stated')
    """
    return f"{100 * level:.6g} %" if isinstance(level, int | float) else NOT_STATED


def joined(value: Any) -> str:
    """Any JSON-ready fact as one line: mappings as "name: value", sequences with commas.

    Examples
    --------
    >>> joined({"rate_hz": 1000, "channels": ["left", "right"]}), joined([]), joined(None)
    ('rate_hz: 1000; channels: (left, right)', 'none', 'not stated')
    """
    if value is None or value == "":
        return NOT_STATED
    if isinstance(value, Mapping):
        return "; ".join(f"{clean(k)}: {_nested(v)}" for k, v in value.items()) or "none"
    if isinstance(value, Sequence | frozenset | set) and not isinstance(value, str):
        members = sorted(map(str, value)) if isinstance(value, frozenset | set) else value
        return ", ".join(_nested(v) for v in members) or "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return clean(value)


def _nested(value: Any) -> str:
    if value is None:
        return "none"
    inner = isinstance(value, Mapping) or (isinstance(value, Sequence) and not isinstance(value, str))
    return f"({joined(value)})" if inner and value else joined(value)
