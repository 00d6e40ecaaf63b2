"""`keyassay manifest`: propose a manifest from the names of files, or print what a row may hold."""

from __future__ import annotations

import csv
import io
import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import click

from harness.cli.files import check_file_writable, write_text
from harness.cli.root import USAGE
from harness.cli.words import line

__all__ = ["manifest"]

_TOLD = 20  # files that are named


@click.command()
@click.argument("folder", metavar="DIR", required=False, type=click.Path(path_type=Path))
@click.option(
    "--pattern",
    metavar="TEXT",
    help="Names of the files, with columns in braces: '{subject}_{session}_{attempt}_{role}.csv'.",
)
@click.option("--signal", metavar="NAME", help="What was recorded: emg, ecg, acceleration, intervals, ...")
@click.option("--rate", metavar="HZ", help="Sampling rate, where the files do not state it.")
@click.option("--unit", metavar="UNIT", help="Unit of the samples, where the files do not state it.")
@click.option(
    "--set", "stated", multiple=True, metavar="COLUMN=VALUE", help="Any other column, for all files."
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The manifest to write; it must lie in DIR or above. Default: standard output.",
)
@click.option("--schema", is_flag=True, help="Print the JSON Schema of a row.")
@click.pass_context
def manifest(
    context: click.Context,
    folder: Path | None,
    pattern: str | None,
    signal: str | None,
    rate: str | None,
    unit: str | None,
    stated: tuple[str, ...],
    out: Path | None,
    schema: bool,
) -> None:
    """Propose a manifest of the recordings below DIR, from their names.

    Look it over before it is used: `keyassay inspect` says what is in the files. Files that the pattern
    does not fit are listed. A unit is never guessed: it comes from the file's own header or from `--unit`.

    \b
    Examples:
      keyassay manifest lab --pattern '{subject}_{session}_{attempt}_{role}.csv' \\
        --signal emg --rate 1000 --unit uV --out lab/manifest.csv
      keyassay manifest lab --pattern '{subject}/day{day}/{session}-{attempt}.edf' --set role=device-a ...
      keyassay manifest --schema

    Exit status: 2 if the proposal would be no sound manifest; nothing is written then.
    """
    from harness.errors import UsageError

    if schema:
        from harness.recordings.manifest import row_schema

        click.echo(json.dumps(row_schema(), indent=1))
        return
    if folder is None or pattern is None:
        if folder is None and pattern is None:
            click.echo(context.get_help())
            return
        raise UsageError("a manifest is proposed from DIR and `--pattern`: both must be given")
    if not folder.is_dir():
        raise UsageError(f"DIR must be a folder, got {folder}")
    if out is not None:
        check_file_writable(out)
        if out.exists():
            raise UsageError(
                f"{out} is there already and is not overwritten: remove it or name another file"
            )
    options = {"signal": signal, "rate_hz": rate, "unit": unit}
    given = {column: value for column, value in options.items() if value is not None}
    rows = _proposed(folder, pattern, _stated(stated, given), _below(folder, out))
    text = _text(rows)
    wrong = _violations(text, out.name if out is not None else "proposal")
    if wrong:
        for sentence in wrong[:_TOLD]:
            click.echo(line(sentence), err=True)
        if len(wrong) > _TOLD:
            click.echo(f"and {len(wrong) - _TOLD} more", err=True)
        sys.exit(USAGE)
    if out is None:
        click.echo(text, nl=False)
    else:
        write_text(out, text)
        click.echo(f"{out}: {len(rows)} rows. Next: keyassay inspect {out}")


def _stated(words: Sequence[str], given: Mapping[str, str]) -> dict[str, str]:
    from harness.errors import UsageError

    found = dict(given)
    for word in words:
        column, equals, value = word.partition("=")
        if not equals or not column or column in found:
            raise UsageError(f"`--set` must be COLUMN=VALUE, each column once, got {word!r}")
        found[column] = value
    return found


def _below(folder: Path, out: Path | None) -> str:
    """Where DIR lies below the manifest's folder."""
    from harness.errors import UsageError

    if out is None:
        return ""
    above = out.absolute().parent.resolve()
    if not folder.resolve().is_relative_to(above):
        raise UsageError(f"`--out` must lie in DIR or above, as paths stay below the manifest, got {out}")
    path = folder.resolve().relative_to(above).as_posix()
    return "" if path == "." else path


def _proposed(
    folder: Path, pattern: str, stated: Mapping[str, str], below: str
) -> Sequence[Mapping[str, str]]:
    from harness.errors import UsageError
    from harness.recordings.proposing import Pattern, propose

    found = propose(folder, Pattern(pattern), stated, below=below)
    for names, why in (
        (found.unmatched, "does not fit the pattern"),
        (found.ambiguous, "fits the pattern in more than one way"),
    ):
        for name in names[:_TOLD]:
            click.echo(line(f"left out: {name} {why}"), err=True)
        if len(names) > _TOLD:
            click.echo(f"left out: {len(names) - _TOLD} more like it", err=True)
    if not found.rows:
        raise UsageError(
            f"the pattern {pattern!r} must fit at least one recording below {folder}, got none"
        )
    return found.rows


def _text(rows: Sequence[Mapping[str, str]]) -> str:
    from harness.recordings.manifest import OPTIONAL, REQUIRED

    used = [c for c in OPTIONAL if any(row.get(c) for row in rows)]
    handle = io.StringIO(newline="")
    writer = csv.DictWriter(
        handle, [*REQUIRED, *used], restval="", extrasaction="ignore", lineterminator="\n"
    )
    writer.writeheader()
    writer.writerows(rows)
    return handle.getvalue()


def _violations(text: str, name: str) -> list[str]:
    """Everything that is wrong with the rows themselves, and the first contradiction between them."""
    from harness.errors import CorpusError
    from harness.recordings.manifest import each_row, parse_manifest
    from harness.recordings.roster import roster

    raw = text.encode()
    found = [str(one) for one in each_row(raw, name=name) if isinstance(one, CorpusError)]
    if not found:
        try:
            roster(parse_manifest(raw, name=name), name=name)
        except CorpusError as error:
            found.append(str(error))
    return found
