"""The loop over schemes and attacks.

Two passes. First every sitting is rendered or read once and every scheme runs on it honestly. Then the
subjects are split into folds, and each attack sees one fold at a time, with the others to learn from.
Everything random has a name, every kernel runs on blocks that neither worker count nor chunk
size changes: the same seed gives the same bytes.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from joblib import Parallel, delayed
from threadpoolctl import threadpool_limits

from harness import enumeration_rows, in_house, plugins, relay
from harness.active_rows import acting_rows, assumed
from harness.assumptions import marked, resting_on
from harness.attack_measures import BUDGETS, attack_rows
from harness.bits_left import ledger_rows
from harness.cache import Captures, one_kind, render
from harness.choosing import (
    Chosen,
    attack_facts,
    chosen_attacks,
    chosen_corpus,
    chosen_schemes,
    command_words,
    scheme_facts,
    versions,
)
from harness.claims.judging import judge
from harness.claims.model import Claims
from harness.claims.planning import budgets_of, foreseen, in_force
from harness.contracts import DEVICE_A, DEVICE_B, Array, Capture, Corpus
from harness.digests import exchange_digest, scores_digest
from harness.errors import ContractError, CorpusError, UsageError
from harness.estimators import proportion
from harness.exchange import Honest, call, join, run_block, sent, signal_of
from harness.findings import attack_findings, corpus_findings, odds_findings, scheme_findings
from harness.interference import with_runs
from harness.isolation import Stranger
from harness.measures import honest_rows
from harness.pursuit import Outcome, pursue, pursue_together
from harness.results import Audit, Finding, PerSubject, Row, unmeasured
from harness.same_view import same_view_rows
from harness.score import Disclosure, disclosure_of
from harness.streams import stream
from harness.view import needs, streams_of

__all__ = ["audit"]

FOLDS = 5
Progress = Callable[[str, int, int], None]


def audit(
    schemes: Any,
    *,
    attacks: Any = "all",
    corpus: Any = None,
    claims: Claims | str | Path | None = None,
    subjects: int = 60,
    sessions: int = 2,
    attempts: int = 5,
    seed: int = 0,
    jobs: int = 1,
    chunk: int | None = None,
    progress: Progress | None = None,
    told: Callable[[str], None] | None = None,
) -> Audit:
    """Audit schemes against adversaries.

    Parameters
    ----------
    schemes : plug-in or sequence of plug-ins
        Objects, registered names, or ``file.py:Name``, with parameters as ``name:key=value``.
    attacks : "all", plug-in or sequence of plug-ins
        "all": every registered attack and their combination. ``a+b`` combines attacks.
    corpus : Corpus, path or name, optional
        A manifest or its folder, a registered corpus, or an object. Default: the simulated demo scenario.
    claims : Claims or path, optional
        What the schemes claim; judged at the end, and its guess budgets measured besides the usual ones.
    subjects, sessions, attempts : int
        Size of a simulated corpus; attempts are per session. A recorded corpus has its own.
    seed : int
        Names all random streams.
    jobs : int
        Worker processes. Changes nothing but time.
    chunk : int, optional
        Sittings per task. Changes nothing but time and memory.
    progress : callable, optional
        Called with (what, done, total).
    told : callable, optional
        Called with a sentence for each claim that this corpus cannot meet, before any attack runs.

    Returns
    -------
    Audit

    Raises
    ------
    UsageError, ContractError
        Unknown or ill-made plug-ins, before anything runs.
    CorpusError
        A damaged corpus.

    Examples
    --------
    >>> from harness import audit
    >>> result = audit("interval-gray", attacks="population", subjects=2, attempts=2)
    >>> [row.status for row in result.select(attack="population", measure="success-odds", budget=1)]
    ['measured']
    """
    for name, value in (
        ("subjects", subjects),
        ("sessions", sessions),
        ("attempts", attempts),
        ("jobs", jobs),
    ):
        if value < 1:
            raise UsageError(f"`{name}` must be at least 1, got {value}")
    if chunk is not None and chunk < 1:
        raise UsageError(f"`chunk` must be at least 1, got {chunk}")
    if seed < 0:
        raise UsageError(f"`seed` must be at least 0, got {seed}")
    tested = chosen_schemes(schemes)
    others, own = in_house.split(attacks)
    chosen, together = chosen_attacks(others) if others != [] or not own else ([], [])
    claimed = in_force(
        claims,
        schemes=[p.value.name for p in tested],
        attacks=[*(c.attack.name for c in chosen), *own],
    )
    size = {"subjects": subjects, "sessions": sessions, "attempts": attempts}
    source = chosen_corpus(corpus, seed=seed, **size)
    command = command_words(tested, attacks, corpus, source, seed=seed, **size)
    with threadpool_limits(1), tempfile.TemporaryDirectory(prefix="keyassay-") as folder:
        run = _Run(
            source,
            seed,
            jobs,
            chunk or 4,
            progress or (lambda *_: None),
            Path(folder),
            command,
            budgets_of(claimed, BUDGETS),
            own,
        )
        if claimed is not None:
            for sentence in foreseen(claimed, source, [p.value for p in tested]):
                (told or (lambda _: None))(sentence)
        found = _audited(run, tested, chosen, together)
    return found if claimed is None else replace(found, claims=judge(claimed, found))


@dataclass(frozen=True, slots=True)
class _Run:
    corpus: Corpus
    seed: int
    jobs: int
    chunk: int
    progress: Progress
    folder: Path
    command: list[str]
    budgets: Sequence[int]
    in_house: tuple[str, ...]

    def map(self, what: str, function: Callable[..., Any], tasks: Sequence[tuple[Any, ...]]) -> list[Any]:
        """Results in the order of tasks, whoever computes them."""
        self.progress(what, 0, len(tasks))
        found = []
        if self.jobs == 1:
            results: Iterable[Any] = (function(*task) for task in tasks)
        else:
            pool = Parallel(n_jobs=self.jobs, return_as="generator", mmap_mode="r")
            results = pool(delayed(_limited)(function, task) for task in tasks)
        for result in results:
            found.append(result)
            self.progress(what, len(found), len(tasks))
        return found


def _limited(function: Callable[..., Any], task: tuple[Any, ...]) -> Any:
    with threadpool_limits(1):
        return function(*task)


def _audited(
    run: _Run, tested: list[plugins.Plugin], chosen: list[Chosen], together: list[tuple[str, ...]]
) -> Audit:
    attacks = [c.attack for c in chosen]
    captures = _rendered(run, [p.value for p in tested], attacks)
    rows: list[Row] = []
    people: list[PerSubject] = []
    findings: list[Finding] = list(corpus_findings(run.corpus, captures, attacks))
    described: list[dict[str, Any]] = []
    for plugin in tested:
        scheme = plugin.value
        try:
            sent(scheme.name, scheme)  # whatever the number of workers
            call(scheme.name, "labels", getattr, scheme, "labels", None)
            honest = _exchanged(run, scheme, captures)
            disclosure = disclosure_of(scheme, honest)
            made, own, facts = honest_rows(scheme, honest, disclosure, data=run.corpus.data, seed=run.seed)
        except (ContractError, CorpusError) as error:
            if isinstance(error, CorpusError):
                raise
            rows += _failed_scheme(scheme.name, attacks, run.corpus.data, str(error))
            described.append(scheme_facts(plugin, None))
            continue
        described.append(scheme_facts(plugin, disclosure))
        outcomes = {"": exchange_digest(honest)}
        origin = plugin.source if plugin.foreign and plugin.source != "object" else None
        facing = [a.against(origin) if isinstance(a, Stranger) else a for a in attacks]
        attacked = _attacked(run, scheme, honest, disclosure, captures, facing, together)
        for name, outcome in attacked:
            if outcome.scores is not None:
                outcomes[name] = scores_digest(outcome.scores)
            more, theirs = _rows_of(run, scheme, honest, disclosure, name, outcome)
            made += marked(more, resting_on(run.corpus, captures, scheme, facing, name))
            own += theirs
            findings += attack_findings(scheme, honest, name, outcome, tests=len(attacked), seed=run.seed)
        more, told = same_view_rows(attacked, attacks, scheme.name, honest, data=run.corpus.data)
        for row in more:
            both = f"{row.attack}+{row.method}"
            made += marked([row], resting_on(run.corpus, captures, scheme, facing, both))
        findings += told
        if relay.NAME in run.in_house:
            more, theirs = _relayed(run, scheme, honest, captures)
            made += more
            own += theirs
        if enumeration_rows.NAME in run.in_house:
            carried = enumeration_rows.enumeration_rows(
                attacked, scheme, honest, disclosure, data=run.corpus.data, budgets=run.budgets
            )
            made += marked(carried.rows, resting_on(run.corpus, captures, scheme, facing, carried.belief))
            findings += carried.findings
            if carried.scores is not None:
                name, tests = enumeration_rows.NAME, len(attacked)
                findings += odds_findings(scheme, honest, name, carried.scores, tests=tests)
        made += ledger_rows(
            made, honest, scheme=scheme.name, key_bits=int(scheme.key_bits), data=run.corpus.data
        )
        described[-1]["outcomes"] = outcomes
        findings += scheme_findings(scheme, disclosure, made, facts)
        rows += made
        people += own
    return Audit(
        rows=rows,
        per_subject=people,
        findings=findings,
        settings={
            "seed": run.seed,
            "folds": FOLDS,
            "attacks": [*(a.name for a in attacks), *run.in_house],
            "command": run.command,
            "resolution": _resolution(captures),
        },
        corpus={
            "name": run.corpus.name,
            "data": run.corpus.data,
            "digest": run.corpus.digest(),
            **_sizes(captures),
            "roles": sorted({s.partition(":")[0] for x in captures.sittings for s in x.streams}),
            "description": dict(run.corpus.describe()),
        },
        schemes=described,
        attacks=[attack_facts(c) for c in chosen],
        versions=versions(),
    )


def _resolution(captures: Captures) -> float:
    """The smallest odds that this corpus could have shown: the limit if no attempt had succeeded."""
    subject = np.concatenate([np.full(s.attempts, s.subject) for s in captures.sittings])
    nothing = np.zeros(len(subject))
    return proportion.clustered_rate(nothing, nothing, subject, side="attacker-at-least").high


def _sizes(captures: Captures) -> dict[str, int]:
    people = {s.subject for s in captures.sittings}
    hands = {int(h) for c in captures.streams.values() for h in np.unique(c.attacker) if h >= 0}
    return {
        "subjects": len(people),
        "sessions": len(captures.sittings),
        "attempts": sum(s.attempts for s in captures.sittings),
        "attackers": len(hands),
    }


def _rendered(run: _Run, schemes: Sequence[Any], attacks: Sequence[Any]) -> Captures:
    """Pass one, first half: every stream that anyone needs, once."""
    sittings = run.corpus.sittings()
    if not sittings:
        raise CorpusError(f"{run.corpus.name} must hold at least one attempt of both devices, got none")
    blank = Captures(sittings, {})
    wanted: set[str] = set()
    for scheme in schemes:
        for role in (DEVICE_A, DEVICE_B):
            stream_name = f"{role}:{signal_of(scheme, role)}"
            if signal_of(scheme, role) not in blank.signals(role):
                raise CorpusError(
                    f"{run.corpus.name} must hold {stream_name} for scheme {scheme.name}, found only "
                    f"{', '.join(f'{role}:{s}' for s in blank.signals(role)) or f'no {role}'}"
                )
            wanted.add(stream_name)
        for attack in attacks:
            for role in needs(attack)[0]:
                wanted |= set(streams_of(blank, scheme, role).values())
    tasks = [
        (run.corpus, sittings, range(i, min(i + run.chunk, len(sittings))), frozenset(wanted), run.folder)
        for i in range(0, len(sittings), run.chunk)
    ]
    parts = run.map("sensing", _render_some, tasks)
    captures = Captures(sittings, {key: cached for part in parts for key, cached in part})
    for name in sorted(wanted):
        one_kind(captures, name)
    return captures


def _render_some(
    corpus: Corpus, sittings: Any, indices: range, streams: frozenset[str], folder: Path
) -> list[Any]:
    return [pair for i in indices for pair in render(corpus, i, sittings[i], streams, folder)]


def _exchanged(run: _Run, scheme: Any, captures: Captures) -> Honest:
    """Pass one, second half: A and B of every sitting."""
    indices = range(len(captures.sittings))
    tasks = [
        (scheme, captures, range(i, min(i + run.chunk, len(indices))), run.seed)
        for i in range(0, len(indices), run.chunk)
    ]
    parts = run.map(f"{scheme.name}: exchange", _exchange_some, tasks)
    return join(scheme.name, [block for part in parts for block in part])


def _exchange_some(scheme: Any, captures: Captures, indices: range, seed: int) -> list[Honest]:
    blocks = []
    for i in indices:
        sitting = captures.sittings[i]
        both: dict[str, Capture] = {}
        for role in (DEVICE_A, DEVICE_B):
            name = f"{role}:{signal_of(scheme, role)}"
            cached = captures.of(i, name)
            if cached is None or not np.array_equal(cached.attempt, np.arange(sitting.attempts)):
                raise CorpusError(
                    f"every attempt of subject {sitting.subject}, session {sitting.session} must have "
                    f"one {name}"
                )
            both[role] = cached.load()
        blocks.append(
            run_block(scheme, both, seed=seed, sitting=i, subject=sitting.subject, session=sitting.session)
        )
    return blocks


def _relayed(
    run: _Run, scheme: Any, honest: Honest, captures: Captures
) -> tuple[list[Row], list[PerSubject]]:
    """Late copies of device B on live messages."""
    indices = range(len(captures.sittings))
    tasks = [
        (scheme, honest, captures, range(i, min(i + run.chunk, len(indices))), run.seed)
        for i in range(0, len(indices), run.chunk)
    ]
    try:
        parts = run.map(f"{scheme.name}: relay", relay.relayed, tasks)
    except ContractError as error:
        return [_blank("failed", str(error), scheme.name, relay.NAME, run.corpus.data)], []
    found = [sitting for part in parts for sitting in part]
    return relay.relay_rows(found, honest, scheme=scheme.name, data=run.corpus.data)


def _folds(honest: Honest, seed: int) -> list[Array]:
    """Subjects in at most FOLDS groups, by a named stream."""
    people = np.unique(honest.subject)
    shuffled = stream(seed, "folds").permutation(people)
    return [np.sort(part) for part in np.array_split(shuffled, min(FOLDS, len(people)))]


def _attacked(
    run: _Run,
    scheme: Any,
    honest: Honest,
    disclosure: Disclosure,
    captures: Captures,
    attacks: Sequence[Any],
    together: Sequence[tuple[str, ...]],
) -> list[tuple[str, Outcome]]:
    """Pass two: every attack on every fold, then the combinations of what they believed."""
    folds = _folds(honest, run.seed)
    combined_names = {n for names in together for n in names}
    tasks = []
    for attack in attacks:
        calibrate = attack.name in combined_names and len(folds) > 2
        tasks += [
            (attack, scheme, honest, disclosure, captures, folds, fold, run.seed, calibrate)
            for fold in range(len(folds))
        ]
    answers = run.map(f"{scheme.name}: attacks", pursue, tasks)
    outcomes = [
        (attack.name, Outcome.joined(answers[i * len(folds) : (i + 1) * len(folds)]))
        for i, attack in enumerate(attacks)
    ]
    by_name = dict(outcomes)
    for names in together:
        members = [n for n in names if n in by_name and by_name[n].combinable]
        title = "+".join(members if len(members) > 1 else names)
        if len(members) < 2:
            reason = "fewer than two of its attacks hold a belief about the witness here"
            outcomes.append((title, Outcome(untested=reason)))
            continue
        if title in {name for name, _ in outcomes}:
            continue
        jobs = [
            ([by_name[n].folds[fold] for n in members], honest, scheme, disclosure, folds, fold)
            for fold in range(len(folds))
        ]
        outcomes.append((title, Outcome.joined(run.map(f"{scheme.name}: together", pursue_together, jobs))))
    return outcomes


def _rows_of(
    run: _Run, scheme: Any, honest: Honest, disclosure: Disclosure, name: str, outcome: Outcome
) -> tuple[list[Row], list[PerSubject]]:
    acts = outcome.acts
    honest = with_runs(honest, acts)
    if not outcome.failed and (acts or outcome.asked):
        made, own = acting_rows(outcome, honest, scheme=scheme.name, attack=name, data=run.corpus.data)
    else:
        made, own = [], []
    if outcome.scores is not None:
        more, theirs = attack_rows(
            outcome.scores,
            honest,
            disclosure,
            scheme=scheme.name,
            attack=name,
            key_bits=int(scheme.key_bits),
            data=run.corpus.data,
            seed=run.seed,
            note=outcome.note,
            budgets=run.budgets,
        )
        return [*(assumed(more) if acts else more), *made], [*theirs, *own]
    status, reason = ("failed", outcome.failed) if outcome.failed else ("untested", outcome.untested)
    return [_blank(status, str(reason), scheme.name, name, run.corpus.data), *made], own


def _blank(status: str, reason: str, scheme: str, attack: str | None, data: str) -> Row:
    measure, unit = ("key-agreement", "probability") if attack is None else ("success-odds", "probability")
    return unmeasured(status, reason, scheme=scheme, attack=attack, measure=measure, unit=unit, data=data)


def _failed_scheme(scheme: str, attacks: Sequence[Any], data: str, reason: str) -> list[Row]:
    return [_blank("failed", reason, scheme, name, data) for name in [None, *[a.name for a in attacks]]]
