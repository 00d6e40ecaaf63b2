"""What an audit says, read off its rows and findings. Nothing is computed anew."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from harness.results import SEVERITIES, Audit, Finding, Row
from reports.wording import NOT_STATED, budget_text, clean, joined, level_text, number_text

__all__ = [
    "ODDS_BUDGETS",
    "Outcome",
    "Verdict",
    "attack_names",
    "by_severity",
    "chosen",
    "key_bits",
    "levels",
    "not_run",
    "outcome",
    "outcomes",
    "promised_odds",
    "resolution",
    "scheme_names",
    "untested",
]

ODDS_BUDGETS = (1, 2**20, 2**40, 2**64)
ABOVE = "odds-above-promise"
SHARES = "relay-shares-keys"

# Rounding of an exact figure must not read as a broken promise.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on one adversary: a short sentence, what it rests on, and its tone."""

    text: str
    detail: str
    tone: str  # "alarm", "hint", "open" or "calm"


@dataclass(frozen=True, slots=True)
class Outcome:
    """One adversary against one scheme, as the first screen shows it."""

    scheme: str
    attack: str
    odds: Mapping[int, Row]  # budget -> the row that is shown
    rank: Row | None
    leakage: Row | None
    leakage_test: Row | None
    verdict: Verdict


def scheme_names(audit: Audit) -> list[str]:
    """Names of all schemes, in the order of the audit; those only found in rows come last."""
    return _unique([s.get("name") for s in audit.schemes], [r.scheme for r in audit.rows])


def attack_names(audit: Audit, scheme: str | None = None) -> list[str]:
    """Names of all adversaries (of one scheme, if named), in the order of the audit."""
    met = [r.attack for r in audit.rows if scheme is None or r.scheme == scheme]
    return _unique([a.get("name") for a in audit.attacks], met)


def _unique(*groups: Iterable[Any]) -> list[str]:
    return list(dict.fromkeys(str(name) for group in groups for name in group if name is not None))


def key_bits(audit: Audit, scheme: str) -> int | None:
    """The key length that a scheme promises, or None where the audit does not state it."""
    for entry in audit.schemes:
        if entry.get("name") == scheme and isinstance(entry.get("key_bits"), int):
            return int(entry["key_bits"])
    return None


def promised_odds(bits: int, budget: int) -> float:
    """Odds within `budget` guesses at a uniform key of `bits` bits.

    Examples
    --------
    >>> promised_odds(12, 1) == 2.0**-12, promised_odds(12, 2**20)
    (True, 1.0)
    """
    return 1.0 if budget.bit_length() > bits else budget * 2.0**-bits


def chosen(rows: Iterable[Row]) -> Row | None:
    """Of rows for one quantity, the measured one whose note says that it counts, else the first.

    Without a measured row it is the first of the others, so that its status is shown.
    """
    rows = list(rows)
    found = [r for r in rows if r.status == "measured"]
    for row in found:
        note = row.reason or ""
        if re.search(r"\bcounts\b", note) and not re.search(r"\b(not|never|nor)\b[^.;]*\bcounts\b", note):
            return row
    return next(iter(found or rows), None)


def levels(rows: Iterable[Row]) -> str:
    """The levels of the intervals of measured odds."""
    found = {r.level for r in rows if r.measure == "success-odds" and r.level is not None}
    return " and ".join(map(level_text, sorted(found))) or NOT_STATED


def by_severity(findings: Iterable[Finding]) -> list[Finding]:
    """Findings, gravest first; equals keep their order."""
    return sorted(findings, key=lambda f: -SEVERITIES.index(f.severity))


def outcomes(audit: Audit) -> list[Outcome]:
    """One outcome for every scheme and adversary of the audit."""
    return [outcome(audit, s, a) for s in scheme_names(audit) for a in attack_names(audit, s)]


def outcome(audit: Audit, scheme: str, attack: str) -> Outcome:
    """What the audit says about one adversary against one scheme."""
    rows = audit.select(scheme=scheme, attack=attack)
    odds = [r for r in rows if r.measure == "success-odds"]
    budgets = sorted({r.budget for r in odds if r.budget is not None})
    shown = {b: chosen(r for r in odds if r.budget == b) for b in budgets}
    leaks = [r for r in rows if r.measure == "mutual-information"]
    per_symbol = [r for r in leaks if r.unit == "bit/symbol" and r.status == "measured"]
    return Outcome(
        scheme=scheme,
        attack=attack,
        odds={b: r for b, r in shown.items() if r is not None},
        rank=chosen(r for r in rows if r.measure == "key-rank"),
        leakage=chosen(per_symbol or leaks),
        leakage_test=chosen(r for r in rows if r.measure == "leakage-test"),
        verdict=_verdict(audit, scheme, attack, rows),
    )


