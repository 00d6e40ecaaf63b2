"""The threat report as Markdown with pipe tables."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from reports.model import Block, Cell, Code, Document, Facts, Figure, Items, Paragraph, SignOff, Table
from reports.wording import clean

__all__ = ["escape", "to_markdown"]

_LINE = r"\_" * 30
_ENTITIES = {"&": "&amp;", "<": "&lt;", ">": "&gt;"}


def escape(text: object) -> str:
    """Text that Markdown shows letter by letter, in running text and in tables.

    Examples
    --------
    >>> escape("a|b <i> `c` *d*")
    'a\\\\|b &lt;i&gt; \\\\`c\\\\` \\\\*d\\\\*'
    """
    plain = re.sub(r"[\\`*_\[\]|~$!#]", r"\\\g<0>", clean(text))
    return re.sub(r"[&<>]", lambda m: _ENTITIES[m.group()], plain)


def to_markdown(document: Document) -> str:
    """The report in the order of `document`; figures are named, their data stand in the tables."""
    counts = ", ".join(f"{n} {severity}" for severity, n in document.findings or ()) or "none"
    parts = [f"# {escape(document.title)}", escape(document.subtitle), f"Findings: {counts}"]
    for number, section in enumerate(document.sections, start=1):
        parts.append(f"## {number}. {escape(section.title)}")
        parts += [_block(block) for block in section.blocks]
    parts.append("Figures are rounded to three significant digits; result.json holds all of them.")
    return "\n\n".join(parts) + "\n"


def _block(block: Block) -> str:
    writers: dict[type[Any], Callable[[Any], str]] = {
        Paragraph: lambda b: f"### {escape(b.text)}" if b.tone == "scheme" else escape(b.text),
        Facts: _facts,
        Items: _items,
        Table: _table,
        Code: _code,
        SignOff: lambda b: "\n\n".join(f"{escape(label)}: {_LINE}" for label in b.labels),
        Figure: lambda b: f"Figure (drawn in report.html): **{escape(b.title)}.** {escape(b.description)}",
    }
    return writers[type(block)](block)


def _facts(block: Facts) -> str:
    return "\n".join(f"- **{escape(name)}:** {escape(text)}" for name, text in block.pairs)


def _items(block: Items) -> str:
    return "\n".join(
        f"- **{escape(name)}:** {escape(text)}" if name else f"- {escape(text)}"
        for name, text in block.entries
    )


def _table(block: Table) -> str:
    lines = [_line([escape(c) for c in block.columns]), _line(["---"] * len(block.columns))]
    lines += [_line([_cell(c) for c in row]) for row in block.rows]
    above = [f"#### {escape(block.heading)}"] if block.heading else []
    above += [escape(block.caption)] if block.caption else []
    return "\n\n".join([*above, "\n".join(lines)])


def _line(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _cell(cell: Cell) -> str:
    text = f"**{escape(cell.text)}**" if cell.tone == "alarm" else escape(cell.text)
    return f"{text}; {escape(cell.detail)}" if cell.detail else text


def _code(block: Code) -> str:
    text = clean(block.text)
    longest = max((len(run) for run in re.findall(r"`+", text)), default=0)
    fence = "`" * max(3, longest + 1)
    return f"{fence}\n{text}\n{fence}"
