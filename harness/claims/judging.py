"""Claims held against a result: an outcome for each, with the rows it rests on."""

from __future__ import annotations

from collections.abc import Sequence

from harness.claims.deciding import advice
from harness.claims.grounds import Ground, claimed_budget, grounds
from harness.claims.model import Claim, Claims, Use
from harness.claims.reading import check_names, effective, use_of
from harness.claims.record import (
    ClaimsRecord,
    Judgement,
    OpenThreat,
    Rated,
    RequirementRecord,
    Support,
    worst,
)
from harness.claims.weighing import chances_to_refute, weighed
from harness.claims.wording import budget_words, number, percent
from harness.potential import FACTORS
from harness.results import Audit
from harness.threats import attack_names, open_threats, scheme_names, within
from harness.vocabulary import MEASURES

__all__ = ["exit_status", "judge", "use_words"]


def judge(claims: Claims, audit: Audit) -> ClaimsRecord:
    """Hold claims against a result.

    Parameters
    ----------
    claims : Claims
        As read; presets are written out here.
    audit : Audit

    Returns
    -------
    ClaimsRecord
        One judgement for each claim and scheme: "shown" where an exact figure, or a limit of a figure that
        bounds the quantity on the side that is claimed, keeps the threshold; "withstood" where every limit
        of what was tried keeps it, on this corpus; "refuted" where a limit lies beyond it, at a level
        that is shared among all limits of the claim; "untested" where an attack of the claim has no
        measured row of an accepted kind; else "undecided". The worst row decides.

    Raises
    ------
    UsageError
        If claims name an attack, threat or scheme that nobody knows.
    """
    whole = effective(claims)
    schemes = scheme_names(audit)
    check_names(whole, attacks=attack_names(audit), schemes=schemes)
    use = use_of(whole)
    scoped = {s.threat: s.reason for s in whole.out_of_scope}
    judgements = [
        _judged(claim, audit, scheme, use, list(scoped))
        for claim in whole.claim
        for scheme in schemes or [""]  # without a scheme every claim is untested
        if claim.scheme in (None, scheme)
    ]
    return ClaimsRecord(
        claims=whole.model_dump(mode="json"),
        use=use_words(whole),
        judgements=tuple(judgements),
        requirements=tuple(_requirements(whole, judgements)),
        open_threats=tuple(
            OpenThreat(threat=threat, why=why, scoped_out=scoped.get(within(threat, scoped) or ""))
            for threat, why in open_threats(audit)
        ),
        out_of_scope=scoped,
        potential=tuple(_rated(whole)),
    )


def _judged(claim: Claim, audit: Audit, scheme: str, use: Use, scoped: list[str]) -> Judgement:
    found, left_out = grounds(claim, audit, scheme, use=use, scoped=scoped)
    budget, keys = claimed_budget(claim, use)
    tests = chances_to_refute(found)
    supports = [weighed(g, claim, budget=budget, keys=keys, tests=tests) for g in found]
    outcome = worst([s.outcome for s in supports])
    simulated = audit.corpus.get("data") == "simulated" or any(
        used.row.data == "simulated" for s in supports for used in s.rows
    )
    return Judgement(
        claim=claim.id,
        scheme=scheme,
        requirement=claim.requirement,
        says=_says(claim, budget, keys),
        outcome=outcome,
        text=_text(claim, outcome, supports, simulated=simulated, tests=tests) + _lifetime(claim, keys),
        decides=_decides(claim, audit, found, supports, keys) if outcome == "undecided" else None,
        supports=tuple(supports),
        left_out=tuple(left_out),
        rationale=claim.rationale,
        owner=claim.owner,
    )


def _says(claim: Claim, budget: int | None, keys: int) -> str:
    unit = claim.unit or MEASURES[claim.measure].units[0]
    words = [claim.measure, f"by {claim.method}" if claim.method else "", budget_words(budget)]
    if keys > 1:
        words.append(f"at each of {keys} fresh keys")
    if MEASURES[claim.measure].attack:
        words.append("for all attacks" if claim.attack in (None, "all") else f"for {claim.attack}")
    side = "at most" if claim.at_most is not None else "at least"
    words += [side, number(claim.threshold), "" if unit in ("probability", "p-value") else unit]
    return " ".join(w for w in words if w) + f", at {percent(claim.confidence)}"


