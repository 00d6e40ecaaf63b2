"""How every figure is drawn: the same data give the same bytes, and both page colours read well.

The drawing uses placeholder inks that are swapped for the page's own colour, so that one file
serves light and dark. Orange-red and blue (from Okabe and Ito's colour-blind-safe set) are
doubled by different markers.
"""

from __future__ import annotations

import io
import re
import warnings
import xml.etree.ElementTree as ET
from collections.abc import Callable
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure as Canvas

from reports.model import Figure
from reports.wording import clean

__all__ = ["CALM", "FAINT", "GAINS", "INK", "svg_text"]

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
ET.register_namespace("", _SVG)
ET.register_namespace("xlink", _XLINK)

INK, FAINT = "#010203", "#040506"  # stand for the page's text colour, and a faint one
GAINS, CALM = "#d55e00", "#0072b2"
_PAGE = {
    INK: "currentColor",
    FAINT: "var(--faint, #888888)",
    GAINS: f"var(--gains, {GAINS})",
    CALM: f"var(--held, {CALM})",
}
_STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",
    "text.parse_math": False,
    "font.family": "sans-serif",
    "font.size": 9.0,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": FAINT,
    "axes.titlecolor": INK,
    "axes.titlesize": 9.5,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "grid.color": FAINT,
    "grid.linewidth": 0.4,
    "xtick.color": FAINT,
    "ytick.color": FAINT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "figure.facecolor": "none",
    "axes.facecolor": "none",
    "savefig.facecolor": "none",
}
_NO_METADATA = {"Date": None, "Creator": None, "Format": None, "Type": None}


def svg_text(figure: Figure, paint: Callable[[], Canvas]) -> str:
    """An SVG element of what `paint` draws in the report's style, with the words of `figure`."""
    with mpl.rc_context(), warnings.catch_warnings():
        mpl.rcdefaults()  # a setting of this machine must not change the report
        mpl.rcParams.update({**_STYLE, "svg.hashsalt": figure.key})
        # A reader's browser has the letters that the measuring font lacks.
        warnings.filterwarnings("ignore", message=r"Glyph \d+")
        buffer = io.StringIO()
        paint().savefig(buffer, format="svg", metadata=_NO_METADATA)
    return _inline(buffer.getvalue(), figure)


def _inline(svg: str, figure: Figure) -> str:
    """The drawing without prolog, with ids of its own, the page's inks, and words for who cannot see it."""
    root = ET.fromstring(svg[svg.index("<svg") :])
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag == f"{{{_SVG}}}style" or child.tag == f"{{{_SVG}}}metadata":
                parent.remove(child)
    for element in root.iter():
        for name, value in element.attrib.items():
            element.set(name, _adapted(name, value, figure.key))
    for name in ("width", "height"):
        root.attrib.pop(name, None)
    root.set("role", "img")
    root.set("style", "stroke-linejoin: round; stroke-linecap: butt")
    for place, (tag, text) in enumerate((("title", figure.title), ("desc", figure.description))):
        element = ET.Element(f"{{{_SVG}}}{tag}", {"id": f"{figure.key}-{tag}"})
        element.text = clean(text)
        root.insert(place, element)
    root.set("aria-labelledby", f"{figure.key}-title {figure.key}-desc")
    return ET.tostring(root, encoding="unicode")


def _adapted(name: str, value: str, key: str) -> str:
    if name == "id":
        return f"{key}-{value}"
    if name == f"{{{_XLINK}}}href":
        return re.sub(r"^#", f"#{key}-", value)
    value = value.replace("url(#", f"url(#{key}-")
    for colour, page in _PAGE.items():
        value = value.replace(colour, page)
    return value