def _verdict(audit: Audit, scheme: str, attack: str, rows: list[Row]) -> Verdict:
    odds = [r for r in rows if r.measure == "success-odds" and r.status == "measured"]
    raised = [f for f in audit.findings if (f.id, f.scheme, f.attack) == (ABOVE, scheme, attack)]
    if raised:
        gravest = by_severity(raised)[0]
        budgets = [f.details.get("budget") for f in raised]
        return _gains(
            [b for b in budgets if isinstance(b, int)] or _beaten(odds, key_bits(audit, scheme)),
            f"severity {gravest.severity}",
        )
    bits = key_bits(audit, scheme)
    certain = [r for r in odds if r.evidence == "exact"]
    beaten = _beaten(certain, bits)
    if beaten:
        return _gains(beaten, "exact odds lie above the promise")
    if any((f.id, f.scheme, f.attack) == (SHARES, scheme, attack) for f in audit.findings):
        return Verdict(
            "shares keys as the owner does",
            "only a limit on time or place stops it, no length of key",
            "hint",
        )
    hinted = _beaten(odds, bits)
    if hinted:
        # one of many limits above the promise is no finding: the audit corrects for how many it looks at
        return Verdict(
            f"undecided: above the promise at {_guesses(min(hinted))}",
            f"by its own limit at {levels(odds)}, not at the level corrected for all tests",
            "hint",
        )
    if any((r.measure, r.method, r.low) == ("key-rank", "whole-witness", 0.0) for r in rows):
        return Verdict(
            "undecided: only whole witnesses were guessed",
            "no decoder of the helper data was at hand; give the log its scheme",
            "open",
        )
    failed = [r for r in rows if r.status == "failed"]
    if failed:
        return Verdict(f"failed: {clean(failed[0].reason or NOT_STATED)}", "open threat", "open")
    if not odds:
        reasons = [r.reason for r in rows if r.status in ("untested", "not-applicable") and r.reason]
        return Verdict(
            "untested: open threat", clean(reasons[0]) if reasons else "no odds measured", "open"
        )
    if bits is None:
        return Verdict("undecided: the scheme states no key length", "nothing to compare with", "open")
    return Verdict("nothing found above the promise", _could_have_shown(audit, scheme, odds), "calm")


def _gains(budgets: list[int], why: str) -> Verdict:
    if not budgets:
        return Verdict("gains: beats the promise", why, "alarm")
    return Verdict(f"gains: beats the promise at {_guesses(min(budgets))}", why, "alarm")


def _guesses(budget: int) -> str:
    return "1 guess" if budget == 1 else f"{budget_text(budget)} guesses"


def _beaten(odds: list[Row], bits: int | None) -> list[int]:
    if bits is None:
        return []
    return [
        r.budget
        for r in odds
        if r.budget is not None
        and r.low is not None
        and r.low > promised_odds(bits, r.budget) * (1 + _ROUNDING)
    ]


def _could_have_shown(audit: Audit, scheme: str, odds: list[Row]) -> str:
    smallest = _smallest(odds)
    if smallest is not None:
        return f"this corpus could have shown odds down to {number_text(smallest)}"
    return f"smallest odds this corpus could have shown: {resolution(audit, scheme)}"


def _smallest(rows: Iterable[Row]) -> float | None:
    limits = [r.high for r in rows if r.value == 0 and r.high is not None and r.evidence == "counted"]
    return min(limits, default=None)


def resolution(audit: Audit, scheme: str | None = None) -> str:
    """The smallest odds that this corpus could have shown, as stated or as its rows show.

    The settings' "resolution" comes first (a number, or one per scheme); else it is the upper limit of a
    counted row without a success.
    """
    stated = audit.settings.get("resolution")
    if isinstance(stated, Mapping) and scheme in stated:
        stated = stated[scheme]
    if isinstance(stated, int | float) and not isinstance(stated, bool):
        return number_text(float(stated))
    if stated:
        return joined(stated)
    rows = [r for r in audit.rows if r.measure == "success-odds" and scheme in (None, r.scheme)]
    smallest = _smallest(r for r in rows if r.attack is not None)
    return NOT_STATED if smallest is None else number_text(smallest)


def untested(audit: Audit, scheme: str, attack: str | None) -> list[Row]:
    """Untested and failed rows of one cell of the audit, without repeating a reason."""
    rows = [r for r in audit.select(scheme=scheme, attack=attack) if r.status in ("untested", "failed")]
    return list({(r.status, r.reason): r for r in reversed(rows)}.values())[::-1]


def not_run(audit: Audit, standard: Iterable[str]) -> list[str]:
    """Those of the standard adversaries that the audit did not try in any form.

    A part of a combination has been tried. Ranking all keys is tried by any measured odds at
    2^20 guesses or more, and strangers by the row of that name.
    """
    tried = {part for name in attack_names(audit) for part in (name, *name.split("+"))}
    measured = [r for r in audit.rows if r.status == "measured"]
    if any(r.measure == "success-odds" and (r.budget or 0) >= 2**20 for r in measured):
        tried.add("enumeration")
    if any(r.measure == "strangers-agreement" for r in measured):
        tried.add("strangers")
    return [name for name in standard if name not in tried]