def _text(claim: Claim, outcome: str, supports: Sequence[Support], *, simulated: bool, tests: int) -> str:
    """The outcome, and the support that decides it."""
    deciding = _nearest_to_harm(claim, [s for s in supports if s.outcome == outcome])
    kind = ", on simulated people" if simulated else ""
    who = f"{deciding.attack}: " if deciding.attack else ""
    text = f"{outcome}{kind}: {who}{deciding.why}"
    if outcome == "refuted" and tests > 1:
        text += (
            f"; {tests} limits share the level, so that a true claim is refuted at most one time in "
            f"{1 / (1 - claim.confidence):.3g}"
        )
    others = sum(s.outcome == outcome for s in supports) - 1
    return f"{text} (and {others} more)" if others else text


def _lifetime(claim: Claim, keys: int) -> str:
    if keys == 1:
        return ""
    lower = "" if claim.at_most is None else ", or that of the share of people found in as many attempts"
    return (
        f"; over {keys} fresh keys, the upper limit is 1 - (1 - that of one key)^{keys}, and the lower "
        f"limit that of one key{lower}"
    )


def _nearest_to_harm(claim: Claim, supports: Sequence[Support]) -> Support:
    def harm(support: Support) -> float:
        values = [used.row.value for used in support.rows if used.role != "weak-people"]
        value = next((v for v in values if v is not None), 0.0)
        return value if claim.at_most is not None else -value

    return max(supports, key=harm)


def _decides(
    claim: Claim, audit: Audit, found: Sequence[Ground], supports: Sequence[Support], keys: int
) -> str:
    """What would decide, attack by attack; the same words once."""
    attackers = audit.corpus.get("attackers")
    hands = attackers if isinstance(attackers, int) and attackers > 0 else None
    said: dict[str, list[str]] = {}
    for ground, support in zip(found, supports, strict=True):
        if support.outcome != "undecided":
            continue
        if claim.measure == "leakage-test":
            words = "more attempts, in a new run"
        else:
            words = advice(ground, claim, breaks_at=support.breaks_at, keys=keys, attackers=hands)
        said.setdefault(words, []).append(ground.attack or "")
    named = [
        f"{', '.join(n for n in who if n)}: {words}" if any(who) else words for words, who in said.items()
    ]
    return " · ".join(named)


def use_words(claims: Claims) -> str:
    """What the key is for, in words, and whether that was declared."""
    use = use_of(claims)
    words = f"{use.kind}, a {use.key} key" if use.key == "lasting" else f"{use.kind}, fresh keys"
    if use.online:
        tries = use.tries_per_session or 1
        words += f", on line: {tries} {'try' if tries == 1 else 'tries'} in each of {use.sessions} sessions"
    else:
        words += f", guessed off line ({budget_words(use.guesses)[3:]}, the most that is measured)"
        words += f", {use.sessions} sessions" if use.sessions else ""
    return words if claims.use is not None else f"not declared, so judged at the harshest: {words}"


def _requirements(claims: Claims, judgements: Sequence[Judgement]) -> list[RequirementRecord]:
    records = []
    for requirement in claims.requirement:
        ids = tuple(c.id for c in claims.claim if c.requirement == requirement.id)
        outcomes = [j.outcome for j in judgements if j.claim in ids]
        records.append(
            RequirementRecord(
                id=requirement.id,
                text=requirement.text,
                owner=requirement.owner,
                claims=ids,
                outcome=worst(outcomes),
                evidence=any(o != "untested" for o in outcomes),
            )
        )
    return records


def _rated(claims: Claims) -> list[Rated]:
    rated = []
    for entry in claims.potential:
        points, band = entry.rated
        factors = {name: str(getattr(entry, name)) for name in FACTORS}
        rated.append(
            Rated(attack=entry.attack, points=points, band=band, factors=factors, rationale=entry.rationale)
        )
    return rated


def exit_status(record: ClaimsRecord) -> int:
    """What a command ends with: 1 if a claim is refuted; 4 if one is left open, or a threat is; else 0.

    Left open: undecided or untested. Threats that are declared out of scope do not count.
    """
    outcomes = {j.outcome for j in record.judgements}
    if "refuted" in outcomes:
        return 1
    return 4 if outcomes & {"undecided", "untested"} or record.threats_left else 0
