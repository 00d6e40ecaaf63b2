"""A calibration for a terminal of a hundred columns, and as a page."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Sequence

from tabulate import tabulate

from harness.calibration.lines import AlarmLine, DetectionLine, TruthLine
from harness.calibration.record import Calibration
from reports import calibration_tables as tables
from reports.calibration import LIMITS, calibration_document, headline, outcome_text, trouble_texts
from reports.html import to_html
from reports.model import Figure
from reports.standing import CAUTIONS
from reports.text import WIDTH
from reports.wording import clean, folded, interval_text, number_text

__all__ = ["calibration_html", "calibration_text"]

_SIDES = {
    "estimate": "estimate",
    "attacker-at-least": "attacker ≥",
    "attacker-at-most": "attacker ≤",
    "defender-at-least": "owner ≥",
    "defender-at-most": "owner ≤",
}


def calibration_html(found: Calibration) -> str:
    """A self-contained page: inline style, no script, everything from outside escaped."""
    return to_html(calibration_document(found), drawn=_no_figure)


def _no_figure(figure: Figure) -> str:
    raise ValueError(f"a calibration must have no figures, got {figure.kind!r}")


def calibration_text(found: Calibration) -> str:
    """What the terminal shows: outcome, flaws and limits first; then details, and every truth last."""
    parts = [
        _filled(headline(found)),
        "\n".join(
            _filled(f"{outcome_text(v):10}  {v.id:8}  {clean(v.text)}", hang=22) for v in found.verdicts
        ),
        _flaws(found.detection),
        _filled(LIMITS),
        "\n".join(_filled(f"- {name}: {text}") for name, text in trouble_texts(found)),
        _alarms(found),
        _coverage(found),
        _chance(found),
        "\n".join(_filled(f"- {name}: {text}") for name, text in CAUTIONS),
        _truths(found.truths),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _flaws(lines: Sequence[DetectionLine]) -> str:
    body = []
    for line in lines:
        right = {id: line.counts.get(id, 0) for id in line.found_by} or line.counts
        body.append(
            [
                _cell(line.case, 26),
                f"{line.found} of {line.trials}" + ("" if line.found == line.trials else " !"),
                number_text(line.at_least),
                _cell(tables.counts_text(right), 42),
                str(len(set(line.counts).difference(right)) or ""),
            ]
        )
    head = ["flaw", "found", "at least", "by what sees it, in so many", "others"]
    said = (
        "Flaws and controls that must be flagged, with the exact lower limit of the chance that they are "
        "(one-sided, 95 %, each by itself), and how many other findings appeared."
    )
    return _table(said, head, body)


def _alarms(found: Calibration) -> str:
    quiet = [line for line in found.sound if not line.flagged]
    parts = []
    if quiet:
        parts = [_filled(f"Never flagged (audits of each: {_range(quiet)}): {_names(quiet)}")]
    body = [
        [
            _cell(line.case, 30),
            f"{line.flagged} of {line.trials}" + (" !" if line.noisy else ""),
            _cell(tables.counts_text(line.counts), 40),
            number_text(line.p),
        ]
        for line in found.sound
        if line.flagged
    ]
    parts.append(_table("Sound, and flagged all the same.", ["case", "flagged", "by", "p"], body))
    body = [
        [
            line.kind,
            f"{line.flagged} of {line.trials}" + (" !" if line.noisy else ""),
            _cell(tables.counts_text(line.counts) or "none", 40),
            number_text(line.share),
            number_text(line.p),
        ]
        for line in found.rules
        if line.trials
    ]
    said = "Kinds of rules, their false alarms, and the share of the promise that each has."
    parts.append(_table(said, ["kind", "flagged", "by", "share", "p"], body))
    return "\n\n".join(part for part in parts if part)


def _range(lines: Sequence[AlarmLine]) -> str:
    least, most = min(line.trials for line in lines), max(line.trials for line in lines)
    return str(most) if least == most else f"{least} to {most}"


def _names(lines: Sequence[AlarmLine]) -> str:
    return ", ".join(clean(line.case) for line in lines)


def _coverage(found: Calibration) -> str:
    body = [
        [
            _cell(tables.kind_text(line), 25),
            _cell(line.method, 22),
            f"{line.nominal:.3g}",
            f"{line.covered}/{line.readings}",
            f"{number_text(line.share)} {interval_text(line.low, line.high)}",
            line.verdict,
        ]
        for line in found.coverage
    ]
    head = ["interval of", "method", "says", "hold", "share of audits", "verdict"]
    return _table("Do intervals hold the truth as often as they say?", head, body)


def _truths(lines: Sequence[TruthLine]) -> str:
    several = Counter((line.case, tables.quantity_text(line)) for line in lines)
    body, before = [], ""
    for line in lines:
        quantity = tables.quantity_text(line)
        named = several[line.case, quantity] > 1 and line.method is not None
        body.append(
            [
                "" if line.case == before else _cell(line.case, 20),
                _cell(f"{quantity}, {line.method}" if named else quantity, 37),
                tables.bound_text(line),
                number_text(line.mean),
                _SIDES.get(line.side or "", "–"),
                f"{line.inside}/{line.measured}" + (" !" if line.missed else ""),
            ]
        )
        before = line.case
    said = (
        "Truths (≥ or ≤: a bound, which an interval must reach), the mean of what was measured, which way "
        "that bounds (attacker ≥: an attacker gets at least this), and how many intervals hold the truth."
    )
    return _table(said, ["case", "quantity", "truth", "measured", "bounds", "hold"], body)


def _chance(found: Calibration) -> str:
    body = [
        [
            _cell(line.attack, 24),
            f"{number_text(line.hits)} of {line.attempts}",
            f"{number_text(line.odds)} {interval_text(line.low, line.high)}",
            number_text(line.chance),
            number_text(line.p) + (" !" if line.off else ""),
        ]
        for line in found.chance
    ]
    head = ["adversary", "keys", "odds at one guess", "chance", "p"]
    return _table("Adversaries who look at the wrong person.", head, body)


def _cell(text: str, width: int) -> str:
    return "\n".join(folded(text, width))


def _table(said: str, head: list[str], body: list[list[str]]) -> str:
    if not body:
        return ""
    return f"{_filled(said)}\n\n{tabulate(body, headers=head, tablefmt='simple', disable_numparse=True)}"


def _filled(text: str, *, hang: int = 2) -> str:
    return textwrap.fill(text, WIDTH, subsequent_indent=" " * hang, break_on_hyphens=False)
