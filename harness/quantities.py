"""From the rows of an audit to the quantities that a designer compares."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from harness.estimators import means
from harness.estimators.rate import COUNTS
from harness.potential_reached import least_potential
from harness.results import Audit, Row, measured, unmeasured
from harness.sidebyside import LEVEL, QUANTITIES, Entry

__all__ = [
    "adversaries",
    "entries_of",
    "people_of",
    "shared_adversaries",
    "shared_people",
    "strongest",
    "strongest_entries",
    "told",
]

POPULATION = "population"
_GIVEN_HELPER = (
    ("average-given-helper-independent-symbols", "average-given-helper-markov"),
    ("average-given-helper-markov-before-helper",),
    ("average-given-helper-chain-bound",),
)
_ODDS = {"odds-1": 1, "odds-2^20": 2**20, "odds-2^40": 2**40}
_DIRECT = {  # quantity -> measure, unit, method (None: whichever)
    "raw-rate": ("rate", "bit/s", "symbol-log2"),
    "net-rate": ("rate", "bit/s", COUNTS),
    "time-to-strength": ("time-to-key", "s", COUNTS),
    "bit-mismatch": ("bit-mismatch", "probability", None),
    "agreement": ("key-agreement", "probability", None),
    "public-bits": ("public-bits", "bit/bit", None),
    "key-information": ("mutual-information", "bit", None),
    "attacker-bit-agreement": ("attacker-bit-agreement", "probability", None),
    "guesses-1-percent": ("guesses-for-odds", "log2", "at-1-percent"),
    "guesses-50-percent": ("guesses-for-odds", "log2", "at-50-percent"),
    "key-rank": ("key-rank", "log2", None),
}
_OF_OTHERS = {  # quantity -> attack, measure, unit, what is missing
    "min-entropy-enrolments": (
        "helper-reuse",
        "min-entropy",
        "bit",
        "no adversary held several enrolments",
    ),
    "linkage": ("helper-reuse", "linkage", "probability", "no adversary held several enrolments"),
    "min-entropy-injection": ("injection", "min-entropy", "bit/bit", "no adversary wrote to a sensor"),
}


def people_of(audit: Audit, scheme: str, attack: str | None, measure: str, budget: int | None = None
              ) -> dict[int, float]:  # fmt: skip
    """Subject -> value of one measure."""
    key = (scheme, attack, measure, budget)
    return {
        p.subject: p.value for p in audit.per_subject if (p.scheme, p.attack, p.measure, p.budget) == key
    }


def adversaries(audit: Audit, scheme: str) -> list[str]:
    """Adversaries that were set on a scheme, in the order of the audit."""
    return list(dict.fromkeys(r.attack for r in audit.rows if r.scheme == scheme and r.attack is not None))


def strongest(
    audit: Audit, scheme: str, *, among: Iterable[str] | None = None, people: Iterable[int] | None = None
) -> tuple[str, float] | None:
    """The adversary who finds the true key soonest, and the mean log2 rank that is left to the owner.

    Parameters
    ----------
    audit : Audit
    scheme : str
    among : iterable of str, optional
        Only these adversaries.
    people : iterable of int, optional
        Mean over these people only.

    Returns
    -------
    tuple or None
        Name, and mean log2 rank over people; ties go to the earlier. None if no rank was measured. An
        attacker gets at least this: the strength is bounded from above.
    """
    wanted = None if people is None else set(people)
    found: list[tuple[float, int, str]] = []
    for place, attack in enumerate(adversaries(audit, scheme) if among is None else among):
        ranks = people_of(audit, scheme, attack, "key-rank")
        values = [v for s, v in ranks.items() if wanted is None or s in wanted]
        if values:
            found.append((float(np.mean(values)), place, attack))
    if not found:
        return None
    rank, _, attack = min(found)
    return attack, rank


def shared_adversaries(cells: Sequence[tuple[Audit, str]]) -> list[str]:
    """Adversaries whose rank was measured against every (audit, scheme), in the first audit's order."""
    return [
        a
        for a in adversaries(*cells[0])
        if all(people_of(audit, scheme, a, "key-rank") for audit, scheme in cells)
    ]


def shared_people(cells: Sequence[tuple[Audit, str]], attacks: Sequence[str]) -> set[int]:
    """Subjects for whom each of these adversaries was ranked against every (audit, scheme)."""
    groups = [set(people_of(audit, scheme, a, "key-rank")) for audit, scheme in cells for a in attacks]
    return set.intersection(*groups) if groups else set()


def strongest_entries(audit: Audit, scheme: str, *, bits_per_symbol: int | None = None) -> list[Entry]:
    """Every quantity of a scheme, in the order of the page, the adversary being the strongest one."""
    top = strongest(audit, scheme)
    attack = top[0] if top else next(iter(adversaries(audit, scheme)), None)
    return entries_of(audit, scheme, attack, bits_per_symbol=bits_per_symbol)


