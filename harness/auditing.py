"""The loop over schemes and attacks.

Two passes. First every sitting is rendered or read once and every scheme runs on it honestly. Then the
subjects are split into folds, and each attack sees one fold at a time, with the others to learn from.
Everything random has a name, every kernel runs on blocks that neither worker count nor chunk
size changes: the same seed gives the same bytes.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from threadpoolctl import threadpool_limits

from harness import attack_runs, enumeration_rows, in_house, plugins, relay, strata
from harness.assumptions import marked, resting_on
from harness.attack_measures import BUDGETS
from harness.bits_left import ledger_rows
from harness.cache import Captures
from harness.choosing import (
    Chosen,
    attack_facts,
    chosen_attacks,
    chosen_corpus,
    chosen_log,
    chosen_schemes,
    command_words,
    scheme_facts,
    versions,
)
from harness.claims.judging import judge
from harness.claims.model import Claims
from harness.claims.planning import budgets_of, foreseen, in_force
from harness.contracts import Array
from harness.digests import exchange_digest, scores_digest
from harness.errors import ContractError, CorpusError, UsageError
from harness.estimators import proportion
from harness.exchange import call, sent
from harness.extraction_kind import extraction_kind
from harness.findings import attack_findings, corpus_findings, odds_findings, scheme_findings
from harness.honest_runs import exchanged, rendered
from harness.isolation import Stranger
from harness.measures import honest_rows
from harness.results import Audit, Finding, PerSubject, Row
from harness.same_view import same_view_rows
from harness.score import disclosure_of
from harness.tasks import Progress, Run

__all__ = ["audit"]


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
    stratum: str | None = None,
    learn_from: str | None = None,
    progress: Progress | None = None,
    told: Callable[[str], None] | None = None,
) -> Audit:
    """Audit schemes against adversaries.

    Parameters
    ----------
    schemes : plug-in or sequence of plug-ins
        Objects, registered names, or ``file.py:Name``, with parameters as ``name:key=value``; or one log
        of finished exchanges, ``file.npz`` or ``file.csv`` (see `harness.logs`).
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
    stratum : str, optional
        ``kind=label`` of a day, devices, condition or group: only these attempts are attacked and counted.
    learn_from : str, optional
        The same: only these attempts of other people are learned from. Default: the stratum.
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
    log = chosen_log(schemes, corpus)
    tested = chosen_schemes(schemes) if log is None else [log.plugin]
    others, own = in_house.split(attacks)
    chosen, together = chosen_attacks(others) if others != [] or not own else ([], [])
    claimed = in_force(
        claims,
        schemes=[p.value.name for p in tested],
        attacks=[*(c.attack.name for c in chosen), *own],
    )
    size = {"subjects": subjects, "sessions": sessions, "attempts": attempts}
    source = chosen_corpus(corpus, seed=seed, **size) if log is None else log.corpus
    command = command_words(tested, attacks, corpus, source, seed=seed, **size)
    command += [
        w for n, v in (("stratum", stratum), ("learn-from", learn_from)) if v for w in (f"--{n}", v)
    ]
    with threadpool_limits(1), tempfile.TemporaryDirectory(prefix="keyassay-") as folder:
        run = Run(
            source,
            seed,
            jobs,
            chunk or 4,
            progress or (lambda *_: None),
            Path(folder),
            command,
            budgets_of(claimed, BUDGETS),
            own,
            strata.chosen(stratum, learn_from),
        )
        if claimed is not None:
            for sentence in foreseen(claimed, source, [p.value for p in tested]):
                (told or (lambda _: None))(sentence)
        found = _audited(run, tested, chosen, together)
    return found if claimed is None else replace(found, claims=judge(claimed, found))


