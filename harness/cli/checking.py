"""`keyassay check`: the contract run against a plug-in."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from contextlib import redirect_stdout
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click

from harness.cli.options import complete_names
from harness.cli.progress import progress_bars
from harness.cli.root import INTERNAL, UNDECIDED
from harness.cli.words import line

if TYPE_CHECKING:
    from harness.checks import Outcome

__all__ = ["check"]


@click.command()
@click.argument("plugin", required=False, shell_complete=complete_names("scheme"))
@click.option(
    "--kind",
    type=click.Choice(["auto", "scheme", "attack"]),
    default="auto",
    show_default=True,
    help="What the plug-in is; auto: what it has the members of.",
)
@click.option(
    "--corpus",
    metavar="PATH|NAME",
    shell_complete=complete_names("corpus"),
    help="People to run it on. Default: a small simulated corpus with its signal, else noise.",
)
@click.option(
    "--scheme",
    metavar="SCHEME",
    shell_complete=complete_names("scheme"),
    help="What an attack is set on. Default: a registered scheme that reads the corpus.",
)
@click.option(
    "--seed", type=click.IntRange(0), default=0, show_default=True, help="Same seed, same outcomes."
)
@click.option("--only", multiple=True, metavar="CHECK", help="This check alone; may be repeated.")
@click.option("--list", "listing", is_flag=True, help="Show the checks and their promises, and run none.")
@click.option(
    "--known",
    multiple=True,
    metavar="CHECK=REASON",
    help="A failure that is known, and why; may be repeated. One that does not fail counts as broken "
    "(status 3).",
)
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
def check(
    plugin: str | None,
    kind: str,
    corpus: str | None,
    scheme: str | None,
    seed: int,
    only: Sequence[str],
    listing: bool,
    known: Sequence[str],
    form: str,
) -> None:
    """Run the contract against PLUGIN: a registered name, file.py:Name, or a scheme's file.toml.

    Every promise is a check by name. The plug-in runs in this process, as its author would run it: an
    audit runs a stranger's attack in a process of its own, where no keys are; here the keys are those of
    made-up or chosen people.

    What it prints goes to standard error.

    \b
    Example:
      keyassay check their_scheme.py:TheirScheme --known list-true="no list yet"

    Exit status: 0 all that apply are kept, or known to fail; 3 a promise is broken; 4 a check could not
    run; 2 usage.
    """
    if listing:
        _list(kind, form)
        return
    if plugin is None:
        raise click.UsageError("PLUGIN must be given, got none")
    from harness.checks import check_attack, check_scheme

    reasons = _known(known)
    # what a plug-in prints must not stand among outcomes
    with redirect_stdout(sys.stderr):
        found_kind, value = _plugin(plugin, kind)
        if scheme is not None and found_kind == "scheme":
            raise click.UsageError("`--scheme` is for an attack, and the plug-in is a scheme")
        people, attacked = _given(corpus, scheme, seed)
    with progress_bars() as progress, redirect_stdout(sys.stderr):
        options: dict[str, Any] = {
            "corpus": people,
            "seed": seed,
            "known": reasons,
            "only": only,
            "progress": progress,
        }
        if found_kind == "scheme":
            outcomes = check_scheme(value, **options)
        else:
            outcomes = check_attack(value, scheme=attacked, **options)
    click.echo(_json(found_kind, outcomes) if form == "json" else _text(outcomes))
    statuses = {outcome.status for outcome in outcomes}
    if "broken" in statuses:
        sys.exit(INTERNAL)
    if "could-not-run" in statuses:
        sys.exit(UNDECIDED)


def _known(words: Sequence[str]) -> dict[str, str]:
    found = {}
    for word in words:
        name, equals, reason = word.partition("=")
        if not equals or not name.strip() or not reason.strip():
            raise click.UsageError(f"`--known` must read CHECK=REASON, got {word!r}")
        found[name.strip()] = reason.strip()
    return found


def _plugin(spec: str, kind: str) -> tuple[str, Any]:
    """Its kind and the plug-in, as it is: whether it has all members is a check."""
    from harness.checks.loading import loaded

    return loaded(spec, kind)


def _given(corpus: str | None, scheme: str | None, seed: int) -> tuple[Any, Any]:
    """People and scheme that are named; a name that is none stops before the first check."""
    from harness.checks.sources import given_people
    from harness.plugins import resolve

    people = None if corpus is None else given_people(corpus, seed=seed)
    return people, None if scheme is None else resolve("scheme", scheme).value


def _list(kind: str, form: str) -> None:
    from harness.checks import checks_of

    kinds = ["scheme", "attack"] if kind == "auto" else [kind]
    rows = [(k, c.name, c.promise) for k in kinds for c in checks_of(k)]
    if form == "json":
        told = [{"kind": k, "check": name, "promise": promise} for k, name, promise in rows]
        click.echo(json.dumps(told, indent=1))
        return
    for k in kinds:
        click.echo(f"Checks of {k}s")
        for of, name, promise in rows:
            if of == k:
                click.echo(f"  {name}")
                click.echo("\n".join(f"      {row}" for row in wrap(promise, 94, break_on_hyphens=False)))
        click.echo()


def _json(kind: str, outcomes: Sequence[Outcome]) -> str:
    plugin = outcomes[0].plugin if outcomes else ""
    facts = {"version": 1, "kind": kind, "plugin": plugin, "checks": [o.facts() for o in outcomes]}
    return json.dumps(facts, indent=1)


def _text(outcomes: Sequence[Outcome]) -> str:
    width = max((len(o.check) for o in outcomes), default=0)
    lines = [f"{o.check:{width}}  {o.status}{_why(o)}" for o in outcomes]
    counts = {s: sum(o.status == s for o in outcomes) for s in _ORDER}
    told = ", ".join(f"{n} {s.replace('-', ' ')}" for s, n in counts.items() if n)
    broken = [line(o.sentence) for o in outcomes if o.status == "broken"]
    where = "(run in this process)"
    plugin = line(outcomes[0].plugin) if outcomes else ""
    return "\n".join([*lines, *([""] if broken else []), *broken, "", f"{plugin} {where}: {told}"])


_ORDER = ("held", "broken", "known", "not-applicable", "could-not-run")


def _why(outcome: Outcome) -> str:
    """A word on what is neither kept nor broken; what is broken is told in full below."""
    if outcome.status in ("held", "broken"):
        return ""
    return f": {line(outcome.reason)}"
