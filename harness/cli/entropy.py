"""`keyassay entropy`: how much min-entropy a file of symbols could have at most."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from harness.cli.progress import progress_bars
from harness.cli.words import line

if TYPE_CHECKING:
    from harness.entropy_record import EntropyFile, IidRecord, RestartRecord

__all__ = ["entropy"]


@click.command()
@click.argument("path", metavar="FILE", type=click.Path(path_type=Path))
@click.option(
    "--as",
    "kind",
    type=click.Choice(["bits", "integers", "bytes", "array"]),
    help="What the file holds, where its content could be either.",
)
@click.option(
    "--bits-per-symbol",
    type=click.IntRange(1, 8),
    help="Raw bytes are cut into symbols of so many bits (default: 8); others have as few as hold them.",
)
@click.option("--array", metavar="NAME", help="Which array of an NPZ archive.")
@click.option(
    "--restarts", type=click.IntRange(2), help="The file holds so many restarts of equal length in a row."
)
@click.option(
    "--initial",
    type=float,
    metavar="BITS",
    help="Entropy a symbol of a sequence of its own, for restarts to be held against. Default: FILE's own.",
)
@click.option("--skip-iid", is_flag=True, help="Leave out the tests of independence, the longest part.")
@click.option(
    "--permutations", type=click.IntRange(1666), default=10_000, show_default=True, help="Of those tests."
)
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True, help="Same seed, same bytes.")
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="Output.",
)
def entropy(
    path: Path,
    kind: str | None,
    bits_per_symbol: int | None,
    array: str | None,
    restarts: int | None,
    initial: float | None,
    skip_iid: bool,
    permutations: int,
    seed: int,
    form: str,
) -> None:
    """Assess the min-entropy of a file of bits or symbols by NIST SP 800-90B (2018).

    FILE is text (characters 0 and 1, or whole numbers between spaces or commas), raw bytes, or a NumPy
    file or archive; a two-dimensional array holds one restart a row. Ten estimators, tests of
    independence, the restart test and the cutoffs of health tests are run. An estimate is the most
    that may be claimed: what no estimator sees only lowers it. Nothing here certifies a source.

    \b
    Examples:
      keyassay entropy bits.txt
      keyassay entropy noise.bin --bits-per-symbol 4 --format json
      keyassay entropy witness.npy --skip-iid
    """
    from harness.entropy_assessment import assess
    from harness.symbol_files import read_symbols

    file = read_symbols(path, kind=kind, array=array, bits=bits_per_symbol)
    with progress_bars() as progress:
        found = assess(
            file,
            restarts=restarts,
            initial=initial,
            permutations=None if skip_iid else permutations,
            seed=seed,
            progress=progress,
        )
    if form == "json":
        click.echo(found.model_dump_json(indent=2))
        return
    for text in _lines(found):
        click.echo(text)


def _lines(found: EntropyFile) -> list[str]:
    """Everything that was found, for a terminal."""
    from tabulate import tabulate

    kinds = {"bits": "characters 0 and 1", "integers": "whole numbers", "bytes": "raw bytes"}
    read = kinds.get(found.read_as, "a NumPy array")
    rows = [
        (e.method, e.of, _number(e.value), _number(e.ceiling), line(e.reason or ""))
        for e in found.estimates
    ]
    wanting = [f"  {of} {method}: {why}." for method, of, _, _, why in rows if why]
    text = [
        f"{found.symbols} symbols of {found.bits_per_symbol} bit{'s' * (found.bits_per_symbol > 1)}, "
        f"{found.different_symbols} different, read as {read}",
        "",
        tabulate(
            [row[:4] for row in rows],
            headers=["estimator", "of", "bits each", "ceiling"],
            tablefmt="simple",
            disable_numparse=True,
        ),
        *wanting,
        "",
        "Ceiling: about what the estimator says of a perfect source at this length.",
        f"Of symbols as they are: {_number(found.literal)} bits a symbol.",
    ]
    if found.bitstring is not None:
        text.append(f"Of the bits they are written in: {_number(found.bitstring)} bits a symbol.")
    text.append(
        f"Assessed: {_number(found.assessed)} bits a symbol, the most that may be claimed; "
        f"{found.decides} decides."
    )
    text += ["", *_iid(found.iid)]
    if found.restart is not None:
        text += ["", *_restart(found.restart)]
    text += ["", _health(found)]
    return [*text, "", *(line(remark) for remark in found.remarks)]


def _number(value: float | None) -> str:
    # adding 0 takes the sign off a zero
    return "-" if value is None else f"{round(value, 6) + 0.0:.6f}"


def _iid(found: IidRecord | None) -> list[str]:
    if found is None:
        return ["Independent and alike: not tested (--skip-iid)."]
    outcome = {
        "rejected": f"rejected by {', '.join(found.rejecting)}; symbols that are both are rejected with a "
        "chance of .026 at most",
        "undecided": "undecided; nothing rejects",
        "not rejected": "nothing speaks against it, which is no proof",
    }[found.outcome]
    text = [f"Independent and alike: {outcome}."]
    return text + [
        f"  {test.name} needs more data: {line(test.reason or '')}."
        for test in found.tests
        if test.rejected is None
    ]


def _restart(found: RestartRecord) -> list[str]:
    return [
        f"Restarts: {'passed' if found.passed else 'NOT passed'} ({found.remark}).",
        f"  Rows {_number(found.row)}, columns {_number(found.column)} bits a symbol"
        + ("; less than half of what all symbols say." if found.halved else "."),
        f"  Most common symbol of any row {found.row_count} times (at most {found.row_cutoff}), of any "
        f"column {found.column_count} times (at most {found.column_cutoff}).",
    ]


def _health(found: EntropyFile) -> str:
    if found.health is None:
        return "Health tests: no cutoff exists without entropy."
    health = found.health
    proportion = (
        "an adaptive proportion that could never alarm"
        if health.adaptive_proportion is None
        else f"{health.adaptive_proportion} equal to the first of {health.window}"
    )
    return (
        f"Health tests at {_number(health.entropy)} bits and a false alarm of 2^-20: "
        f"{health.repetition_count} equal in a row, {proportion}. "
        "If the true entropy is lower, they alarm more often."
    )