def _audited(
    run: Run, tested: list[plugins.Plugin], chosen: list[Chosen], together: list[tuple[str, ...]]
) -> Audit:
    attacks = [c.attack for c in chosen]
    captures = rendered(run, [p.value for p in tested], attacks)
    rows: list[Row] = []
    people: list[PerSubject] = []
    findings: list[Finding] = list(corpus_findings(run.corpus, captures, attacks))
    described: list[dict[str, Any]] = []
    counted = np.repeat(np.arange(len(captures.sittings)), [s.attempts for s in captures.sittings])
    for plugin in tested:
        scheme = plugin.value
        try:
            sent(scheme.name, scheme)  # whatever the number of workers
            call(scheme.name, "labels", getattr, scheme, "labels", None)
            honest = exchanged(run, scheme, captures)
            if run.strata is not None:
                honest = strata.marked(honest, run.corpus, run.strata)
            disclosure = disclosure_of(scheme, honest)
            here = honest if honest.attacked is None else honest.part(np.flatnonzero(honest.attacked))
            made, own, facts = honest_rows(scheme, here, disclosure, data=run.corpus.data, seed=run.seed)
            counted = here.sitting
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
        attacked = attack_runs.attacked(run, scheme, honest, disclosure, captures, facing, together)
        # whichever belief is listed is tested again, and it is the strongest that is
        ranked = len(attacked) * (1 + (enumeration_rows.NAME in run.in_house))
        for name, outcome in attacked:
            if outcome.scores is not None:
                outcomes[name] = scores_digest(outcome.scores)
            more, theirs = attack_runs.rows_of(run, scheme, honest, disclosure, name, outcome)
            made += marked(more, resting_on(run.corpus, captures, scheme, facing, name))
            own += theirs
            findings += attack_findings(
                scheme, honest, name, outcome, tests=len(attacked), ranked=ranked, seed=run.seed
            )
        more, told = same_view_rows(attacked, attacks, scheme.name, honest, data=run.corpus.data)
        for row in more:
            both = f"{row.attack}+{row.method}"
            made += marked([row], resting_on(run.corpus, captures, scheme, facing, both))
        findings += told
        if relay.NAME in run.in_house:
            more, theirs = attack_runs.relayed(run, scheme, honest, captures)
            made += more
            own += theirs
            findings += relay.relay_findings(more, scheme.name)
        if enumeration_rows.NAME in run.in_house:
            carried = enumeration_rows.enumeration_rows(
                attacked, scheme, honest, disclosure, data=run.corpus.data, budgets=run.budgets
            )
            made += marked(carried.rows, resting_on(run.corpus, captures, scheme, facing, carried.belief))
            findings += carried.findings
            if carried.scores is not None:
                findings += odds_findings(
                    scheme, honest, enumeration_rows.NAME, carried.scores, tests=ranked
                )
        made += ledger_rows(
            made,
            here,
            scheme=scheme.name,
            key_bits=int(scheme.key_bits),
            data=run.corpus.data,
            extraction=extraction_kind(scheme),
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
            "folds": attack_runs.FOLDS,
            "attacks": [*(a.name for a in attacks), *run.in_house],
            "command": run.command,
            "resolution": _resolution(np.array([captures.sittings[i].subject for i in counted.tolist()])),
            **({} if run.strata is None else {"strata": run.strata.facts}),
        },
        corpus={
            "name": run.corpus.name,
            "data": run.corpus.data,
            "digest": run.corpus.digest() if run.strata is None else run.strata.digest(run.corpus),
            **_sizes(captures, counted),
            "roles": sorted({s.partition(":")[0] for x in captures.sittings for s in x.streams}),
            "description": dict(run.corpus.describe()),
        },
        schemes=described,
        attacks=[attack_facts(c) for c in chosen],
        versions=versions(),
    )


def _resolution(subject: Array) -> float:
    """The smallest odds that these attempts could have shown: the limit if none had succeeded."""
    nothing = np.zeros(len(subject))
    return proportion.clustered_rate(nothing, nothing, subject, side="attacker-at-least").high


def _sizes(captures: Captures, counted: Array) -> dict[str, int]:
    """Of what counts; `counted` holds the sitting of each attempt."""
    sittings = np.unique(counted).tolist()
    hands = {
        int(h)
        for (sitting, _), c in captures.streams.items()
        if sitting in sittings
        for h in np.unique(c.attacker)
        if h >= 0
    }
    return {
        "subjects": len({captures.sittings[i].subject for i in sittings}),
        "sessions": len(sittings),
        "attempts": len(counted),
        "attackers": len(hands),
    }


def _failed_scheme(scheme: str, attacks: Sequence[Any], data: str, reason: str) -> list[Row]:
    return [
        attack_runs.blank("failed", reason, scheme, name, data)
        for name in [None, *[a.name for a in attacks]]
    ]
