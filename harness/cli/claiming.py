"""`keyassay claims`: what a scheme promises, and what a result says about it."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from harness.cli.files import read_result
from harness.cli.words import line

if TYPE_CHECKING:
    from collections.abc import Iterator

    from harness.claims.record import ClaimsRecord, Judgement

__all__ = ["claims"]


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option(
    "--result",
    type=click.Path(path_type=Path),
    help="A result.json or the folder that holds one: hold FILE against it.",
)
@click.option("--template", is_flag=True, help="Print a commented claims file to start from.")
@click.option(
    "--effective",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Print all claims that FILE puts in force, presets written out.",
)
@click.option("--schema", is_flag=True, help="Print the JSON Schema of claims files.")
@click.pass_context
def claims(
    context: click.Context,
    file: Path | None,
    result: Path | None,
    template: bool,
    effective: Path | None,
    schema: bool,
) -> None:
    """Hold claims against a result, or help to write them.

    \b
    Examples:
      keyassay claims --template > claims.toml
      keyassay claims --effective claims.toml
      keyassay claims claims.toml --result audit

    Exit status: 1 if a claim is refuted; 4 if one is undecided or untested, or a threat is open and not
    declared out of scope.
    """
    asked = sum((template, schema, effective is not None, file is not None or result is not None))
    if asked == 0:
        click.echo(context.get_help())
        return
    if asked > 1 or (file is None) != (result is None):
        raise click.UsageError(
            "one thing at a time must be asked for: FILE with --result, --effective, --template or --schema"
        )
    if template:
        from harness.claims.writing import template as text

        click.echo(text(), nl=False)
    elif schema:
        from harness.claims.reading import claims_schema

        click.echo(json.dumps(claims_schema(), indent=1, sort_keys=True))
    elif effective is not None:
        from harness.claims.reading import effective as in_force
        from harness.claims.reading import read_claims
        from harness.claims.writing import as_toml

        click.echo(as_toml(in_force(read_claims(effective))), nl=False)
    elif file is not None and result is not None:
        sys.exit(_judge(file, result))


def _judge(file: Path, result: Path) -> int:
    from harness.claims.judging import exit_status, judge
    from harness.claims.reading import read_claims

    written = read_claims(file)
    record = judge(written, read_result(result))
    for text in _lines(record):
        click.echo(text)
    return exit_status(record)


def _lines(record: ClaimsRecord) -> Iterator[str]:
    """Requirement, claim, outcome and rows, indented one under the other."""
    yield line(f"Use of the key: {record.use}")
    for requirement in record.requirements:
        yield ""
        owner = f" ({requirement.owner})" if requirement.owner else ""
        yield line(f"{requirement.id}{owner}: {requirement.text}")
        found = [j for j in record.judgements if j.claim in requirement.claims]
        if not requirement.evidence:
            yield "  WITHOUT EVIDENCE: no claim, or all untested"
        for judgement in found:
            yield from _of_claim(judgement)
    free = [j for j in record.judgements if j.requirement is None]
    if free:
        yield ""
        yield "Claims without a requirement"
        for judgement in free:
            yield from _of_claim(judgement)
    yield from _of_threats(record)


def _of_claim(judgement: Judgement) -> Iterator[str]:
    head = f"{judgement.outcome.upper()} {judgement.claim} [{judgement.scheme}]: {judgement.says}"
    yield "  " + line(head)
    yield "    " + line(judgement.text)
    if judgement.decides:
        yield "    " + line(f"would decide: {judgement.decides}")
    for support in judgement.supports:
        who = support.attack or "honest pair"
        yield "    - " + line(f"{who}: {support.outcome}: {support.why}")
        for used in support.rows:
            row = used.row
            budget = "" if row.budget is None else f", budget {row.budget}"
            yield "      " + line(
                f"{row.measure}{budget}, {row.method}: {row.value} [{row.low}, {row.high}] {row.unit}, "
                f"{row.side}, {row.evidence}, {row.data}, {row.subjects} people, {row.attempts} attempts "
                f"({used.role})"
            )
    for left in judgement.left_out:
        yield "    - " + line(f"not covered: {left}")


def _of_threats(record: ClaimsRecord) -> Iterator[str]:
    if record.open_threats:
        yield ""
        yield "Open threats"
        for threat in record.open_threats:
            scope = f"; out of scope: {threat.scoped_out}" if threat.scoped_out else ""
            yield "  " + line(f"{threat.threat}: {threat.why}{scope}")
    if record.potential:
        yield ""
        yield "Attack potential (points and bands of the Common Evaluation Methodology, partly from memory)"
        for rated in record.potential:
            yield "  " + line(f"{rated.attack}: {rated.points}, {rated.band}: {rated.rationale}")
