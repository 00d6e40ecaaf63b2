"""A calibration for a terminal of a hundred columns, and as a page."""

from __future__ import annotations

import textwrap
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


def calibration_html(found: Calibration) -> str:
    """A self-contained page: inline style, no script, everything from outside escaped."""
    return to_html(calibration_document(found), drawn=_no_figure)


def _no_figure(figure: Figure) -> str:
    raise ValueError(f"a calibration must have no figures, got {figure.kind!r}")


def calibration_text(found: Calibration) -> str:
    """What the terminal shows: promises, flaws, alarms, coverage, truths, shuffled pairs, cautions."""
    parts = [
        _filled(headline(found)),
        "\n".join(_filled(f"{outcome_text(v):10}  {v.id:8}  {v.text}", hang=22) for v in found.verdicts),
        "\n".join(_filled(f"- {name}: {text}") for name, text in trouble_texts(found)),
        _flaws(found.detection),
        _alarms(found),
        _coverage(found),
        _truths(found.truths),
        _chance(found),
        _filled(LIMITS),
        "\n".join(_filled(f"- {name}: {text}") for name, text in CAUTIONS),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _flaws(lines: Sequence[DetectionLine]) -> str:
    body = []
    for line in lines:
        right = {id: line.counts.get(id, 0) for id in line.found_by} or line.counts
        others = {id: n for id, n in line.counts.items() if id not in right}
        body.append(
            [
                _cell(line.case, 24),
                f"{line.found} of {line.trials}" + ("" if line.found == line.trials else " !"),
                number_text(line.at_least),
                _cell(tables.counts_text(right), 26),
                _cell(tables.counts_text(others), 24),
            ]
        )
    head = ["flaw", "found", "at least", "by what sees it", "also"]
    said = "Flaws and controls that must be flagged; in how many audits each finding appeared."
    return _table(said, head, body)


def _alarms(found: Calibration) -> str:
    quiet = [line for line in found.sound if not line.flagged]
    parts = (
        [_filled(f"Never flagged (audits of each: {_range(quiet)}): {_names(quiet)}", hang=2)]
        if quiet
        else []
    )
    body = [
        [_cell(line.case, 30), f"{line.flagged} of {line.trials}" + (" !" if line.noisy else ""),
         _cell(tables.counts_text(line.counts), 40), number_text(line.p)]
        for line in found.sound if line.flagged
    ]  # fmt: skip
    parts += (
        [_table("Sound, and flagged all the same.", ["case", "flagged", "by", "p"], body)] if body else []
    )
    rules = [line for line in found.rules if line.flagged]
    body = [
        [_cell(line.id, 30), f"{line.flagged} of {line.trials}" + (" !" if line.noisy else ""),
         number_text(line.share), number_text(line.p)]
        for line in rules
    ]  # fmt: skip
    said = "Findings that cried wolf, against their share of the promise."
    parts += [_table(said, ["finding", "flagged", "share", "p"], body)]
    return "\n\n".join(part for part in parts if part)


def _range(lines: Sequence[AlarmLine]) -> str:
    least, most = min(line.trials for line in lines), max(line.trials for line in lines)
    return str(most) if least == most else f"{least} to {most}"


def _names(lines: Sequence[AlarmLine]) -> str:
    return ", ".join(clean(line.case) for line in lines)


def _coverage(found: Calibration) -> str:
    body = [
        [
            _cell(tables.kind_text(line), 26),
            _cell(line.method, 18),
            f"{line.nominal:.3g}",
            f"{line.covered} of {line.readings}",
            str(line.audits),
            f"{number_text(line.share)} {interval_text(line.low, line.high)}",
            line.verdict,
        ]
        for line in found.coverage
    ]
    head = ["interval of", "method", "says", "hold it", "audits", "share", "verdict"]
    return _table("Do intervals hold the truth as often as they say?", head, body)


def _truths(lines: Sequence[TruthLine]) -> str:
    body, before = [], ""
    for line in lines:
        body.append(
            [
                "" if line.case == before else _cell(line.case, 20),
                _cell(tables.quantity_of(line), 26),
                tables.bound_text(line),
                number_text(line.mean),
                clean(line.side or "–"),
                f"{line.inside} of {line.measured}" + (" !" if line.missed else ""),
            ]
        )
        before = line.case
    said = "Truths, the mean of what was measured, which way it bounds, and how many intervals hold it."
    return _table(said, ["case", "quantity", "truth", "measured", "bounds", "hold it"], body)


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
