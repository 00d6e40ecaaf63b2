"""The curves of a sweep as SVG, in the inks of the page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas

from harness.sidebyside import QUANTITIES
from harness.swept import CURVES, Parameter, Point, Sweep
from reports.drawing import CALM, GAINS, INK, svg_text
from reports.model import Figure
from reports.wording import clean, folded

__all__ = ["MOST_CURVES", "draw_curves", "drawn_parameters", "setting_text"]

MOST_CURVES = 8
_SHARES = ("agreement", "odds-1", "odds-2^20", "odds-2^40")
# Okabe and Ito's colour-blind-safe set; the marker tells apart what the colour does
_LOOKS = (
    (CALM, "o"), (GAINS, "s"), ("#009e73", "^"), ("#cc79a7", "D"),
    ("#e69f00", "v"), ("#56b4e9", "P"), (INK, "X"), ("#8a8a8a", "*"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Curve:
    label: str
    points: tuple[tuple[float, Point], ...]  # place on the axis, point


def setting_text(value: Any) -> str:
    """A value of a parameter in a few letters; the files hold all digits.

    Examples
    --------
    >>> setting_text(0.30000000000000004), setting_text(4), setting_text("golay-24-12")
    ('0.3', '4', 'golay-24-12')
    """
    return f"{value:.6g}" if isinstance(value, float) else clean(value)


def drawn_parameters(sweep: Sweep) -> tuple[Parameter, Parameter | None] | None:
    """The parameter along the axis, and the one that has a curve for each value.

    None if both take more values than curves can be told apart.
    """
    if len(sweep.parameters) == 1:
        return sweep.parameters[0], None
    along, across = sweep.parameters
    if len(across.values) > MOST_CURVES:
        along, across = across, along
    return (along, across) if len(across.values) <= MOST_CURVES else None


def draw_curves(sweep: Sweep, figure: Figure) -> str:
    """An SVG element: one panel per quantity, a curve with its band for each value of a second parameter.

    `figure` gives key, title and description. The same sweep gives the same bytes.

    Raises
    ------
    ValueError
        If both parameters take more than `MOST_CURVES` values.
    """
    drawn = drawn_parameters(sweep)
    if drawn is None:
        raise ValueError(f"one of two parameters must take at most {MOST_CURVES} values to be drawn")
    along, across = drawn
    places = _places(along)
    curves = _curves(sweep, along, across, places)

    def paint() -> Canvas:
        canvas = Canvas(figsize=(9.6, 7.6), layout="constrained")
        axes: list[Axes] = list(canvas.subplots(3, 3, squeeze=False).flat)
        for axis, quantity in zip(axes, CURVES, strict=False):
            _panel(axis, quantity, curves, sweep.choice.point)
            _ticks(axis, along, places)
        for axis in axes[len(CURVES) :]:
            axis.set_axis_off()
        _legend(axes[len(CURVES)], axes[0], across)
        canvas.supxlabel(clean(along.name), fontsize=9)
        return canvas

    return svg_text(figure, paint)


def _places(along: Parameter) -> list[float]:
    """Where the values stand: numbers by size, others one after another."""
    numbers = all(isinstance(v, int | float) and not isinstance(v, bool) for v in along.values)
    return [float(v) for v in along.values] if numbers else [float(i) for i in range(len(along.values))]


def _curves(
    sweep: Sweep, along: Parameter, across: Parameter | None, places: Sequence[float]
) -> list[_Curve]:
    curves = []
    for value in [None] if across is None else across.values:
        own = [p for p in sweep.points if across is None or p.settings[across.label] == value]
        placed = [(places[along.values.index(p.settings[along.label])], p) for p in own]
        label = "" if across is None else setting_text(value)
        if any(p.rows for p in own):
            curves.append(_Curve(label, tuple(sorted(placed, key=lambda pair: pair[0]))))
    return curves


def _panel(axis: Axes, quantity: str, curves: Sequence[_Curve], chosen: int | None) -> None:
    for curve, (colour, marker) in zip(curves, _LOOKS, strict=False):
        rows = [(x, p.number, p.rows.get(quantity)) for x, p in curve.points]
        x = [place for place, _, _ in rows]
        value = [_number(None if r is None else r.value) for _, _, r in rows]
        low = [_number(None if r is None or r.low is None else r.low) for _, _, r in rows]
        high = [_number(None if r is None or r.high is None else r.high) for _, _, r in rows]
        axis.plot(x, value, color=colour, marker=marker, ms=4, lw=1.2, label=curve.label)
        axis.fill_between(x, low, high, color=colour, alpha=0.16, lw=0)
        for place, number, row in rows:
            if number == chosen and row is not None and row.value is not None:
                axis.plot([place], [row.value], marker="o", ms=10, mfc="none", color=INK, ls="none")
    if quantity in _SHARES:
        axis.set_ylim(-0.04, 1.04)
    else:
        shown = [r for c in curves for _, p in c.points if (r := p.rows.get(quantity)) is not None]
        marks = [v for r in shown for v in (r.value, r.low, r.high) if v is not None]
        least, most = min([0.0, *marks]), max([0.0, *marks])
        room = 0.05 * (most - least) or 1.0  # all are 0: any scale will do
        axis.set_ylim(least - room, most + room)
    axis.set_title("\n".join(folded(_title(quantity, curves), 38)), loc="left", fontsize=8.5)


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def _title(quantity: str, curves: Sequence[_Curve]) -> str:
    title = next(q.title for q in QUANTITIES if q.slug == quantity)
    units = {r.unit for c in curves for _, p in c.points if (r := p.rows.get(quantity)) is not None}
    told = sorted(units - {"probability", "log2", "none"})
    return f"{title}, {clean(told[0])}" if len(told) == 1 else title


def _ticks(axis: Axes, along: Parameter, places: Sequence[float]) -> None:
    if [float(i) for i in range(len(places))] == list(places) and len(places) <= 12:
        labels = [setting_text(v) for v in along.values]
        axis.set_xticks(places, labels, rotation=30 if max(map(len, labels)) > 5 else 0, fontsize=7.5)
        axis.set_xlim(-0.4, len(places) - 0.6)


def _legend(axis: Axes, source: Axes, across: Parameter | None) -> None:
    axis.text(
        0, 1, "ring: the chosen point\nband: interval", va="top", fontsize=8.5, transform=axis.transAxes
    )
    if across is not None:
        handles, labels = source.get_legend_handles_labels()
        axis.legend(
            handles,
            labels,
            title=clean(across.name),
            loc="upper left",
            bbox_to_anchor=(0, 0.8),
            frameon=False,
            fontsize=8,
            title_fontsize=8.5,
        )
