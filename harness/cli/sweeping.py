"""`keyassay sweep`: one or two parameters varied, and where the good settings lie."""

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

__all__ = ["sweep"]


@click.command()
@click.argument("scheme", shell_complete=complete_names("scheme"))
@click.option(
    "--vary",
    multiple=True,
    required=True,
    metavar="NAME=START:STOP:N|NAME=a,b,c",
    help="A parameter of the scheme or the corpus, and its values; once or twice. scheme.NAME or "
    "corpus.NAME where both have it.",
)
@audit_options
@click.option(
    "--claims",
    type=click.Path(path_type=Path),
    help="A claims file: the best settings are those at which all claims hold.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("sweep"),
    show_default=True,
    help="Folder for sweep.html, sweep.csv and sweep.json; files of these names are replaced.",
)
def sweep(
    scheme: str,
    vary: tuple[str, ...],
    attacks: tuple[str, ...],
    corpus: str | None,
    claims: Path | None,
    out: Path,
    **options: Any,
) -> None:
    """Vary one or two parameters on the same people, and confirm the best setting on others.

    A range START:STOP:N has N evenly spaced values, both ends included. The chosen point is checked on
    people who had no part in choosing it: freshly simulated ones, or a third of the recorded ones.

    \b
    Examples:
      keyassay sweep envelope-trend --vary window_s=0.1:0.3:5 --subjects 20
      keyassay sweep interval-gray --vary cell_s=0.004,0.008 --vary remote_error_s=0.01,0.03
    """
    from harness.sweeping import sweep as run
    from reports.sweep_text import sweep_csv, sweep_html, sweep_text

    check_writable(out)
    with progress_bars() as progress:
        found = run(
            scheme,
            vary=list(vary),
            claims=claims,
            attacks=list(attacks) or "all",
            corpus=corpus,
            progress=progress,
            **options,
        )
    # all are whole before any is written
    files = {"sweep.json": found.to_json(), "sweep.csv": sweep_csv(found), "sweep.html": sweep_html(found)}
    text = sweep_text(found)
    out.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        write_text(out / name, content)
    click.echo(text)
    click.echo(f"Sweep: {out / 'sweep.html'}")
    if found.failed:
        confirmed = found.choice.confirmation
        audits = [(f"point {p.number}", p.audit) for p in found.points if p.audit is not None]
        audits += [("the confirmation", confirmed.audit)] if confirmed else []
        for where, audit in audits:
            for row in audit.select(status="failed"):
                click.echo(
                    line(f"failed: {where}, {row.attack or 'the scheme itself'}: {row.reason}"), err=True
                )
        sys.exit(INTERNAL)
