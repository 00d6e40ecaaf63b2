"""A gate's verdict for a terminal, for a job summary, and for a program."""

import json
import math
import textwrap
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict
from tabulate import tabulate

from harness.claims.record import ClaimsRecord
from harness.verdicts import Comparison, Verdict
from reports.digits import apart
from reports.markdown import escape
from reports.text import WIDTH
from reports.wording import clean, folded, number_text

__all__ = [
    "CAUTION",
    "GateFile",
    "annotations",
    "change_text",
    "gate_schema",
    "harm_text",
    "headline",
    "to_json",
    "to_markdown",
    "to_text",
    "why_text",
]

CAUTION = (
    "A pass says that these adversaries got no more from these people than before, within the margins; "
    "it is no certificate, and says nothing of adversaries that were not tried."
)
_LEGEND = (
    "Positive differences and factors above 1 are harm; the limit bounds harm from above and must stay "
    "below the margin. Where the same streams came out equal, there is no harm to bound."
)
_LISTED = (
    ("fail", "Got worse"),
    ("undecided", "Undecided, which is never a pass"),
    ("unresolved", "Unresolved: listed, decides nothing"),
)
_TO_DO = {
    "fail": "mend the scheme; or, if the change is meant, accept it in writing with "
    "`keyassay baseline RESULT --reason TEXT --out FILE`",
    "undecided": "supply what the reason names (often more people); a margin that asks for less is a "
    "change of promise, to be written down as such",
}
_COLUMNS = (("metric", 34), ("old -> new", 17), ("worse", 9), ("limit", 9), ("margin", 9), ("note", 9))


class GateFile(BaseModel):
    """What `to_json` writes. Infinite numbers and numbers that were not measured are null."""

    model_config = ConfigDict(extra="forbid", strict=True, title="keyassay gate verdict")

    version: Literal[1]
    outcome: Literal["pass", "fail", "undecided"]
    candidate: str
    held_against: str
    level: float
    comparisons: list[Comparison]
    notices: list[str]
    claims: ClaimsRecord | None


def gate_schema() -> dict[str, Any]:
    """JSON Schema of what `to_json` writes."""
    return GateFile.model_json_schema()


def to_json(verdict: Verdict, claims: ClaimsRecord | None = None) -> str:
    """The verdict, and what became of claims, with sorted keys and unrounded numbers: a `GateFile`.

    Names stand as they are in the result, with every character outside ASCII escaped.
    """
    content = {
        "version": 1,
        "outcome": verdict.outcome,
        "candidate": verdict.candidate,
        "held_against": verdict.held_against,
        "level": verdict.level,
        "comparisons": [{k: _finite(v) for k, v in asdict(c).items()} for c in verdict.comparisons],
        "notices": list(verdict.notices),
        "claims": None if claims is None else asdict(claims),
    }
    return json.dumps(content, indent=1, sort_keys=True, allow_nan=False) + "\n"


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def headline(verdict: Verdict) -> str:
    """The outcome in one sentence."""
    total = len(verdict.comparisons)
    failed, undecided, unresolved = (len(verdict.of(o)) for o in ("fail", "undecided", "unresolved"))
    if verdict.outcome == "fail":
        return f"FAIL: {failed} of {_comparisons(total)} got worse."
    if verdict.outcome == "undecided":
        return f"UNDECIDED: {undecided} of {_comparisons(total)} cannot be told; this is not a pass."
    aside = f"; {unresolved} unresolved, which decide nothing" if unresolved else ""
    return f"PASS: none of {_comparisons(total)} got worse by its margin{aside}."


def _comparisons(count: int) -> str:
    return f"{count} comparison" if count == 1 else f"{count} comparisons"


def change_text(comparison: Comparison) -> str:
    """Old and new value, with the digits that show why they differ, and the unit.

    Examples
    --------
    >>> from harness.verdicts import Metric
    >>> metric = Metric(scheme="", attack="mimicry", measure="key-rank", budget=0)
    >>> bits = Comparison(metric=metric, against="baseline", old=43.7, new=41.25, unit="log2",
    ...     scale="difference", worse=2.45, limit=2.9, margin=1.0, detectable=0.4, p=1e-9, adjusted=1e-8,
    ...     people=60, identical=False, better=False, outcome="fail", reason="worse")
    >>> change_text(bits)
    '43.7 -> 41.2 bit'
    >>> harm_text(bits)
    'worse by 2.45 bit, limit 2.9 bit, margin 1 bit'
    """
    return f"{_values(comparison)} {_unit(comparison)}".strip()


def _values(comparison: Comparison) -> str:
    # a probability that is neither 0 nor 1 must not read so
    certain = (0.0, 1.0) if comparison.unit == "probability" else ()
    old, new = _apart((comparison.old, comparison.new), "not measured", beside=certain)
    return f"{old} -> {new}"


def harm_text(comparison: Comparison) -> str:
    """How much worse, its upper limit, and the margin that the limit must stay below."""
    unit = "" if comparison.scale != "difference" else _unit(comparison)
    worse, limit, margin = (
        text if text in ("unknown", "none") else f"{text} {unit}".strip() for text in _harm(comparison)
    )
    return f"worse by {worse}, limit {limit}, margin {margin}"


def _harm(comparison: Comparison) -> tuple[str, str, str]:
    """Worse, limit and margin; each of the first two told from the margin. Factors with a times sign."""
    factor = "" if comparison.scale == "difference" else "x "
    if comparison.identical:  # no sample stands between old and new, so there is no limit to compare
        return "none", "none", factor + apart(comparison.margin)[0]
    said = [_apart((v, comparison.margin), "unknown") for v in (comparison.worse, comparison.limit)]
    margin = max((pair[1] for pair in said), key=len)
    worse, limit = (text if text == "unknown" else factor + text for text, _ in said)
    return worse, limit, factor + margin


