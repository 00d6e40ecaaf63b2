"""`keyassay calibrate`: how far the tool can be trusted."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from harness.cli.files import check_writable, write_text
from harness.cli.progress import progress_bars
from harness.cli.root import INTERNAL, REGRESSION
from harness.cli.words import line

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

__all__ = ["calibrate"]


def complete_cases(context: object, parameter: object, incomplete: str) -> list[CompletionItem]:
    """Names of controls and flaws."""
    from click.shell_completion import CompletionItem

    from harness.plugins import names

    known = [*names("control"), *names("flaw")]
    return [CompletionItem(name) for name in known if name.startswith(incomplete)]


@click.command()
@click.option("--quick", is_flag=True, help="Two seeds: a look at whether all runs, not a measurement.")
@click.option(
    "--seeds",
    type=click.IntRange(1),
    help="Audits of each control, planted flaw and twin. Default: 20.",
)
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True, help="Same seed, same bytes.")
@click.option("--jobs", type=click.IntRange(1), default=1, show_default=True, help="Worker processes.")
@click.option(
    "--only",
    multiple=True,
    metavar="NAME",
    shell_complete=complete_cases,
    help="A control, or a flaw and its twin; may be repeated. Default: all.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for calibration.html, calibration.txt and calibration.json; files of these names are "
    "replaced.",
)
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="What is printed.",
)
def calibrate(
    quick: bool, seeds: int | None, seed: int, jobs: int, only: tuple[str, ...], out: Path | None, form: str
) -> None:
    """Measure how far this tool can be trusted.

    Audits controls whose truth is known, schemes with planted flaws and their sound twins, again and again
    on other people, and counts: flaws found, false alarms, intervals that hold the truth, adversaries of
    shuffled pairs at chance.

    \b
    Examples:
      keyassay calibrate --quick --jobs 2
      keyassay calibrate --only noisy-sensor --only shuffled-pairs --out calibration

    Exit status: 0 if every promise that was tested is kept, 1 if one is missed, 3 if an audit failed or
    told nothing of a truth. A promise that so few audits could not have broken is not tested: it is named,
    and changes no status, so that --quick may end with 0 without having measured it.
    """
    from harness.calibration import calibrate as run
    from harness.calibration.calibrating import QUICK, SEEDS
    from reports.calibration_text import calibration_html, calibration_text

    if quick and seeds is not None:
        raise click.UsageError("--quick sets the number of seeds: give no --seeds")
    if out is not None:
        check_writable(out)
    with progress_bars() as progress:
        found = run(
            seeds=seeds or (QUICK if quick else SEEDS),
            seed=seed,
            jobs=jobs,
            only=only,
            progress=progress,
            told=lambda text: click.echo(f"This takes {text}.", err=True),
        )
    # all are whole before any is written
    text, content = calibration_text(found), found.to_json()
    if out is not None:
        page = calibration_html(found)
        out.mkdir(parents=True, exist_ok=True)
        write_text(out / "calibration.json", content)
        write_text(out / "calibration.txt", text)
        write_text(out / "calibration.html", page)
    click.echo(content if form == "json" else text, nl=False)
    if out is not None:
        click.echo(f"Calibration: {out / 'calibration.html'}", err=True)
    for trouble in found.troubles:
        many = f"{trouble.trials} of {found.settings['seeds']}"
        click.echo(line(f"not counted: {trouble.case}, {many}: {trouble.text}"), err=True)
    for verdict in found.verdicts:
        if verdict.holds is None:
            click.echo(line(f"not tested: {verdict.id}: {verdict.text}"), err=True)
    if not found.complete:
        sys.exit(INTERNAL)
    if not found.well:
        sys.exit(REGRESSION)
