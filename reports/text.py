"""The verdict table for a terminal of a hundred columns."""

from __future__ import annotations

import textwrap

from tabulate import tabulate

from reports.model import Cell, Document, Facts, Items, Table
from reports.wording import clean, folded

__all__ = ["WIDTH", "to_text"]

WIDTH = 100
# Eight columns and seven gaps of two fill at most the width.
_COLUMNS = (
    ("adversary", 15),
    ("1 guess", 15),
    ("2^20", 7),
    ("2^40", 7),
    ("2^64", 7),
    ("rank", 5),
    ("leakage", 11),
    ("verdict", 19),
)


def to_text(document: Document) -> str:
    """What the terminal shows: verdicts, the honest pair, findings, open threats; 100 columns at most."""
    summary = next(b for b in document.section("first-screen").blocks if isinstance(b, Facts))
    open_list = next(b for b in document.section("first-screen").blocks if isinstance(b, Items))
    parts = [_verdicts(document), _honest(document), _claims(document)]
    counts = ", ".join(f"{n} {severity}" for severity, n in document.findings or ()) or "none"
    parts.append(
        "\n".join(
            [*(_filled(f"{name}: {text}") for name, text in summary.pairs), _filled(f"Findings: {counts}")]
        )
    )
    lines = [_filled(f"{name}: {text}" if name else text, "- ") for name, text in open_list.entries]
    parts.append("\n".join(lines))
    return "\n\n".join(p for p in parts if p) + "\n"


def _verdicts(document: Document) -> str:
    grouped: dict[Cell, list[tuple[Cell, ...]]] = {}
    for table in document.tables("outcome"):
        for row in table.rows:
            grouped.setdefault(row[0], []).append(row[1:])
    shown = []
    for scheme, rows in grouped.items():
        body = [
            [_wrapped(cell, width) for cell, (_, width) in zip(row, _COLUMNS, strict=True)] for row in rows
        ]
        table_text = tabulate(
            body, headers=[n for n, _ in _COLUMNS], tablefmt="simple", disable_numparse=True
        )
        shown.append(f"{_filled(f'{scheme.text} ({scheme.detail})')}\n\n{table_text}")
    return "\n\n".join(shown) or "No adversary was tried."


def _wrapped(cell: Cell, width: int) -> str:
    # The verdict's second line is left to the summary below, or no terminal would hold the table.
    parts = [cell.text] if cell.tone else [cell.text, cell.detail]
    return "\n".join(line for part in parts for line in folded(part, width))


def _honest(document: Document) -> str:
    return "\n".join(
        _honest_line(table, i) for table in document.tables("honest") for i in range(1, len(table.columns))
    )


def _claims(document: Document) -> str:
    return "\n".join(
        _filled(f"Claim {row[0].text} on {row[1].text}: {row[2].text}: {row[3].detail}")
        for table in document.tables("claims")
        for row in table.rows
    )


def _honest_line(table: Table, column: int) -> str:
    said = "; ".join(f"{row[0].text.lower()} {row[column].text}" for row in table.rows)
    return _filled(f"Honest pair, {table.columns[column]}: {said}")


def _filled(text: str, bullet: str = "") -> str:
    return textwrap.fill(
        clean(text), WIDTH, initial_indent=bullet, subsequent_indent="  ", break_on_hyphens=False
    )
