"""`keyassay gate`: has leakage gone up? It reads, and writes only where it is told to."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from harness.cli.edits import edited_files
from harness.cli.files import check_file_writable, read_result, write_text
from harness.cli.options import audit_options, complete_names
from harness.cli.progress import progress_bars
from harness.cli.root import INTERNAL, REGRESSION, UNDECIDED
from harness.cli.words import line

if TYPE_CHECKING:
    from harness.baseline import Baseline
    from harness.claims.model import Claims
    from harness.claims.record import ClaimsRecord
    from harness.results import Audit
    from harness.verdicts import Verdict

__all__ = ["gate"]

_STATUS = {"pass": 0, "fail": REGRESSION, "undecided": UNDECIDED}


@click.command()
@click.argument("result", required=False, type=click.Path(path_type=Path))
@click.option("--baseline", type=click.Path(path_type=Path), help="What the result must not be worse than.")
@click.option(
    "--anchor",
    type=click.Path(path_type=Path),
    help="A fixed older baseline too, so that small leaks cannot add up.",
)
@click.option(
    "--old",
    metavar="SCHEME",
    shell_complete=complete_names("scheme"),
    help="Instead of RESULT and --baseline: the version before ...",
)
@click.option(
    "--new",
    metavar="SCHEME",
    shell_complete=complete_names("scheme"),
    help="... and the version after, both audited now, under this version of the attacks.",
)
@click.option(
    "--claims", type=click.Path(path_type=Path), help="A claims file: its margins, and its claims."
)
@click.option(
    "--margin",
    "margins",
    multiple=True,
    metavar="MEASURE=VALUE",
    help="How much worse a measure may become, e.g. key-rank=2; may be repeated.",
)
@click.option(
    "--level",
    type=click.FloatRange(0, 0.5, min_open=True, max_open=True),
    default=0.01,
    show_default=True,
    help="Chance that a run in which nothing got worse fails, over all metrics.",
)
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "markdown", "json", "junit"]),
    default="text",
    show_default=True,
    help="What is printed.",
)
@click.option("--junit", type=click.Path(dir_okay=False, path_type=Path), help="Write JUnit XML there too.")
@click.option(
    "--summary",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Append a Markdown summary there.",
)
@click.option(
    "--since",
    metavar="REVISION",
    help="Say whether baseline or claims were edited since this git revision. Default: uncommitted edits.",
)
@audit_options
def gate(
    result: Path | None,
    baseline: Path | None,
    anchor: Path | None,
    old: str | None,
    new: str | None,
    claims: Path | None,
    margins: tuple[str, ...],
    level: float,
    form: str,
    junit: Path | None,
    summary: Path | None,
    since: str | None,
    **options: Any,
) -> None:
    """Hold a result against a baseline: fail when, and only when, leakage went up.

    RESULT is a result.json or the folder that holds one. Each measure passes if the upper limit of its
    harm lies below its margin, else fails if the harm is significant, else is undecided, which never
    passes.

    \b
    Examples:
      keyassay gate out --baseline baseline.json --anchor release-1.json
      keyassay gate --old old.py:Mine --new new.py:Mine --subjects 60 --jobs 2

    The audit's options below belong to --old and --new.
    """
    from harness.baseline import read_baseline
    from harness.claims.judging import judge
    from harness.claims.reading import read_claims
    from harness.errors import UsageError
    from harness.gating import gate as run
    from harness.margins import chosen_margins, parsed_margins

    if (old is None) != (new is None) or (old is None) == (result is None):
        raise UsageError("the gate must be given RESULT and `--baseline`, or `--old` and `--new`")
    if result is not None and baseline is None:
        raise UsageError("RESULT must be held against something: give `--baseline FILE`")
    if old is not None and baseline is not None:
        raise UsageError("`--old` is the baseline of `--new`: leave `--baseline` out")
    for path in (junit, summary):
        if path is not None:
            check_file_writable(path)
    claimed: Claims | None = None if claims is None else read_claims(claims)
    asked: Mapping[str, float] = {**(claimed.margins if claimed else {}), **parsed_margins(margins)}
    chosen_margins(asked)
    fixed: Baseline | None = None if anchor is None else read_baseline(anchor)
    candidate: Audit
    held: Baseline | Audit
    if result is not None and baseline is not None:
        held, candidate = read_baseline(baseline), read_result(result)
    else:
        held, candidate = _audited(old, options), _audited(new, {**options, "claims": claimed})
    verdict = run(candidate, baseline=held, anchor=fixed, margins=asked, level=level)
    own = [p for p in (baseline, anchor, claims) if p is not None]
    verdict = _noticed(verdict, [*edited_files(own, since), *_other_claims(held, claims)])
    record = judge(claimed, candidate) if claimed is not None else None
    _say(verdict, record, form=form, junit=junit, summary=summary)
    statuses = {_STATUS[verdict.outcome]}
    if record is not None:
        from harness.claims.judging import exit_status

        statuses.add(exit_status(record))
    if candidate.failed:
        for row in candidate.select(status="failed"):
            click.echo(
                line(f"failed: {row.scheme}, {row.attack or 'the scheme itself'}: {row.reason}"), err=True
            )
        sys.exit(INTERNAL)
    sys.exit(REGRESSION if REGRESSION in statuses else UNDECIDED if UNDECIDED in statuses else 0)


def _audited(scheme: str | None, options: Mapping[str, Any]) -> Audit:
    from harness.auditing import audit as run

    attacks = list(options["attacks"]) or "all"
    with progress_bars() as progress:
        return run(scheme, **{**options, "attacks": attacks}, progress=progress)


def _noticed(verdict: Verdict, notices: list[str]) -> Verdict:
    from dataclasses import replace

    return replace(verdict, notices=[*notices, *verdict.notices])


def _other_claims(held: Baseline | Audit, claims: Path | None) -> list[str]:
    from harness.baseline import Baseline, file_hash

    if not isinstance(held, Baseline) or held.claims is None:
        return []
    if claims is None:
        return ["The baseline was made beside a claims file, and this gate was given none."]
    if file_hash(claims) != held.claims:
        return ["The claims file is not the one that the baseline was made beside."]
    return []


def _say(
    verdict: Verdict, record: ClaimsRecord | None, *, form: str, junit: Path | None, summary: Path | None
) -> None:
    from reports.claims_text import claim_lines, claims_headline, claims_markdown
    from reports.gate import annotations, to_json, to_markdown, to_text
    from reports.junit import to_junit

    markdown = to_markdown(verdict) + ("" if record is None else f"\n{claims_markdown(record)}")
    if junit is not None:
        write_text(junit, to_junit(verdict=verdict, claims=record))
    if summary is not None:
        with summary.open("a", encoding="utf-8", newline="\n") as file:
            file.write(markdown + "\n")
    match form:
        case "json":
            click.echo(to_json(verdict, record), nl=False)
        case "junit":
            click.echo(to_junit(verdict=verdict, claims=record), nl=False)
        case "markdown":
            click.echo(markdown)
        case _:
            click.echo(to_text(verdict))
            if record is not None:
                click.echo(claims_headline(record))
    for note in [*annotations(verdict), *(claim_lines(record) if record is not None else [])]:
        click.echo(line(note), err=True)
