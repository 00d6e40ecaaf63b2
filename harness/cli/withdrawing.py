"""`keyassay withdraw`: take a person out of a recorded corpus."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from harness.cli.words import line

if TYPE_CHECKING:
    from collections.abc import Iterator

    from harness.recordings.withdrawing import Withdrawal

__all__ = ["withdraw"]


@click.command()
@click.argument("corpus", metavar="CORPUS", type=click.Path(path_type=Path))
@click.argument("person", metavar="PERSON")
@click.option(
    "--files", is_flag=True, help="Also delete the files that hold this person's recordings alone."
)
def withdraw(corpus: Path, person: str, files: bool) -> None:
    """Take PERSON out of a recorded corpus: every row, as subject and as attacker.

    The manifest is rewritten in one step and no copy of it is kept. Without `--files` the recordings stay
    on the disk. What was made of the corpus before still holds the person, and is listed.

    \b
    Examples:
      keyassay withdraw recordings p17
      keyassay withdraw recordings/manifest.csv p17 --files
    """
    from harness.recordings.withdrawing import withdraw as run

    for sentence in _told(run(corpus, person, files=files), corpus, files):
        click.echo(line(sentence))


def _told(done: Withdrawal, corpus: Path, files: bool) -> Iterator[str]:
    yield (
        f"{corpus}: one person taken out, {done.rows} rows of recordings of them and {done.as_attacker} of "
        f"attempts that they attacked; {done.left} people left."
    )
    for name in done.deleted:
        yield f"deleted: {name}"
    for name in done.kept:
        why = "could not be deleted" if files else "delete it by hand"
        yield f"STILL THERE: {name}, recordings of this person alone ({why})"
    for name in done.shared:
        yield f"STILL THERE: {name}, which holds others' recordings too: write it anew without this person"
    for name in done.mentions:
        yield f"STILL THERE: {name} has rows of this person"
    if done.renumbered:
        yield (
            f"{done.renumbered} people after them are numbered one less from now on: results and "
            f"baselines of before cannot be paired with new ones person by person."
        )
    yield "To be renewed, as they hold the person: results, reports, intake checks and copies made before."
    if done.pseudonym is not None:
        yield (
            f"In them the person has the number {done.pseudonym}: a baseline is rid of them by "
            f"keyassay baseline FILE --withdraw {done.pseudonym}, until it is made anew."
        )
