"""Runs the checks of a plug-in, one after the other, and holds what comes of them against what is known."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from threadpoolctl import threadpool_limits

from harness.checks.attack_case import AttackCase
from harness.checks.outcomes import Breach, CouldNotRun, NotApplicable, Outcome, Place, raised
from harness.checks.registry import Check, checks_of, one_of
from harness.checks.scheme_case import SchemeCase
from harness.errors import ContractError, CorpusError, UsageError

__all__ = [
    "Case",
    "Progress",
    "case_of",
    "check_attack",
    "check_scheme",
    "kind_of",
    "known_of",
    "one_outcome",
    "outcomes_of",
]

Progress = Callable[[str, int, int], None]
Case = SchemeCase | AttackCase


def check_scheme(
    scheme: Any,
    *,
    corpus: Any = None,
    seed: int = 0,
    known: Mapping[str, str] | None = None,
    only: Sequence[str] = (),
    progress: Progress | None = None,
) -> list[Outcome]:
    """Run the contract of schemes against one, check by check, in this process.

    Parameters
    ----------
    scheme : Scheme or Interactive
    corpus : Corpus, name or path, optional
        People to run it on. Default: a registered corpus with the scheme's signal, or noise.
    seed : int
        Names all random streams, and the examples of hypothesis: same seed, same outcomes.
    known : mapping of str to str, optional
        Check -> why it is known to fail. Joins what the scheme says itself, its `known_failures`. One that
        does not fail is reported as broken: the declaration is.
    only : sequence of str
        Names of checks; default: all.
    progress : callable, optional
        Called with (what, done, total).

    Returns
    -------
    list of Outcome
        In the order of the checks.

    Raises
    ------
    UsageError
        If a name is no check's.

    Examples
    --------
    >>> from harness import check_scheme
    >>> from harness.plugins import resolve
    >>> scheme = resolve("scheme", "interval-gray").value
    >>> [outcome.status for outcome in check_scheme(scheme, only=["members-there", "noise-free-agrees"])]
    ['held', 'held']
    """
    case = SchemeCase(scheme, corpus=corpus, seed=_seed(seed))
    return outcomes_of(case, known=known, only=only, progress=progress)


def check_attack(
    attack: Any,
    *,
    scheme: Any = None,
    corpus: Any = None,
    seed: int = 0,
    known: Mapping[str, str] | None = None,
    only: Sequence[str] = (),
    progress: Progress | None = None,
) -> list[Outcome]:
    """Run the contract of attacks against one, check by check, in this process.

    The attack runs where the checks run, not in a process of its own as in an audit: it is its author who
    asks, and the keys are those of made-up or chosen people.

    Parameters
    ----------
    attack : Attack
    scheme : Scheme or name, optional
        What it attacks. Default: a registered scheme whose signal the corpus has.
    corpus, seed, known, only, progress
        As in `check_scheme`.

    Returns
    -------
    list of Outcome

    Raises
    ------
    UsageError
        If a name is no check's, or no scheme reads the corpus.
    """
    case = AttackCase(attack, scheme=scheme, corpus=corpus, seed=_seed(seed))
    return outcomes_of(case, known=known, only=only, progress=progress)


def _seed(seed: int) -> int:
    if seed < 0:
        raise UsageError(f"`seed` must be at least 0, got {seed}")
    return seed


def case_of(kind: str, plugin: Any, **options: Any) -> Case:
    """What the checks of a plug-in share; `options` as in `check_scheme` or `check_attack`."""
    if kind == "scheme":
        return SchemeCase(plugin, **options)
    return AttackCase(plugin, **options)


def kind_of(case: Case) -> str:
    return "scheme" if isinstance(case, SchemeCase) else "attack"


def known_of(kind: str, plugin: Any, known: Mapping[str, str] | None) -> dict[str, str]:
    """Known failures and their reasons, the plug-in's own declaration included.

    Raises
    ------
    UsageError
        If a name is no check's, or a reason is missing.
    """
    try:
        own = getattr(plugin, "known_failures", None)
    except (Exception, SystemExit):  # noqa: BLE001 - a breach of members-there
        own = None
    if own is not None and not isinstance(own, Mapping):
        raise UsageError(f"`known_failures` must map checks to reasons, got {type(own).__name__}")
    found = {**(own or {}), **(known or {})}
    for name, reason in found.items():
        one_of(kind, str(name))
        if not isinstance(reason, str) or not reason.strip():
            raise UsageError(f"a known failure of {name} must give its reason, got {reason!r}")
    return found


def outcomes_of(
    case: Case,
    *,
    known: Mapping[str, str] | None = None,
    only: Sequence[str] = (),
    progress: Progress | None = None,
) -> list[Outcome]:
    """Every check of a case, or those that are named."""
    kind = kind_of(case)
    declared = known_of(kind, case.attack if isinstance(case, AttackCase) else case.scheme, known)
    chosen = [one_of(kind, name) for name in only] or list(checks_of(kind))
    found = []
    for done, check in enumerate(chosen):
        found.append(one_outcome(case, check, declared.get(check.name)))
        if progress is not None:
            progress(f"checks of {case.plugin}", done + 1, len(chosen))
    return found


@contextmanager
def _breaches() -> Iterator[None]:
    """What the harness refuses in an answer to an unusual question is a breach, too."""
    try:
        yield
    except ContractError as error:
        raise Breach(error.field, "", error.expected, error.got) from error


def one_outcome(case: Case, check: Check, known: str | None = None) -> Outcome:
    """Run one check.

    Parameters
    ----------
    known : str, optional
        Why it is known to fail.
    """
    blank = Outcome(check=check.name, promise=check.promise, plugin=case.plugin, status="held")
    try:
        with _breaches(), threadpool_limits(1):
            check.run(case)
    except Breach as breach:
        status = "broken" if known is None else "known"
        return replace(
            blank,
            status=status,
            where=breach.place,
            expected=breach.expected,
            got=breach.got,
            reason=known or "",
        )
    except NotApplicable as reason:
        found = replace(blank, status="not-applicable", reason=str(reason))
    except CouldNotRun as reason:
        return replace(blank, status="could-not-run", reason=str(reason))
    except (CorpusError, UsageError) as reason:  # data, not the plug-in
        return replace(blank, status="could-not-run", reason=str(reason))
    except (Exception, SystemExit) as error:  # noqa: BLE001 - a stranger's parts may raise anything, anywhere
        return replace(
            blank,
            status="broken" if known is None else "known",
            where=Place(member="the plug-in"),
            expected="an answer",
            got=raised(error),
            reason=known or "",
        )
    else:
        found = blank
    if known is None:
        return found
    return replace(
        found,
        status="broken",
        where=Place(member="known failures", field=check.name),
        expected=f"that it fails, as declared ({known})",
        got="no failure: take the declaration away",
    )
