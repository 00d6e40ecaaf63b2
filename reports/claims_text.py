"""What became of claims, as plain lines and for a job summary."""

from __future__ import annotations

from collections.abc import Sequence

from harness.claims.record import ClaimsRecord, Judgement
from reports.markdown import escape
from reports.wording import clean

__all__ = [
    "MET",
    "claim_lines",
    "claims_headline",
    "claims_markdown",
    "claims_outcome",
    "judgement_text",
]

MET = ("shown", "withstood")


def claims_outcome(record: ClaimsRecord) -> str:
    """One of "met", "refuted" and "undecided"; an untested claim or an open threat leaves it undecided."""
    outcomes = [j.outcome for j in record.judgements]
    if "refuted" in outcomes:
        return "refuted"
    met = all(o in MET for o in outcomes) and not record.threats_left
    return "met" if met else "undecided"


def claims_headline(record: ClaimsRecord) -> str:
    """How many claims came out how, in one sentence; the worst first."""
    outcomes = [j.outcome for j in record.judgements]
    order = ("refuted", "untested", "undecided", "withstood", "shown")
    counted = [f"{outcomes.count(o)} {o}" for o in order if o in outcomes] or ["none"]
    left = len(record.threats_left)
    threats = f"; {left} open threat{'' if left == 1 else 's'}" if left else ""
    return f"Claims: {', '.join(counted)}{threats}."


def judgement_text(judgement: Judgement) -> str:
    """Claim, outcome, and what would decide it."""
    parts = [clean(judgement.says), clean(judgement.text), clean(judgement.decides or "")]
    return "; ".join(p for p in parts if p)


def claim_lines(record: ClaimsRecord) -> Sequence[str]:
    """One plain line per claim that is not met and per open threat; refuted claims come first.

    Refuted claims begin with "error:", all others with "warning:". Claims that are met have no line.
    """
    refuted = [j for j in record.judgements if j.outcome == "refuted"]
    unsettled = [j for j in record.judgements if j.outcome not in (*MET, "refuted")]
    lines = [f"error: claim {_name(j)}: {j.outcome}: {judgement_text(j)}" for j in refuted]
    lines += [f"warning: claim {_name(j)}: {j.outcome}: {judgement_text(j)}" for j in unsettled]
    lines += [
        f"warning: open threat {clean(t.threat)}: {clean(t.why)}; try it, or scope it out with a reason"
        for t in record.threats_left
    ]
    return lines


def claims_markdown(record: ClaimsRecord) -> str:
    """Claims as a job summary: refuted and open ones in full, open threats, then those that are met."""
    parts = [f"## {escape(claims_headline(record))}", f"Use of the key: {escape(record.use)}."]
    open_ones = sorted(
        (j for j in record.judgements if j.outcome not in MET), key=lambda j: j.outcome != "refuted"
    )
    if open_ones:
        parts.append(_pipes(open_ones))
    if record.threats_left:
        lines = [f"- Open threat {escape(t.threat)}: {escape(t.why)}" for t in record.threats_left]
        parts.append("\n".join(lines))
    met = [j for j in record.judgements if j.outcome in MET]
    if met:
        parts += [f"<details><summary>Met: {len(met)}</summary>", _pipes(met), "</details>"]
    return "\n\n".join(parts) + "\n"


def _pipes(judgements: Sequence[Judgement]) -> str:
    lines = ["| claim | scheme | outcome | what and why |", "| --- | --- | --- | --- |"]
    for j in judgements:
        cells = (j.claim, j.scheme, j.outcome, judgement_text(j))
        lines.append(f"| {' | '.join(escape(cell) for cell in cells)} |")
    return "\n".join(lines)


def _name(judgement: Judgement) -> str:
    return f"{clean(judgement.claim)} on {clean(judgement.scheme)}"
