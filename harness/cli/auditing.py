"""`keyassay audit`: set adversaries on schemes and report what they get."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from harness.cli.files import check_writable
from harness.cli.one_audit import audited
from harness.cli.options import audit_options, complete_names

__all__ = ["audit"]


@click.command()
@click.argument("schemes", nargs=-1, metavar="[SCHEME]...", shell_complete=complete_names("scheme"))
@audit_options
@click.option(
    "--claims",
    type=click.Path(path_type=Path),
    help="A claims file: its claims are judged, and open threats must be scoped out.",
)
@click.option(
    "--stratum",
    metavar="KIND=LABEL",
    help="Attack and count only attempts of one day, devices, condition or group of a recorded corpus, "
    "as in condition=rest.",
)
@click.option(
    "--learn-from",
    metavar="KIND=LABEL",
    help="Let adversaries learn only from such attempts of other people. Default: the stratum attacked.",
)
@click.option(
    "--by",
    metavar="KIND",
    help="Audit every stratum of a kind by itself; results go to a folder each below --out.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("audit"),
    show_default=True,
    help="Folder for result.json, report.html and report.md; files of these names are replaced.",
)
def audit(
    schemes: tuple[str, ...],
    attacks: tuple[str, ...],
    corpus: str | None,
    claims: Path | None,
    out: Path,
    by: str | None,
    **options: Any,
) -> None:
    """Set adversaries on schemes and report what they get.

    SCHEME is a registered name (see `keyassay list`), a Python file, file.py:Name, a TOML file of parts or
    of a program, or a log of finished exchanges, file.csv or file.npz, with the people it brings along.
    Parameters follow as in envelope-trend:window_s=0.15,blocks=4 and file.toml:quantiser.window_s=0.15.
    Default: envelope-trend.

    \b
    Examples:
      keyassay audit --jobs 2
      keyassay audit my_scheme.py:MyScheme --attack mimicry --attack mimicry+replay
      keyassay audit interval-gray --corpus recordings/manifest.csv --by condition
      keyassay audit exchanges.csv
    """
    if by is not None:
        if options["stratum"] is not None:
            raise click.UsageError("--by audits every stratum of a kind: give no --stratum")
        from harness.cli.strata import every_stratum

        sys.exit(every_stratum(by, schemes, attacks, corpus, claims, out, **options))
    check_writable(out)
    sys.exit(audited(schemes, attacks, corpus, claims, out, **options))
