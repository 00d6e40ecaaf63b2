"""`keyassay baseline`: write what later versions are held against, or take a person out of it."""

from __future__ import annotations

from pathlib import Path

import click

from harness.cli.files import check_file_writable, read_result, write_text

__all__ = ["baseline"]


@click.command()
@click.argument("path", metavar="RESULT|FILE", type=click.Path(path_type=Path))
@click.option(
    "--reason", metavar="TEXT", help="Why these values are right; kept in the file for reviewers."
)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="The baseline to write.")
@click.option(
    "--claims", type=click.Path(dir_okay=False, path_type=Path), help="The claims file it belongs to."
)
@click.option("--withdraw", metavar="SUBJECT", help="Take a person out of the baseline FILE, in place.")
def baseline(
    path: Path, reason: str | None, out: Path | None, claims: Path | None, withdraw: str | None
) -> None:
    """Make a baseline of a result, or take a person out of one.

    The file is small and made to be reviewed: the values of people under pseudonyms that pairing needs,
    digests of corpus, scheme and attacks, a reason, and a hash of itself; no raw signal and no key.

    \b
    Examples:
      keyassay baseline out --reason "longer windows" --out baseline.json
      keyassay baseline baseline.json --withdraw 17
    """
    from harness.baseline import baseline_of, file_hash, read_baseline, without
    from harness.errors import UsageError

    if withdraw is not None:
        if reason is not None or out is not None or claims is not None:
            raise UsageError("`--withdraw` changes a baseline in place: leave the other options out")
        left = without(read_baseline(path), withdraw)
        write_text(path, left.text())
        people = {person for c in left.cells for person in c.people}
        click.echo(f"{path}: one person taken out, {len(people)} left.")
        return
    if reason is None or out is None:
        raise UsageError(
            "a baseline needs `--reason TEXT` and `--out FILE`, or FILE and `--withdraw SUBJECT`"
        )
    check_file_writable(out)
    found = read_result(path)
    made = baseline_of(found, reason=reason, claims=None if claims is None else file_hash(claims))
    write_text(out, made.text())
    click.echo(f"{out}: {len(made.cells)} metrics of {made.corpus.subjects} people.")