def _apart(values: Sequence[float | None], absent: str, *, beside: Sequence[float] = ()) -> list[str]:
    """Texts of the numbers among `values`, told from each other and from `beside`; `absent` for others."""
    said = iter(apart(*(v for v in values if v is not None and not math.isnan(v)), *beside))
    return [absent if v is None or math.isnan(v) else next(said) for v in values]


def _unit(comparison: Comparison) -> str:
    unit = clean(comparison.unit)
    return {"probability": "", "log2": "bit"}.get(unit, unit)


def why_text(comparison: Comparison) -> str:
    """The gate's reason, the chance of harm this large, and on how many people it rests."""
    if comparison.identical:
        return clean(comparison.reason)
    parts = [clean(comparison.reason)]
    if comparison.p is not None:
        parts.append(f"p {number_text(comparison.p)}, {number_text(comparison.adjusted)} over all metrics")
    parts.append(f"{comparison.people} paired people")
    return "; ".join(p for p in parts if p)


def _name(comparison: Comparison) -> str:
    beside = "" if comparison.against == "baseline" else f" (against the {clean(comparison.against)})"
    return f"{clean(comparison.metric)}{beside}"


def annotations(verdict: Verdict) -> list[str]:
    """One plain line per failed or undecided metric: what, by how much, and what to do.

    Failed metrics come first and begin with "error:", undecided ones with "warning:". A verdict that is
    not a pass without such a metric has one line of its own.
    """
    levels = {"fail": "error", "undecided": "warning"}
    lines = [
        f"{levels[outcome]}: {_name(c)}: {change_text(c)}; {harm_text(c)}; {why_text(c)}; {_TO_DO[outcome]}"
        for outcome in levels
        for c in verdict.of(outcome)
    ]
    if not lines and verdict.outcome != "pass":
        lines = [f"{levels[verdict.outcome]}: {headline(verdict)}"]
    return lines


def to_text(verdict: Verdict) -> str:
    """The verdict for a terminal of a hundred columns: outcome, what failed, what is open, what passed."""
    parts = [
        "\n".join(
            [
                *_lines(headline(verdict)),
                *_lines(f"{clean(verdict.candidate)} against {clean(verdict.held_against)}", indent="  "),
            ]
        )
    ]
    for outcome, title in _LISTED:
        entries = [line for c in verdict.of(outcome) for line in _entry(c)]
        if entries:
            parts.append("\n".join([f"{title}:", *entries]))
    passed = verdict.of("pass")
    if passed:
        parts.append(f"Passed:\n\n{_table(passed)}")
    for outcome, to_do in _TO_DO.items():
        if verdict.of(outcome):
            parts.append("\n".join(_lines(f"What to do ({outcome}): {to_do}.")))
    if verdict.notices:
        parts.append("\n".join(["Notices:", *(x for n in verdict.notices for x in _lines(n, indent="- "))]))
    parts.append("\n".join([*_lines(_LEGEND), *_lines(CAUTION)]))
    return "\n\n".join(parts) + "\n"


def _entry(comparison: Comparison) -> list[str]:
    return [
        *_lines(_name(comparison), indent="- "),
        *_lines(f"{change_text(comparison)}; {harm_text(comparison)}", indent="    "),
        *_lines(why_text(comparison), indent="    "),
    ]


def _lines(text: str, indent: str = "") -> list[str]:
    hanging = " " * len(indent) if indent else "  "
    return textwrap.wrap(
        clean(text), WIDTH, initial_indent=indent, subsequent_indent=hanging, break_on_hyphens=False
    )


def _note(comparison: Comparison) -> str:
    return "identical" if comparison.identical else "better" if comparison.better else ""


def _table(passed: Sequence[Comparison]) -> str:
    rows = [[_name(c), _values(c), *_harm(c), _note(c)] for c in passed]
    body = [
        ["\n".join(folded(cell, width)) for cell, (_, width) in zip(row, _COLUMNS, strict=True)]
        for row in rows
    ]
    return tabulate(body, headers=[n for n, _ in _COLUMNS], tablefmt="simple", disable_numparse=True)


def to_markdown(verdict: Verdict) -> str:
    """The verdict as a job summary: outcome first, what failed or is open in full, passes folded away."""
    parts = [
        f"## Leakage gate: {escape(headline(verdict))}",
        f"{escape(verdict.candidate)} against {escape(verdict.held_against)}.",
    ]
    for outcome, title in _LISTED:
        listed = verdict.of(outcome)
        if listed:
            parts += [f"### {title}", _pipes(listed, why=True)]
        if listed and outcome in _TO_DO:
            parts.append(f"What to do: {_TO_DO[outcome]}.")
    if verdict.notices:
        parts += ["### Notices", "\n".join(f"- {escape(n)}" for n in verdict.notices)]
    passed = verdict.of("pass")
    if passed:
        summary = f"<details><summary>Passed: {len(passed)}</summary>"
        parts += [summary, _pipes(passed, why=False), "</details>"]
    parts.append(f"{_LEGEND} {CAUTION}")
    return "\n\n".join(parts) + "\n"


def _pipes(comparisons: Sequence[Comparison], *, why: bool) -> str:
    names = ["metric", "old → new", "worse", "limit", "margin", "why" if why else "note"]
    lines = [f"| {' | '.join(names)} |", f"|{' --- |' * len(names)}"]
    for c in comparisons:
        last = why_text(c) if why else _note(c)
        cells = [_name(c), change_text(c).replace("->", "→"), *_harm(c), last]
        lines.append(f"| {' | '.join(escape(cell) for cell in cells)} |")
    return "\n".join(lines)
