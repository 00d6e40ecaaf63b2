"""One or two parameters varied on the same people, the best settings, and a check of them on others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from harness import plugins
from harness.choosing import DEFAULT_CORPUS, chosen_attacks, chosen_corpus, chosen_schemes, command_words
from harness.claims.model import Claims
from harness.claims.planning import in_force
from harness.contracts import Corpus
from harness.dominance import dominates, parts_of
from harness.errors import ContractError, UsageError
from harness.heldout import Part, fresh_seed, people_text, split
from harness.points import Run, alone, followed, measured, variants
from harness.quantities import adversaries, people_of, shared_adversaries, shared_people
from harness.recordings import lies_in_files
from harness.results import Audit
from harness.swept import CURVES, Choice, Confirmation, Parameter, Point, Sweep
from harness.tasks import Progress
from harness.varying import parameters_varied, variant

__all__ = ["sweep"]

Judged = tuple[str | None, bool]  # what became of the claims, and do all of them hold
_HOLD = ("shown", "withstood")


def sweep(
    scheme: Any,
    *,
    vary: Any,
    claims: Claims | str | Path | None = None,
    attacks: Any = "all",
    corpus: Any = None,
    subjects: int = 60,
    sessions: int = 2,
    attempts: int = 5,
    seed: int = 0,
    jobs: int = 1,
    chunk: int | None = None,
    progress: Progress | None = None,
) -> Sweep:
    """Vary one or two parameters of a scheme or a corpus, all else and all streams being the same.

    Parameters
    ----------
    scheme : plug-in
        One; as for `harness.audit`.
    vary : str, sequence of str, or mapping
        ``NAME=START:STOP:N``, ``NAME=a,b,c`` or {NAME: values}; one or two. ``scheme.NAME`` or
        ``corpus.NAME`` where both have it.
    claims : path or Claims, optional
        Points are admissible if all claims hold; without, if no other point dominates them in net rate,
        agreement and strength.
    attacks, corpus, subjects, sessions, attempts, seed, jobs, chunk, progress
        As for `harness.audit`.

    Returns
    -------
    Sweep
        The chosen point is the admissible one of the highest net rate, ties going to the earlier; one at
        which no keys agree is only chosen if they agree nowhere. It is
        confirmed on people who had no part in choosing it: freshly simulated ones, or the third of a
        recorded corpus that was kept back from every point.

    Raises
    ------
    UsageError
        Three parameters, unknown ones, or parameters that no point can be made with; whatever
        `harness.audit` refuses.

    Examples
    --------
    >>> found = sweep(
    ...     "interval-gray", vary="cell_s=0.004,0.008",
    ...     attacks="population", subjects=3, sessions=1, attempts=2,
    ... )
    >>> [point.status for point in found.points]
    ['measured', 'measured']
    """
    plugin = _one(scheme)
    declared = _declared(claims, attacks=attacks, scheme=plugin.value.name)
    size = {"subjects": subjects, "sessions": sessions, "attempts": attempts}
    whole = chosen_corpus(corpus, seed=seed, **size)
    parameters = parameters_varied(vary, scheme=plugin.value, corpus=whole)
    parts = split(whole, seed=seed) if lies_in_files(whole) else None
    # a path is read and checked once; a name is kept, for parameters to be put behind it
    base: Any = whole if lies_in_files(whole) else (DEFAULT_CORPUS if corpus is None else corpus)
    if parts is not None:
        base = parts[0]
    run = Run(
        given=scheme,
        name=plugin.value.name,
        corpus=base,
        size=size,
        options={"attacks": attacks, "jobs": jobs, "chunk": chunk, "claims": declared},
        progress=progress or (lambda *_: None),
    )
    points = _judged(run, measured(run, parameters, seed), by_claims=declared is not None)
    if all(p.status == "refused" for p in points):
        raise UsageError(f"at least one point must be possible, but all were refused: {points[0].refusal}")
    choice = _choice(run, points, parts, whole, seed, by_claims=declared is not None)
    command = command_words([plugin], attacks, corpus, whole, seed=seed, **size)
    varied = [w for p in parameters for w in ("--vary", f"{p.label}={_words(p.values)}")]
    return Sweep(
        parameters=parameters,
        points=points,
        choice=choice,
        settings={
            "seed": seed,
            "attacks": next(p.audit.settings["attacks"] for p in points if p.audit is not None),
            "command": ["keyassay", "sweep", command[2], *varied, *command[3:], *_claims_words(claims)],
            **(size if isinstance(base, str) else {}),
        },
        scheme={"name": plugin.value.name, "parameters": plugins.parameters_of(plugin.value)},
        corpus={"name": whole.name, "data": whole.data, "digest": whole.digest()},
        people=people_text(whole, parts),
        notes=_notes(parameters, points),
    )


def _one(scheme: Any) -> plugins.Plugin:
    found = chosen_schemes(scheme)
    if len(found) != 1:
        raise UsageError(f"a sweep must have one scheme, got {len(found)}: use compare for several")
    return found[0]


def _declared(claims: Claims | str | Path | None, *, attacks: Any, scheme: str) -> Claims | None:
    """The claims in force, refused before anything runs if they name what is not there."""
    names = [c.attack.name for c in chosen_attacks(attacks)[0]]
    whole = in_force(claims, schemes=[scheme], attacks=names)
    if whole is None:
        return None
    # points go by names of their own, and every claim left is about the one scheme
    return whole.model_copy(
        update={"claim": tuple(c.model_copy(update={"scheme": None}) for c in whole.claim)}
    )


def _judged(run: Run, points: Sequence[Point], *, by_claims: bool) -> list[Point]:
    """The points with their parts, and whether each is admissible."""
    cells = [(p.audit, run.name) for p in points if p.audit is not None]
    # a point at which nobody was ranked, as no key was established, must not hide how the others compare
    cells = [c for c in cells if any(people_of(*c, a, "key-rank") for a in adversaries(*c))]
    shared = shared_adversaries(cells) if cells else []
    people = shared_people(cells, shared)
    compared = [
        p if p.audit is None else replace(p, parts=parts_of(p.audit, run.name, among=shared, people=people))
        for p in points
    ]
    if by_claims:
        verdicts = [(None, False) if p.audit is None else _verdict(p.audit) for p in compared]
        return [replace(p, claims=v[0], admissible=v[1]) for p, v in zip(compared, verdicts, strict=True)]
    return [
        replace(
            p, admissible=None not in p.parts and not any(dominates(q.parts, p.parts) for q in compared)
        )
        for p in compared
    ]


def _verdict(found: Audit) -> Judged:
    """What became of the claims, in words, and whether all of them hold."""
    judgements = () if found.claims is None else found.claims.judgements
    open_ones = [f"{j.claim} {j.outcome}" for j in judgements if j.outcome not in _HOLD]
    held = len(judgements) - len(open_ones)
    return "; ".join([f"{held} of {len(judgements)} hold", *open_ones]), bool(judgements) and not open_ones


def _choice(
    run: Run,
    points: Sequence[Point],
    parts: tuple[Part, Part] | None,
    whole: Corpus,
    seed: int,
    *,
    by_claims: bool,
) -> Choice:
    admissible = [p for p in points if p.admissible]
    rated = [p for p in admissible if p.parts[0] is not None]
    rated = [p for p in rated if p.parts[1]] or rated  # a point at which no keys agree makes none
    if not rated:
        return Choice(point=None, reason=_no_choice(points, admissible, by_claims), confirmation=None,
                      unconfirmed="no point was chosen")  # fmt: skip
    # max() keeps the first of equals
    best = max(rated, key=lambda p: p.parts[0] or 0.0)
    among = "whose claims all hold" if by_claims else "that no other point dominates"
    reason = (
        f"the highest net rate of the {len(admissible)} of {len(points)} points {among} (of those at "
        "which keys agree at all, if there are any); ties go to the earlier"
    )
    where = _others(run, parts, whole, best, seed)
    if isinstance(where, str):
        return Choice(point=best.number, reason=reason, confirmation=None, unconfirmed=where)
    scheme, corpus, other_seed, people = where
    found = run.audits([scheme], corpus, seed=other_seed, stage="confirmation")
    own = alone(found, str(found.schemes[0]["name"]), run.name)
    who, rows = followed(own)
    said, holds = _verdict(own) if by_claims else (None, None)
    confirmed = Confirmation(
        people=people,
        seed=other_seed,
        audit=own,
        strongest=who,
        rows=rows,
        differences={q: _less(rows[q].value, best.rows[q].value) for q in CURVES},
        claims=said,
        holds=holds,
    )
    return Choice(point=best.number, reason=reason, confirmation=confirmed, unconfirmed=None)


def _less(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else a - b


def _no_choice(points: Sequence[Point], admissible: Sequence[Point], by_claims: bool) -> str:
    if by_claims and not admissible:
        return "the claims do not all hold at any point, so none is chosen"
    if by_claims:
        return f"the net rate is not known at any of the {len(admissible)} points whose claims all hold"
    missing = sorted(
        {
            r.reason or r.status
            for p in points
            for q, r in p.rows.items()
            if q in ("net-rate", "agreement", "key-rank") and r.status != "measured"
        }
    )
    return f"net rate, agreement and strength are not known together at any point: {'; '.join(missing)}"


def _others(
    run: Run, parts: tuple[Part, Part] | None, whole: Corpus, best: Point, seed: int
) -> tuple[Any, Any, int, str] | str:
    """Scheme, corpus, seed and words for the confirmation; or why there can be none."""
    if parts is not None:
        scheme, _ = variants(run, best.settings, "chosen", seed)
        return scheme, parts[1], seed, f"{len(parts[1].kept)} recorded people kept back from every point"
    if lies_in_files(whole):
        return "the corpus has fewer than three people, so none could be kept back"
    other = fresh_seed(seed)
    scheme, used = variants(run, best.settings, "chosen", seed)
    theirs = {k.partition(".")[2]: v for k, v in best.settings.items() if k.startswith("corpus.")}
    try:
        corpus = variant("corpus", run.corpus, {**theirs, "seed": other}, **run.size)
    except (UsageError, ContractError) as error:
        return f"the corpus cannot simulate other people: {error}"
    first, second = (plugins.resolve("corpus", c, seed=seed, **run.size).value for c in (used, corpus))
    if first.digest() == second.digest():
        return "the corpus simulates the same people under another seed"
    count = len({s.subject for s in second.sittings()})
    return scheme, corpus, other, f"{count} freshly simulated people, seed {other} (named from seed {seed})"


def _claims_words(claims: Any) -> list[str]:
    """The option for claims, without folders of this machine."""
    if claims is None:
        return []
    return ["--claims", Path(claims).name if isinstance(claims, str | Path) else "object"]


def _words(values: Sequence[Any]) -> str:
    return ",".join(v if isinstance(v, str) else repr(v) for v in values)


def _notes(parameters: Sequence[Parameter], points: Sequence[Point]) -> list[str]:
    """What a reader must know beside the numbers."""
    notes = [
        "Whoever picks the best of several points on the same data flatters it. Believe the confirmation "
        "on other people, where there is one, and not the curves."
    ]
    if any(p.of == "corpus" for p in parameters):
        names = " and ".join(p.name for p in parameters if p.of == "corpus")
        notes.append(
            f"{names} is a condition that people or adversaries bring along, not a setting of the scheme: "
            "a point that suits the scheme is not one that its owner can choose."
        )
    known = [p for p in points if p.audit is not None]
    bases = {p.rows["min-entropy"].method for p in known if p.rows["min-entropy"].status == "measured"}
    if len(bases) > 1:
        notes.append(
            f"Net rates rest on different figures from point to point ({', '.join(sorted(bases))}); a "
            "chain bound may be far too low."
        )
    elif any("chain-bound" in method for method in bases):
        notes.append(
            "Net rates and min-entropies rest on a chain bound: the owners keep at least this, "
            "perhaps far more."
        )
    if known and all(not p.parts[0] for p in known):
        notes.append("The net rate is 0 or unknown at every point, so it tells no point from another.")
    return notes
