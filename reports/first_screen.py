"""The first screen: what a reader who reads no further must know."""

from __future__ import annotations

from collections.abc import Mapping

from harness.efforts import Effort, efforts
from harness.results import Audit, Finding, Row
from reports.claims import claims_line, claims_table, open_claims
from reports.model import Block, Cell, Facts, Items, Section, SignOff, Table
from reports.reading import (
    ODDS_BUDGETS,
    Outcome,
    by_severity,
    chosen,
    key_bits,
    levels,
    outcomes,
    resolution,
    scheme_names,
    untested,
)
from reports.wording import (
    NOT_STATED,
    adversary_text,
    budget_text,
    clean,
    interval_text,
    joined,
    number_text,
    quantity_text,
)

__all__ = ["evidence_line", "first_screen", "open_threats", "unmeasured_parts", "where"]

_HONEST = (
    ("key-agreement", "Keys agree"),
    ("failure-to-acquire", "Failures to acquire"),
    ("bit-mismatch", "Bits that differ before correction"),
    ("time-to-key", "Time to a key"),
    ("rate", "Secret rate, given helper data alone"),
    ("strangers-agreement", "A stranger's body agrees"),
)


def first_screen(audit: Audit, not_run: list[str]) -> Section:
    """Outcome, evidence, strongest adversary, the honest pair, use of the key, open threats, sign-off."""
    found = outcomes(audit)
    blocks: list[Block] = [
        Facts(tuple(_summary(audit, found)), key="summary"),
        *([claims_table(audit.claims)] if audit.claims is not None else []),
        _outcome_table(audit, found),
        _honest_table(audit),
        _open_threats_list(audit, not_run),
        SignOff(("Decision", "Name", "Date")),
    ]
    return Section("first-screen", "At a glance", tuple(blocks))


def _summary(audit: Audit, found: list[Outcome]) -> list[tuple[str, str]]:
    gains = sum(o.verdict.tone == "alarm" for o in found)
    still_open = sum(o.verdict.tone == "open" for o in found)
    hints = sum(o.verdict.tone == "hint" for o in found)
    pairs = [
        (
            "Outcome",
            f"{gains} of {len(found)} scheme-adversary pairs beat the promise of the key's length; "
            f"{f'{hints} may, undecided; ' if hints else ''}{still_open} could not be judged.",
        ),
        ("Claims", claims_line(audit)),
        ("Evidence", evidence_line(audit)),
    ]
    for scheme in scheme_names(audit):
        pairs.append(
            (f"Strongest adversary: {clean(scheme)}", _strongest([o for o in found if o.scheme == scheme]))
        )
    pairs += [
        ("Smallest odds this corpus could have shown", _resolutions(audit)),
        ("Share of weak people", _weak(audit)),
        ("Use of the key", _use(audit)),
    ]
    return pairs


def evidence_line(audit: Audit) -> str:
    """Recorded or simulated, how many people, attackers, sessions, attempts."""
    in_rows = sorted({r.data for r in audit.rows})
    data = audit.corpus.get("data") or (in_rows[0] if len(in_rows) == 1 else None)
    kind = {
        "simulated": "Simulated people: evidence about a model of people, not about people",
        "recorded": "Recorded people",
    }.get(str(data), f"Kind of evidence {NOT_STATED}")
    counts = [
        f"{name} {joined(audit.corpus.get(name, audit.settings.get(name)))}"
        for name in ("subjects", "attackers", "sessions", "attempts")
    ]
    where = _stratum(audit.settings.get("strata"))
    return f"{kind}. {where}: {'; '.join(counts)}. Days apart: {joined(audit.corpus.get('days'))}."


def _stratum(strata: object) -> str:
    """What was counted: nobody may take a part for the whole."""
    if not isinstance(strata, Mapping):
        return "In the corpus"
    attacked, taught = (joined(strata.get(name)) for name in ("attacked", "learned from"))
    learned = "the same" if taught == attacked else taught
    return f"Of attempts with {attacked} only, adversaries having learned from {learned}"


def _strongest(found: list[Outcome]) -> str:
    early, late = _leaders(found, 1), _leaders(found, 2**40)
    told = [
        (who, f"{odds} at {when}")
        for (who, odds), when in ((early, "one guess"), (late, "2^40 guesses"))
        if odds
    ]
    if not told:
        return "No odds were measured, so no adversary can be called strongest."
    if len({who for who, _ in told}) == 1:
        return f"{told[0][0]} the key with odds {' and '.join(odds for _, odds in told)}."
    return "; ".join(f"{who} the key with odds {odds}" for who, odds in told) + "."


