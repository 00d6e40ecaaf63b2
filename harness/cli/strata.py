"""`keyassay audit --by KIND`: one audit for each day, device pair, condition or group."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click

from harness.cli.files import check_writable
from harness.cli.one_audit import audited
from harness.cli.root import INTERNAL, REGRESSION, UNDECIDED
from harness.cli.words import line

__all__ = ["every_stratum"]

_GRAVEST = (INTERNAL, REGRESSION, UNDECIDED, 0)


def every_stratum(
    kind: str,
    schemes: tuple[str, ...],
    attacks: tuple[str, ...],
    corpus: str | None,
    claims: Path | None,
    out: Path,
    **options: Any,
) -> int:
    """Audit every stratum of a kind; the gravest exit status."""
    from harness.choosing import chosen_corpus
    from harness.strata import values_of

    size = {name: options[name] for name in ("subjects", "sessions", "attempts", "seed")}
    labels = values_of(chosen_corpus(corpus, **size), kind)
    folders = {label: out / _folder(kind, label, number) for number, label in enumerate(labels)}
    for folder in folders.values():
        check_writable(folder)
    status = []
    for label, folder in folders.items():
        click.echo(line(f"== {kind} {label} =="))
        each = {**options, "stratum": f"{kind}={label}"}
        status.append(audited(schemes, attacks, corpus, claims, folder, **each))
    return next(s for s in _GRAVEST if s in status)


def _folder(kind: str, label: str, number: int) -> str:
    """A name that no label can lead out of the folder with."""
    slug = re.sub(r"[^a-z0-9]+", "-", label.lower()).strip("-")[:40]
    return f"{kind}-{number}-{slug}" if slug else f"{kind}-{number}"