def entries_of(
    audit: Audit,
    scheme: str,
    attack: str | None,
    *,
    of: Sequence[str] = ("pair", "adversary"),
    bits_per_symbol: int | None = None,
) -> list[Entry]:
    """Every quantity of a scheme against one adversary, in the order of the page.

    Parameters
    ----------
    audit : Audit
    scheme : str
    attack : str or None
        Whose the adversary's quantities are; None: nobody was set on it, and they are untested.
    of : sequence of str
        Which quantities: "pair", "adversary" or both.
    bits_per_symbol : int, optional
        Bits that encode a symbol, for the min-entropy per bit; without it the figure is per symbol.
    """
    return [
        Entry(quantity=q.slug, row=_row(audit, scheme, attack, q.slug, q.of, bits_per_symbol))
        for q in QUANTITIES
        if q.of in of
    ]


def _row(
    audit: Audit, scheme: str, attack: str | None, slug: str, of: str, bits_per_symbol: int | None
) -> Row:
    if slug in _OF_OTHERS:
        return _of_others(audit, scheme, slug)
    if of == "adversary" and attack is None:
        return _blank(audit, scheme, None, slug, "no adversary was set on this scheme")
    who = attack if of == "adversary" else None
    if slug in _DIRECT:
        return _direct(audit, scheme, who, *_DIRECT[slug])
    if slug in _ODDS:
        return _direct(audit, scheme, who, "success-odds", "probability", None, budget=_ODDS[slug])
    match slug:
        case "min-entropy":
            return _given_helper(audit, scheme)
        case "source-min-entropy":
            return _source(audit, scheme, bits_per_symbol)
        case "agreement-worst" | "agreement-5th-percentile":
            return _low_agreement(audit, scheme, slug)
        case "expected-attempts" | "expected-time":
            return _expected(audit, scheme, slug)
        case "attack-potential":
            return least_potential(audit, scheme)
        case "worst-victim":
            return _worst_victim(audit, scheme, str(who))
        case _:
            return _advantage(audit, scheme, str(who))


def _direct(
    audit: Audit,
    scheme: str,
    attack: str | None,
    measure: str,
    unit: str,
    method: str | None,
    budget: int | None = None,
) -> Row:
    rows = [
        r
        for r in audit.select(scheme=scheme, attack=attack, measure=measure, budget=budget, unit=unit)
        if method in (None, r.method)
    ]
    found = next(iter(sorted(rows, key=lambda r: r.status != "measured")), None)
    return found or _blank(audit, scheme, attack, measure, _why(audit, scheme, attack, measure), unit=unit)


def _why(audit: Audit, scheme: str, attack: str | None, measure: str) -> str:
    """Why a measure has no row of its own: what stopped it in another form, or the whole cell."""
    cell = audit.select(scheme=scheme, attack=attack)
    stopped = [r for r in cell if r.status in ("failed", "untested") and r.reason]
    own = [r for r in stopped if r.measure == measure]
    if own or (stopped and all(r.status != "measured" for r in cell)):
        return str((own or stopped)[0].reason)
    return "this audit did not measure it"


def _blank(
    audit: Audit, scheme: str, attack: str | None, measure: str, reason: str, *, unit: str = "none"
) -> Row:
    failed = any(r.status == "failed" for r in audit.select(scheme=scheme, attack=attack))
    return unmeasured(
        "failed" if failed else "untested",
        reason,
        scheme=scheme,
        attack=attack,
        measure=measure,
        unit=unit,
        data=str(audit.corpus.get("data")),
    )


def _of_others(audit: Audit, scheme: str, slug: str) -> Row:
    """Quantities that only a certain adversary, or a rating, can give."""
    attack, measure, unit, missing = _OF_OTHERS[slug]
    rows = [
        r
        for r in audit.select(scheme=scheme, measure=measure)
        if attack is None or (r.attack is not None and attack in r.attack.split("+"))
    ]
    found = next(iter(sorted(rows, key=lambda r: r.status != "measured")), None)
    return found or _blank(audit, scheme, None, measure, missing, unit=unit)


def _given_helper(audit: Audit, scheme: str) -> Row:
    rows = {
        r.method: r for r in audit.select(scheme=scheme, attack=None, measure="min-entropy", unit="bit")
    }
    measured = [
        [rows[m] for m in same if m in rows and rows[m].status == "measured"] for same in _GIVEN_HELPER
    ]
    for same in measured:
        if same:  # the model that leaves less is the better attack
            return min(same, key=lambda r: math.inf if r.value is None else r.value)
    return next(
        iter(rows.values()),
        _blank(audit, scheme, None, "min-entropy", _why(audit, scheme, None, "min-entropy"), unit="bit"),
    )


