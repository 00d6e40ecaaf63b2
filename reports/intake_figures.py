"""The figures of an intake check as SVG: traces, noise, clocks."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas

from harness.intake.record import Inspection, StreamReport
from reports.drawing import CALM, INK, svg_text
from reports.model import Figure
from reports.wording import clean

__all__ = ["draw_intake"]

_ACROSS = 3
_MOST = 30  # panels
_MARKS, _LINES = 200, 100  # of one stream, of clocks: a page of thousands of captures stays small


def draw_intake(found: Inspection, figure: Figure) -> str:
    """An SVG element for a figure of kind "traces", "levels" or "clocks".

    Raises
    ------
    ValueError
        If the kind is another one.
    """
    painters: Mapping[str, Callable[[Inspection], Canvas]] = {
        "traces": _traces,
        "levels": _levels,
        "clocks": _clocks,
    }
    if figure.kind not in painters:
        raise ValueError(f"`kind` must be one of {', '.join(painters)}, got {figure.kind!r}")
    return svg_text(figure, partial(painters[figure.kind], found))


def _traces(found: Inspection) -> Canvas:
    reports = [r for r in found.streams if r.trace is not None][:_MOST]
    down = max(1, -(-len(reports) // _ACROSS))
    canvas = Canvas(figsize=(9.6, 0.3 + 1.2 * down), layout="constrained")
    axes: list[Axes] = list(canvas.subplots(down, _ACROSS, squeeze=False).flat)
    for axis, report in zip(axes, reports, strict=False):
        _trace(axis, report)
    for axis in axes[len(reports) :]:
        axis.set_axis_off()
    canvas.supxlabel("seconds", fontsize=9)
    return canvas


def _trace(axis: Axes, report: StreamReport) -> None:
    trace = report.trace
    if trace is None:
        return
    count = len(trace.low)
    span = trace.seconds or float(count)
    times = [span * (k + 0.5) / count for k in range(count)]
    axis.fill_between(times, list(trace.low), list(trace.high), color=CALM, lw=0.5)
    axis.set_title(f"{clean(report.stream)}, {clean(report.unit)}", loc="left", fontsize=8)
    axis.tick_params(labelsize=7)


def _levels(found: Inspection) -> Canvas:
    reports = [r for r in found.streams if any(q.snr_db is not None for _, q in r.captures)][:_MOST]
    canvas = Canvas(figsize=(9.6, 0.9 + 0.3 * max(1, len(reports))), layout="constrained")
    left, right = canvas.subplots(1, 2, sharey=True)
    for row, report in enumerate(reports):
        own = [q for _, q in report.captures if q.snr_db is not None and q.floor]
        own = own[:: -(-len(own) // _MARKS) or 1]
        left.plot(
            [math.log10(q.floor or 1.0) for q in own], [row] * len(own), "o", color=CALM, ms=4, alpha=0.4
        )
        right.plot([q.snr_db or 0.0 for q in own], [row] * len(own), "o", color=CALM, ms=4, alpha=0.4)
    left.set_yticks(
        range(len(reports)), [f"{clean(r.stream)}, {clean(r.unit)}" for r in reports], fontsize=8
    )
    left.set_ylim(len(reports) - 0.4, -0.6)
    left.set_xlabel("noise floor, log10 of the unit")
    right.set_xlabel("signal to noise, dB")
    return canvas


def _clocks(found: Inspection) -> Canvas:
    canvas = Canvas(figsize=(9.6, 2.8), layout="constrained")
    axis = canvas.subplots()
    seen = [clock for clock in found.clocks if clock.lags_s]
    for clock in seen[:: -(-len(seen) // _LINES) or 1]:
        order = sorted(zip(clock.times_s, clock.lags_s, strict=True))
        axis.plot(
            [time for time, _ in order], [1e3 * lag for _, lag in order],
            color=CALM, marker="o", ms=3, lw=0.8, alpha=0.5,
        )  # fmt: skip
    axis.axhline(0.0, color=INK, lw=0.9, ls=(0, (4, 3)))
    axis.set_xlabel("seconds of the recording")
    axis.set_ylabel("offset, ms")
    return canvas
