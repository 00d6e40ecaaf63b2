"""The group of commands, and what every foreseen error comes to: one sentence and a status."""

from __future__ import annotations

import os
import sys
import traceback
from pathlib import Path

import click

from harness.cli.words import line

__all__ = ["INTERNAL", "INTERRUPTED", "REGRESSION", "UNDECIDED", "USAGE", "cli", "main"]

REGRESSION, USAGE, INTERNAL, UNDECIDED, INTERRUPTED = 1, 2, 3, 4, 130


@click.group(
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit status: 0 well; 1 claim refuted or regression; 2 usage or input; 3 internal error or "
    "failing plug-in; 4 undecided, or an untested claim or open threat with --claims; 130 interrupted.",
)
@click.version_option(package_name="keyassay")
def cli() -> None:
    """How much of a body-derived key can an adversary get?

    keyassay runs a scheme by which two devices on one body derive the same key, sets adversaries on it, and
    says with intervals what they get and what is left.
    """


def main() -> None:
    """Run the command; every foreseen error is one sentence and a status."""
    from harness.errors import ContractError, CorpusError, UsageError

    try:
        status = cli.main(prog_name="keyassay", standalone_mode=False)
    except click.exceptions.Abort:
        click.echo("keyassay: interrupted", err=True)
        sys.exit(INTERRUPTED)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        sys.exit(error.exit_code)
    except click.ClickException as error:
        click.echo(f"keyassay: {line(error.format_message())}", err=True)
        sys.exit(error.exit_code)
    except (UsageError, ContractError, CorpusError) as error:
        click.echo(f"keyassay: {line(str(error))}", err=True)
        sys.exit(USAGE)
    except KeyboardInterrupt:
        click.echo("keyassay: interrupted", err=True)
        sys.exit(INTERRUPTED)
    except Exception as error:
        # not foreseen: say so in one sentence, and keep the place for whoever mends it
        last = traceback.extract_tb(error.__traceback__)[-1]
        click.echo(
            f"keyassay: internal error, please report: {type(error).__name__}: {line(str(error))} "
            f"({Path(last.filename).name}, line {last.lineno})",
            err=True,
        )
        if os.environ.get("KEYASSAY_DEBUG"):
            raise
        sys.exit(INTERNAL)
    sys.exit(status if isinstance(status, int) else 0)