def _source(audit: Audit, scheme: str, bits_per_symbol: int | None) -> Row:
    row = _direct(audit, scheme, None, "min-entropy", "bit/symbol", "most-common-value-worst-subject")
    if row.status != "measured" or bits_per_symbol is None:
        return row

    def per_bit(value: float | None) -> float | None:
        return None if value is None else value / bits_per_symbol

    return replace(
        row, value=per_bit(row.value), low=per_bit(row.low), high=per_bit(row.high), unit="bit/bit"
    )


def _low_agreement(audit: Audit, scheme: str, slug: str) -> Row:
    values = sorted(people_of(audit, scheme, None, "key-agreement").values())
    whole = _direct(audit, scheme, None, "key-agreement", "probability", None)
    if not values or whole.status != "measured":
        return whole
    n = len(values)
    # the smallest value that at least a twentieth of the people do not exceed
    place = 1 if slug == "agreement-worst" else max(1, -(-n // 20))
    reason = f"number {place} from below of {n} people; the least of many is low by chance too"
    if slug != "agreement-worst" and n < 59:  # 1 - .95^59 = .9515
        reason = f"number {place} from below of {n} people; a limit at 95 % takes 59 people"
    return replace(
        whole, value=values[place - 1], low=None, high=None, level=None, method=slug, reason=reason
    )


def _expected(audit: Audit, scheme: str, slug: str) -> Row:
    """Attempts, or time, until a key is shared, for somebody of average agreement."""
    agreed = _direct(audit, scheme, None, "key-agreement", "probability", None)
    if agreed.status != "measured":
        return agreed
    attempts = replace(
        agreed,
        measure=slug,
        value=_inverse(agreed.value),
        low=_inverse(agreed.high),
        high=_inverse(agreed.low),
        unit="attempts",
        method="inverse-of-agreement",
        reason="for somebody of average agreement; whoever agrees less often needs more"
        if agreed.value
        else "no attempt agreed",
    )
    if slug == "expected-attempts":
        return attempts
    time = _direct(audit, scheme, None, "time", "s", None)
    if time.status != "measured":
        return time
    spent = 2.0 if agreed.level is None or time.level is None else 2.0 - agreed.level - time.level
    return replace(
        attempts,
        value=_product(attempts.value, time.value),
        low=_product(attempts.low, time.low),
        high=_product(attempts.high, time.high),
        level=max(0.5, 1.0 - spent),
        unit="s",
    )


def _inverse(value: float | None) -> float | None:
    return 1.0 / value if value else None


def _product(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else a * b


def _worst_victim(audit: Audit, scheme: str, attack: str) -> Row:
    whole = _direct(audit, scheme, attack, "success-odds", "probability", None, budget=1)
    values = people_of(audit, scheme, attack, "success-odds", 1)
    if whole.status != "measured" or not values:
        return whole
    top = max(values.values())
    who = min(s for s, v in values.items() if v == top)
    sharers = sum(v == top for v in values.values())
    reason = f"subject {who}" + (f" and {sharers - 1} more" if sharers > 1 else "")
    return replace(
        whole,
        value=top,
        low=None,
        high=None,
        level=None,
        method="worst-victim",
        reason=f"{reason} of {len(values)} people, attackers pooled; the most of many is high by chance",
    )


def _advantage(audit: Audit, scheme: str, attack: str) -> Row:
    """Bits of log2 rank by which an adversary beats whoever knows other people's keys only."""
    whole = _direct(audit, scheme, attack, "key-rank", "log2", None)
    base, own = (people_of(audit, scheme, a, "key-rank") for a in (POPULATION, attack))
    shared = sorted(base.keys() & own.keys())
    if whole.status != "measured" or not shared:
        missing = "no rank of `population` on the same people to compare with"
        return whole if whole.status != "measured" else _blank(
            audit, scheme, attack, "advantage", missing, unit="log2"
        )  # fmt: skip
    gains = np.array([base[s] - own[s] for s in shared])
    paired = means.subject_mean(
        gains,
        np.array(shared),
        unit="log2",
        side="attacker-at-least",
        method="paired-over-people",
        level=LEVEL,
    )
    return measured(
        replace(paired, attempts=whole.attempts),
        scheme=scheme,
        attack=attack,
        measure="advantage",
        data=whole.data,
        reason="mean over the same people of log2 rank under `population` less that under this adversary",
    )


def told(entries: Iterable[Entry]) -> Mapping[str, Row]:
    """Quantity -> row, of one scheme and adversary."""
    return {e.quantity: e.row for e in entries}
