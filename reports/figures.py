"""The figures of a threat report as SVG text."""

from __future__ import annotations

import math
from collections import Counter
from functools import partial

from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas

from reports.drawing import CALM, GAINS, INK, svg_text
from reports.model import Figure, Point, Series
from reports.reading import promised_odds
from reports.wording import folded

__all__ = ["draw"]


def draw(figure: Figure) -> str:
    """An SVG element for a figure of kind "odds", "people", "rank", "leakage" or "left".

    Raises
    ------
    ValueError
        If the kind is another one.
    """
    painters = {
        "odds": _odds,
        "people": _people,
        "rank": _intervals,
        "leakage": _intervals,
        "left": _intervals,
    }
    if figure.kind not in painters:
        raise ValueError(f"`kind` must be one of {', '.join(painters)}, got {figure.kind!r}")
    return svg_text(figure, partial(painters[figure.kind], figure))


def _short(label: str, width: int = 34) -> str:
    lines = folded(label, width)
    return "\n".join(lines[:2]) + ("…" if len(lines) > 2 else "")


def _looks(series: Series) -> tuple[str, str]:
    return (GAINS, "D") if series.flagged else (CALM, "o")


def _odds(figure: Figure) -> Canvas:
    across = 3
    down = max(1, -(-len(figure.series) // across))
    canvas = Canvas(figsize=(9.6, 0.55 + 2.15 * down), layout="constrained")
    grid = canvas.subplots(down, across, sharex=True, sharey=True, squeeze=False)
    axes: list[Axes] = list(grid.flat)
    floor = _floor(figure)
    for axis, series in zip(axes, figure.series, strict=False):
        _odds_panel(axis, series, floor, figure.key_bits)
        axis.set_title(_short(series.label), loc="left")
    for i, axis in enumerate(axes):
        axis.set_ylim(1.06 * floor, -0.05 * floor)
        axis.set_xlim(-3, 67)
        ticks = [floor * part / 4 for part in range(5)]
        axis.set_yticks(ticks, [budget_label(t) for t in ticks])
        axis.set_xticks([0, 20, 40, 64], ["1", "2^20", "2^40", "2^64"])
        axis.tick_params(labelbottom=i + across >= len(figure.series))
        if i >= len(figure.series):
            axis.set_axis_off()
    canvas.supxlabel("guesses", fontsize=9)
    canvas.supylabel("odds of success", fontsize=9)
    return canvas


def budget_label(log2_odds: float) -> str:
    """An odds tick from its binary logarithm.

    Examples
    --------
    >>> budget_label(-64.0), budget_label(0.0)
    ('2^-64', '1')
    """
    return "1" if log2_odds == 0 else f"2^{log2_odds:.0f}"


def _floor(figure: Figure) -> float:
    marks = [v for s in figure.series for p in s.points for v in (p.value, p.low) if v]
    least = min([0.0, *(math.log2(v) for v in marks if v > 0)])
    lowest = min(least, -float(figure.key_bits or 0), -4.0)
    return -4.0 * math.ceil(min(-lowest, 256.0) / 4)


def _odds_panel(axis: Axes, series: Series, floor: float, bits: int | None) -> None:
    def log2(value: float | None, otherwise: float) -> float:
        return otherwise if value is None or value <= 0 else max(math.log2(value), floor)

    colour, marker = _looks(series)
    if bits is not None:
        steps = range(65)
        promise = [log2(promised_odds(bits, 2**g), floor) for g in steps]
        axis.plot(steps, promise, color=INK, lw=0.9, ls=(0, (4, 3)))
    points = sorted(series.points, key=lambda p: p.x)
    if not points:
        axis.text(0.5, 0.5, "no odds measured", transform=axis.transAxes, ha="center", style="italic")
        return
    for point in points:
        ends = [log2(point.low, floor), log2(point.high, 0.0)]
        axis.plot([point.x, point.x], ends, color=colour, alpha=0.3, lw=5, solid_capstyle="butt")
    shown = [p for p in points if p.value > 0]
    axis.plot(
        [p.x for p in shown],
        [log2(p.value, floor) for p in shown],
        color=colour,
        marker=marker,
        ms=4.5,
        lw=1.3,
    )
    none = [p for p in points if p.value <= 0]
    tops = [log2(p.high, 0.0) for p in none]
    axis.plot([p.x for p in none], tops, color=colour, marker="v", mfc="none", ms=6, ls="none")


def _people(figure: Figure) -> Canvas:
    rows = figure.series
    canvas = Canvas(figsize=(9.6, 0.9 + 0.62 * max(1, len(rows))), layout="constrained")
    axis = canvas.subplots()
    for i, series in enumerate(rows):
        colour, marker = _looks(series)
        # Subjects of equal value share a mark; its size and number say how many they are.
        counts = Counter(round(p.value, 2) for p in series.points)
        for value, count in sorted(counts.items()):
            axis.scatter(
                [value], [i], s=28 + 9 * count, color=colour, marker=marker, alpha=0.75, lw=0, clip_on=False
            )
            axis.annotate(
                str(count),
                (value, i),
                xytext=(0, -13 - 0.12 * count),
                textcoords="offset points",
                ha="center",
                fontsize=7.5,
            )
    axis.set_yticks(range(len(rows)), [_short(s.label) for s in rows])
    axis.set_ylim(len(rows) - 0.35, -0.55)
    axis.set_xlim(-0.03, 1.03)
    axis.set_xlabel("share of a subject's attempts (number below a mark: subjects at that value)")
    axis.grid(axis="y", visible=False)
    return canvas


def _intervals(figure: Figure) -> Canvas:
    rows = figure.series
    canvas = Canvas(figsize=(9.6, 0.9 + 0.36 * max(1, len(rows))), layout="constrained")
    axis = canvas.subplots()
    for i, series in enumerate(rows):
        colour, marker = _looks(series)
        for point in series.points:
            _interval(axis, i, point, colour, marker)
    if figure.kind == "rank":
        axis.set_xlabel("median log2 rank of the true key (left: found sooner)")
        if figure.key_bits is not None:
            axis.axvline(figure.key_bits - 1, color=INK, lw=0.9, ls=(0, (4, 3)))
    elif figure.kind == "left":
        axis.set_xlabel("bits left of one record")
    else:
        axis.set_xlabel("bits per symbol that the view tells about the witness")
    axis.set_yticks(range(len(rows)), [_short(s.label) for s in rows])
    axis.set_ylim(len(rows) - 0.4, -0.6)
    axis.set_xlim(left=min(0.0, axis.get_xlim()[0]))
    axis.grid(axis="y", visible=False)
    return canvas


def _interval(axis: Axes, y: int, point: Point, colour: str, marker: str) -> None:
    low = point.value if point.low is None else point.low
    high = point.value if point.high is None else point.high
    axis.plot([low, high], [y, y], color=colour, lw=3, alpha=0.45, solid_capstyle="butt")
    axis.plot([point.value], [y], color=colour, marker=marker, ms=6, ls="none")
    for end, shift in ((point.low, -26), (point.high, 26)):
        if end is None:
            style = {"arrowstyle": "<-", "color": colour, "lw": 1.1, "shrinkA": 0.0, "shrinkB": 4.0}
            axis.annotate("", (point.value, y), (shift, 0), textcoords="offset points", arrowprops=style)
