"""A report as one HTML page that loads nothing and runs nothing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from reports.figures import draw
from reports.model import Block, Document, Figure
from reports.wording import clean

__all__ = ["to_html"]

_MARKS = {"alarm": "▲", "open": "○", "hint": "△", "calm": ""}  # shape, so that no verdict rests on colour


def to_html(document: Document, *, drawn: Callable[[Figure], str] = draw) -> str:
    """A self-contained page: inline style and figures, no script, everything from outside escaped.

    Parameters
    ----------
    document : Document
        What `reports.document.document` made of an audit, or another page.
    drawn : callable
        Draws a figure of the page, with every label escaped.
    """
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=_printable,
        keep_trailing_newline=True,
    )
    template = environment.get_template("report.html.jinja")
    # a drawing comes from an XML serialiser, which has escaped every label
    return template.render(
        document=document, marks=_MARKS, draw=lambda figure: Markup(drawn(figure)), kind_of=_kind
    )


def _printable(value: Any) -> Any:
    return clean(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _kind(block: Block) -> str:
    return type(block).__name__
