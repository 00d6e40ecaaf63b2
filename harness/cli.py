"""The command line: the only module that knows everything.

Numerical libraries are imported inside the commands, so that `keyassay --help` answers at once.
"""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    from harness.results import Audit

__all__ = ["main"]

REGRESSION, USAGE, INTERNAL, UNDECIDED, INTERRUPTED = 1, 2, 3, 4, 130


@click.group(
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit status: 0 well; 2 usage or input; 3 internal error or failing plug-in; 130 interrupted.",
)
@click.version_option(package_name="keyassay")
def cli() -> None:
    """How much of a body-derived key can an adversary get?

    keyassay runs a scheme by which two devices on one body derive the same key, sets adversaries on it, and
    says with intervals what they get and what is left.
    """


def _complete(kind: str) -> Callable[[Any, Any, str], list[CompletionItem]]:
    def complete(context: Any, parameter: Any, incomplete: str) -> list[CompletionItem]:
        from click.shell_completion import CompletionItem

        from harness.plugins import names

        known = [CompletionItem(n) for n in names(kind) if n.startswith(incomplete)]
        return [*known, CompletionItem(incomplete, type="file")]

    return complete


@cli.command()
@click.argument("schemes", nargs=-1, metavar="[SCHEME]...", shell_complete=_complete("scheme"))
@click.option(
    "--attack",
    "attacks",
    multiple=True,
    metavar="NAME",
    shell_complete=_complete("attack"),
    help="An attack by name or file.py:Name, or several joined by +; may be repeated. Default: all, and "
    "all of them together.",
)
@click.option(
    "--corpus",
    metavar="PATH|NAME",
    shell_complete=_complete("corpus"),
    help="A manifest or its folder, or a simulated corpus by name. Default: cargo-bike, simulated.",
)
@click.option(
    "--subjects", type=click.IntRange(1), default=60, show_default=True, help="People, if simulated."
)
@click.option("--sessions", type=click.IntRange(1), default=2, show_default=True, help="Sessions of each.")
@click.option(
    "--attempts", type=click.IntRange(1), default=5, show_default=True, help="Attempts per session."
)
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True, help="Same seed, same bytes.")
@click.option("--jobs", type=click.IntRange(1), default=1, show_default=True, help="Worker processes.")
@click.option("--chunk", type=click.IntRange(1), help="Sessions per task; changes only time and memory.")
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
    out: Path,
    **options: Any,
) -> None:
    """Set adversaries on schemes and report what they get.

    SCHEME is a registered name (see `keyassay list`) or a Python file, file.py:Name; parameters follow as
    in envelope-trend:window_s=0.15,blocks=4. Default: envelope-trend.

    \b
    Examples:
      keyassay audit --jobs 2
      keyassay audit my_scheme.py:MyScheme --attack mimicry --attack mimicry+replay
      keyassay audit interval-gray --corpus recordings/manifest.csv
    """
    from harness.auditing import audit as run

    _writable(out)
    with _progress() as progress:
        found = run(
            list(schemes) or "envelope-trend",
            attacks=list(attacks) or "all",
            corpus=corpus,
            progress=progress,
            **options,
        )
    report = _written(found, out)
    from reports import to_text
    from reports.document import document

    click.echo(to_text(document(found)))
    click.echo(f"Threat report: {report}")
    if found.failed:
        for row in found.select(status="failed"):
            who = row.attack or "the scheme itself"
            click.echo(_line(f"failed: {row.scheme}, {who}: {row.reason}"), err=True)
        sys.exit(INTERNAL)


def _writable(out: Path) -> None:
    """Refuse a folder that cannot be written before hours are spent, without leaving anything behind."""
    from harness.errors import UsageError

    # a link that leads nowhere is in the way too
    existing = next(p for p in [out, *out.absolute().parents] if p.exists() or p.is_symlink())
    if not existing.is_dir() or not os.access(existing, os.W_OK):
        raise UsageError(f"`--out` must be a folder that can be written, got {out}")


def _written(found: Audit, out: Path) -> Path:
    """Write the result and its reports; each file is whole or absent."""
    from reports import write_reports

    out.mkdir(parents=True, exist_ok=True)
    part = out / f".result.json.{os.getpid()}.part"
    try:
        part.write_text(found.to_json(), encoding="utf-8", newline="\n")
        os.replace(part, out / "result.json")
    finally:
        part.unlink(missing_ok=True)
    return write_reports(found, out)[0]


@contextmanager
def _progress() -> Iterator[Callable[[str, int, int], None]]:
    """A bar per stage on stderr, if that is a terminal."""
    from tqdm import tqdm

    bars: dict[str, tqdm[Any]] = {}

    def progress(what: str, done: int, total: int) -> None:
        if what not in bars:
            for bar in bars.values():
                bar.close()
            bars[what] = tqdm(total=total, desc=what, file=sys.stderr, disable=None, leave=False)
        bars[what].update(done - bars[what].n)

    try:
        yield progress
    finally:
        for bar in bars.values():
            bar.close()


@cli.command(name="list")
def list_() -> None:
    """Show schemes, attacks, corpora, codes and bodies that are there."""
    from tabulate import tabulate

    from fixtures.bodies import BODIES
    from harness.plugins import names, summary_of
    from schemes.codes import CODES

    for kind in ("scheme", "attack", "corpus", "control"):
        rows = [(name, summary_of(entry.load())) for name, entry in names(kind).items()]
        if rows:
            click.echo(
                tabulate(rows, headers=[kind, "what it is"], tablefmt="simple", maxcolwidths=[None, 70])
            )
            click.echo()
    rows = [
        (name, f"n = {c.n}, k = {c.k}, corrects {c.t}") for name, c in ((n, f()) for n, f in CODES.items())
    ]
    click.echo(tabulate(rows, headers=["code", "what it is"], tablefmt="simple"))
    click.echo()
    click.echo(
        tabulate(BODIES.items(), headers=["body", "what it is"], tablefmt="simple", maxcolwidths=[None, 70])
    )


def _line(text: str) -> str:
    """One printable line: other people's words may hold line breaks and terminal commands."""
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in " ".join(text.split()))


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
        click.echo(f"keyassay: {_line(error.format_message())}", err=True)
        sys.exit(error.exit_code)
    except (UsageError, ContractError, CorpusError) as error:
        click.echo(f"keyassay: {_line(str(error))}", err=True)
        sys.exit(USAGE)
    except KeyboardInterrupt:
        click.echo("keyassay: interrupted", err=True)
        sys.exit(INTERRUPTED)
    except Exception as error:
        # not foreseen: say so in one sentence, and keep the place for whoever mends it
        last = traceback.extract_tb(error.__traceback__)[-1]
        click.echo(
            f"keyassay: internal error, please report: {type(error).__name__}: {_line(str(error))} "
            f"({Path(last.filename).name}, line {last.lineno})",
            err=True,
        )
        if os.environ.get("KEYASSAY_DEBUG"):
            raise
        sys.exit(INTERNAL)
    sys.exit(status if isinstance(status, int) else 0)


if __name__ == "__main__":
    main()
