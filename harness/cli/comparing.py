"""`keyassay compare`: schemes side by side on the same people."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from harness.cli.files import check_writable, write_text
from harness.cli.options import audit_options, complete_names
from harness.cli.progress import progress_bars
from harness.cli.root import INTERNAL
from harness.cli.words import line

__all__ = ["compare"]


@click.command()
@click.argument("schemes", nargs=-1, metavar="SCHEME SCHEME...", shell_complete=complete_names("scheme"))
@audit_options
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("comparison"),
    show_default=True,
    help="Folder for comparison.html, comparison.csv and result.json; files of these names are replaced.",
)
@click.option(
    "--claims",
    type=click.Path(path_type=Path),
    help="A claims file: its outcomes, and the attack potential it rates, stand beside each other.",
)
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "csv"]),
    default="text",
    show_default=True,
    help="What is printed.",
)
def compare(
    schemes: tuple[str, ...],
    attacks: tuple[str, ...],
    corpus: str | None,
    claims: Path | None,
    out: Path,
    form: str,
    **options: Any,
) -> None:
    """Set schemes side by side: the same people, attempts and adversaries for all.

    Differences are paired over people and corrected for their number; which scheme dominates which is said
    for rate, agreement and strength, and never added up to a score.

    \b
    Examples:
      keyassay compare envelope-trend interval-gray --jobs 2
      keyassay compare old.py:Mine:name=old new.py:Mine:name=new --attack mimicry
    """
    from harness.comparing import compare as run
    from reports.comparison import comparison_document
    from reports.comparison_text import comparison_csv, comparison_text
    from reports.html import to_html

    check_writable(out)
    with progress_bars() as progress:
        found = run(
            list(schemes),
            attacks=list(attacks) or "all",
            corpus=corpus,
            claims=claims,
            progress=progress,
            told=lambda sentence: click.echo(line(sentence), err=True),
            **options,
        )
    # all are whole before any is written
    page = to_html(comparison_document(found))
    table = comparison_csv(found)
    text = comparison_text(found)
    out.mkdir(parents=True, exist_ok=True)
    write_text(out / "result.json", found.audit.to_json())
    write_text(out / "comparison.csv", table)
    write_text(out / "comparison.html", page)
    if form == "csv":
        click.echo(table, nl=False)
    else:
        click.echo(text)
        click.echo(f"Comparison: {out / 'comparison.html'}")
    if found.failed:
        for row in found.audit.select(status="failed"):
            who = row.attack or "the scheme itself"
            click.echo(line(f"failed: {row.scheme}, {who}: {row.reason}"), err=True)
        sys.exit(INTERNAL)
    if found.audit.claims is not None:
        from harness.claims.judging import exit_status
        from reports.claims_text import claim_lines

        for sentence in claim_lines(found.audit.claims):
            click.echo(line(sentence), err=True)
        sys.exit(exit_status(found.audit.claims))
