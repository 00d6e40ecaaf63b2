"""`keyassay list`: what there is to choose from."""

from __future__ import annotations

import click

__all__ = ["list_"]


@click.command(name="list")
def list_() -> None:
    """Show schemes, attacks, corpora, controls, flaws, codes and bodies that are there."""
    from tabulate import tabulate

    from fixtures.bodies import BODIES
    from harness.plugins import names, summary_of
    from schemes.codes import CODES

    for kind in ("scheme", "attack", "corpus", "control", "flaw"):
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