def _leaders(found: list[Outcome], budget: int) -> tuple[str, str]:
    """Who does best at one budget, ties together with their verb, and the odds with their interval."""
    rows = [(adversary_text(o.attack), o.odds[budget]) for o in found if budget in o.odds]
    rows = [(name, row) for name, row in rows if row.status == "measured" and row.value is not None]
    if not rows:
        return "", ""
    best = max(rows, key=lambda entry: entry[1].value or 0.0)[1]
    names = [name for name, row in rows if row.value == best.value]
    odds = f"{number_text(best.value)} {interval_text(best.low, best.high)}"
    if len(names) == 1:
        return f"{names[0]} finds", odds
    if len(names) == len(rows):
        return f"No adversary stands out: each of the {len(rows)} finds", odds
    if len(names) <= 3:
        return f"{', '.join(names[:-1])} and {names[-1]} find", odds
    return f"{names[0]}, {names[1]} and {len(names) - 2} others find", odds


def _weak(audit: Audit) -> str:
    """People whose key was found at one guess, by the adversary who found most of them."""
    told = []
    for scheme in scheme_names(audit):
        rows = [
            r
            for r in audit.select(scheme=scheme, measure="weak-people", status="measured")
            if r.value is not None
        ]
        if rows:
            most = max(rows, key=lambda r: r.value or 0.0)
            who = f"{clean(scheme)}, {clean(most.attack or NOT_STATED)}"
            told.append(f"{who}: {number_text(most.value)} {interval_text(most.low, most.high)}")
    if not told:
        return "No odds at one guess were measured."
    return f"Key found at one guess in at least one attempt. {'; '.join(told)}."


def _resolutions(audit: Audit) -> str:
    stated = [(clean(s), resolution(audit, s)) for s in scheme_names(audit)]
    if not stated:
        return resolution(audit)
    if len({text for _, text in stated}) == 1:
        return stated[0][1]
    return "; ".join(f"{name}: {text}" for name, text in stated)


def _use(audit: Audit) -> str:
    if audit.claims is not None:
        return clean(audit.claims.use)
    return "Not declared: judged at the harshest, off-line guesses at a key used as it is."


def _outcome_table(audit: Audit, found: list[Outcome]) -> Table:
    columns = (
        "Scheme",
        "Adversary",
        "Odds at 1 guess",
        *(f"at {budget_text(b)}" for b in ODDS_BUDGETS[1:]),
        "Median log2 key rank",
        "Leakage",
        "Verdict",
    )
    level = levels(audit.rows)
    asked = {effort.attack: effort for effort in efforts(audit)}
    return Table(
        f"Outcome of every adversary. Odds that the key is among the first guesses; level of "
        f"their intervals: {level}.",
        columns,
        tuple(_outcome_row(audit, o, asked) for o in found),
        key="outcome",
        grouped=True,
    )


def _outcome_row(audit: Audit, found: Outcome, asked: Mapping[str, Effort]) -> tuple[Cell, ...]:
    bits = key_bits(audit, found.scheme)
    verdict = found.verdict
    leak = found.leakage
    if leak is not None and leak.status == "measured":
        leakage = Cell(f"{number_text(leak.value)} {clean(leak.unit)}", _test(found.leakage_test))
    else:
        leakage = Cell(leak.status if leak is not None else "–", _test(found.leakage_test))
    return (
        Cell(clean(found.scheme), f"{bits}-bit key" if bits is not None else f"key length {NOT_STATED}"),
        Cell(adversary_text(found.attack), _asked(found.attack, asked.get(found.attack))),
        *(_odds_cell(found.odds.get(b), interval=b == 1) for b in ODDS_BUDGETS),
        _odds_cell(found.rank, interval=False),
        leakage,
        Cell(verdict.text, verdict.detail, verdict.tone),
    )


def _asked(attack: str, effort: Effort | None) -> str:
    """What an adversary asks for, and who joins a combination that is not spelt out."""
    said = "potential not rated" if effort is None else f"potential {effort.points}, {effort.band}"
    if adversary_text(attack) == clean(attack):
        return said
    return f"{said}; {', '.join(clean(part) for part in attack.split('+'))}"


def _odds_cell(row: Row | None, *, interval: bool) -> Cell:
    if row is None or row.status != "measured":
        return Cell("–")  # the verdict says why
    return Cell(number_text(row.value), interval_text(row.low, row.high) if interval else "")


