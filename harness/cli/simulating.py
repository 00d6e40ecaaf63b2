"""`keyassay simulate`: a simulated corpus as files, in the format that recordings have."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from harness.cli.options import complete_names
from harness.cli.progress import progress_bars

__all__ = ["simulate"]


@click.command()
@click.argument("scenario", shell_complete=complete_names("corpus"))
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="NAME=VALUE",
    help="A parameter of the scenario, such as condition=pattern or walk_site_b=thigh; may be repeated.",
)
@click.option("--subjects", type=click.IntRange(1), help="People.")
@click.option("--sessions", type=click.IntRange(1), help="Sessions of each.")
@click.option("--attempts", type=click.IntRange(1), help="Attempts per session.")
@click.option("--seed", type=click.IntRange(0), help="Same seed, same bytes.")
@click.option(
    "--signal",
    "signals",
    multiple=True,
    metavar="NAME",
    help="emg, intervals, acceleration; may be repeated. Default: all.",
)
@click.option(
    "--role",
    "roles",
    multiple=True,
    metavar="NAME",
    help="device-a, device-b, mimic and so on; may be repeated. Default: all.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    required=True,
    help="Folder for manifest.csv, the captures and simulation.json; new or empty.",
)
def simulate(
    scenario: str,
    settings: tuple[str, ...],
    signals: tuple[str, ...],
    roles: tuple[str, ...],
    out: Path,
    **size: Any,
) -> None:
    """Write simulated people as a corpus of files.

    SCENARIO is a simulated corpus by name (see `keyassay list`) or a TOML file of its parameters, in which
    `scenario` may name the corpus (default: cargo-bike). What is written is what `keyassay audit --corpus
    DIR` and `keyassay inspect DIR` read; simulation.json says that nobody in it exists, and with which
    parameters it was made. Options go before the file, and the file before defaults.

    \b
    Examples:
      keyassay simulate cargo-bike --subjects 10 --signal emg --out squeezes
      keyassay simulate cargo-bike --signal acceleration --role device-a --role device-b --out walks
      keyassay simulate tired.toml --set fatigue=0.8 --out tired
    """
    from fixtures.simulating import chosen_streams, write_simulation
    from harness.cli.files import check_writable
    from harness.cli.scenarios import scenario_of

    check_writable(out)
    given = {name: value for name, value in size.items() if value is not None}
    corpus = scenario_of(scenario, settings, given)
    streams = chosen_streams(corpus, signals=signals, roles=roles)
    with progress_bars() as progress:
        rows = write_simulation(out, corpus, streams=streams, progress=progress)
    click.echo(f"Simulated corpus: {out / 'manifest.csv'} ({rows} captures of people who do not exist)")
