"""`keyassay inspect`: what a corpus holds, how sound it is, and what it can test."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from harness.cli.files import check_writable, write_text
from harness.cli.options import complete_names
from harness.cli.progress import progress_bars
from harness.cli.root import USAGE

__all__ = ["inspect"]


@click.command()
@click.argument("corpus", metavar="CORPUS", shell_complete=complete_names("corpus"))
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for intake.html and intake.json; files of these names are replaced.",
)
@click.option(
    "--synchronise",
    is_flag=True,
    help="Also align the devices of each attempt by the onset of activity; the corpus is not changed.",
)
@click.option(
    "--aligned",
    type=click.Path(dir_okay=False, path_type=Path),
    help="With --synchronise: write a manifest with the devices aligned; it must lie beside the original.",
)
@click.option(
    "--subjects", type=click.IntRange(1), default=6, show_default=True, help="People, if simulated."
)
@click.option("--sessions", type=click.IntRange(1), default=2, show_default=True, help="Sessions of each.")
@click.option(
    "--attempts", type=click.IntRange(1), default=3, show_default=True, help="Attempts per session."
)
def inspect(corpus: str, out: Path | None, synchronise: bool, aligned: Path | None, **size: int) -> None:
    """Look at every capture of a corpus before anything is audited on it.

    CORPUS is a manifest, the folder that holds one, or a registered corpus (see `keyassay list`). What is
    damaged is listed, and the rest is looked at; `keyassay audit` refuses a damaged corpus.

    \b
    Examples:
      keyassay inspect recordings --out intake
      keyassay inspect recordings --synchronise --aligned recordings/aligned.csv

    Exit status: 2 if anything is damaged.
    """
    from harness.intake import inspect as run
    from harness.plugins import file_of, names, resolve
    from reports.intake_text import intake_html, intake_text

    if out is not None:
        check_writable(out)
    registered = corpus.partition(":")[0] in names("corpus") or file_of(corpus) is not None
    path = not registered and (Path(corpus).exists() or "/" in corpus or corpus.endswith(".csv"))
    if aligned is not None:
        check_aligned(Path(corpus), aligned, synchronise=synchronise and path)
    source = Path(corpus) if path else resolve("corpus", corpus, **size).value
    with progress_bars() as progress:
        found = run(
            source,
            attacks=[resolve("attack", name).value for name in names("attack")],
            schemes=[resolve("scheme", name).value for name in names("scheme")],
            synchronise=synchronise,
            progress=progress,
        )
    click.echo(intake_text(found), nl=False)
    if out is not None:
        page = intake_html(found)
        out.mkdir(parents=True, exist_ok=True)
        write_text(out / "intake.json", found.to_json())
        write_text(out / "intake.html", page)
        click.echo(f"\nIntake check: {out / 'intake.html'}")
    if aligned is not None:
        from harness.intake.aligning import aligned_manifest

        write_text(aligned, aligned_manifest(Path(corpus), found.shifts or ()))
        click.echo(f"Aligned by onset, to be audited beside the original: {aligned}")
    if found.complaints:
        sys.exit(USAGE)


def check_aligned(corpus: Path, aligned: Path, *, synchronise: bool) -> None:
    """Refuse a place for an aligned manifest before anything is measured."""
    from harness.errors import UsageError

    if not synchronise:
        raise UsageError("`--aligned` needs `--synchronise` and a recorded corpus")
    folder = corpus if corpus.is_dir() else corpus.parent
    if aligned.absolute().parent.resolve() != folder.resolve():
        raise UsageError(f"`--aligned` must lie beside the manifest, as paths are relative, got {aligned}")
    if aligned.exists():
        raise UsageError(f"{aligned} is there already and is not overwritten: name another file")