def _test(row: Row | None) -> str:
    return "" if row is None or row.status != "measured" else f"p = {number_text(row.value)}"


def _honest_table(audit: Audit) -> Table:
    schemes = scheme_names(audit)
    rows = []
    for measure, label in _HONEST:
        cells = [Cell(label)]
        for scheme in schemes:
            row = _honest_row(audit, scheme, measure)
            cells.append(Cell(NOT_STATED) if row is None else Cell(quantity_text(row), _basis(row)))
        rows.append(tuple(cells))
    return Table(
        "The honest pair at the same operating point as the odds above: same parameters, same attempts, "
        "failures to acquire counted.",
        ("Of the owners' devices", *(clean(s) for s in schemes)),
        tuple(rows),
        key="honest",
    )


def _honest_row(audit: Audit, scheme: str, measure: str) -> Row | None:
    rows = audit.select(scheme=scheme, attack=None, measure=measure)
    if measure == "rate":
        # a usual claim must never stand where the rate that counts is looked for
        rows = [r for r in rows if not _usual(r)]
    if measure == "time-to-key":
        # A time belongs to the rate shown beside it, also where that rate never gets there.
        rate = _honest_row(audit, scheme, "rate")
        rows = [r for r in rows if not _usual(r) and rate is not None and r.method == rate.method]
    return chosen(rows)


def _usual(row: Row) -> bool:
    """Whether a rate is one of the usual claims, which are no security figures."""
    return "usual claim" in (row.reason or "")


def _basis(row: Row) -> str:
    if row.status != "measured":
        return clean(row.reason or "")
    if row.measure in ("rate", "time-to-key"):
        return "; ".join(clean(part) for part in (row.method, row.reason) if part)
    return ""


def open_threats(audit: Audit) -> list[tuple[str, str]]:
    """Adversaries that were to be measured and whose odds were not: who, and why."""
    return [
        (f"{clean(o.attack)} against {clean(o.scheme)}", _reasons(untested(audit, o.scheme, o.attack)))
        for o in outcomes(audit)
        if o.verdict.tone == "open"
    ]


def unmeasured_parts(audit: Audit) -> list[tuple[str, str]]:
    """Quantities missing where the odds are known, or of the honest pair: which, and why."""
    whole = {(o.scheme, o.attack) for o in outcomes(audit) if o.verdict.tone == "open"}
    grouped: dict[tuple[str, str, str, str], list[str]] = {}
    for row in audit.rows:
        if row.status in ("untested", "failed") and (row.scheme, row.attack) not in whole:
            why = f"{row.status}: {clean(row.reason or NOT_STATED)}"
            key = (clean(row.scheme), clean(row.measure), clean(row.unit), why)
            grouped.setdefault(key, []).append(clean(row.attack or "honest pair"))
    return [
        (f"{measure} ({unit}) of {scheme}", f"{why} ({', '.join(dict.fromkeys(who))})")
        for (scheme, measure, unit, why), who in grouped.items()
    ]


def _reasons(rows: list[Row]) -> str:
    return "; ".join(f"{r.status}: {clean(r.reason or NOT_STATED)}" for r in rows) or "no odds measured"


def _open_threats_list(audit: Audit, not_run: list[str]) -> Items:
    entries = [(f"Open threat: {who}", why) for who, why in open_threats(audit)]
    grave = [f for f in by_severity(audit.findings) if f.severity in ("critical", "high")]
    entries += [(f"Finding, {f.severity}: {where(f)}", clean(f.text)) for f in grave]
    # what nobody discloses is not attacked: "nothing found" does not speak of it
    hidden = [f for f in audit.findings if f.id == "helper-not-covered"]
    entries += [(f"Not attacked: helper data of {clean(f.scheme)}", clean(f.text)) for f in hidden]
    entries += [(f"Not measured: {what}", why) for what, why in unmeasured_parts(audit)]
    if audit.claims is not None:
        entries = open_claims(audit.claims) + [e for e in entries if not e[0].startswith("Open threat")]
    elif not_run:
        entries.append(("Not tried at all", ", ".join(not_run)))
    return Items(
        tuple(entries or [("", "No open threats among the adversaries of this report.")]), key="open"
    )


def where(finding: Finding) -> str:
    """Whom a finding is about."""
    if not finding.scheme:
        return "the corpus"
    return f"{clean(finding.scheme)}, {adversary_text(finding.attack or 'honest pair')}"
