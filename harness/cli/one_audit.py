"""One audit from the command line: run, write, print, and what its status is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from harness.cli.files import write_result
from harness.cli.progress import progress_bars
from harness.cli.root import INTERNAL
from harness.cli.words import line

__all__ = ["audited"]


def audited(
    schemes: tuple[str, ...],
    attacks: tuple[str, ...],
    corpus: str | None,
    claims: Path | None,
    out: Path,
    **options: Any,
) -> int:
    """Run one audit, write and print what came of it, and return the exit status."""
    from harness.auditing import audit as run

    with progress_bars() as progress:
        found = run(
            list(schemes) or "envelope-trend",
            attacks=list(attacks) or "all",
            corpus=corpus,
            claims=claims,
            progress=progress,
            told=lambda sentence: click.echo(line(sentence), err=True),
            **options,
        )
    report = write_result(found, out)
    from reports import to_text
    from reports.document import document

    click.echo(to_text(document(found)))
    click.echo(f"Threat report: {report}")
    if found.failed:
        for row in found.select(status="failed"):
            who = row.attack or "the scheme itself"
            click.echo(line(f"failed: {row.scheme}, {who}: {row.reason}"), err=True)
        return INTERNAL
    if found.claims is not None:
        from harness.claims.judging import exit_status
        from reports.claims_text import claim_lines

        for sentence in claim_lines(found.claims):
            click.echo(line(sentence), err=True)
        return exit_status(found.claims)
    return 0
