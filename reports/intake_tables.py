"""Tables and figures of an intake check: streams, and the clocks of the two devices."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from harness.intake.record import Inspection, Quality, StreamReport
from reports.model import Block, Cell, Figure, Paragraph, Section, Table
from reports.wording import clean, number_text

__all__ = ["SHOWN", "clocks_section", "streams_section"]

SHOWN = 30  # rows of a table that has one for each recording


def streams_section(found: Inspection) -> Section:
    rows = tuple(_stream_row(report) for report in found.streams)
    table = Table(
        "Median over captures, and the worst one below. Noise floor: RMS of the quietest tenth of the "
        "windows of 0.1 s; without rest in a capture it is too high. Active: windows above three times "
        "the floor. Mains: power at 50 or 60 Hz above that of the frequencies beside it.",
        (
            "Stream", "Captures", "Rate", "Length", "Valid", "Clipped", "Longest flat",
            "Noise floor", "Signal to noise", "Active", "Mains",
        ),
        rows,
        key="streams",
    )  # fmt: skip
    blocks: list[Block] = [table]
    if any(report.trace for report in found.streams):
        blocks.append(
            Figure(
                "traces", "traces", "First capture of each stream",
                "First channel, lowest and highest value of each of 300 pieces, in the stream's unit over "
                "seconds.",
            )
        )  # fmt: skip
    if any(q.snr_db is not None for report in found.streams for _, q in report.captures):
        blocks.append(
            Figure(
                "levels", "levels", "Every capture's noise floor and signal to noise",
                "One mark for each capture that has both rest and activity, 200 of a stream at most; a "
                "stream whose marks scatter holds captures of different quality.",
            )
        )  # fmt: skip
    return Section("streams", "Streams", tuple(blocks))


def _stream_row(report: StreamReport) -> tuple[Cell, ...]:
    own = [q for _, q in report.captures]
    return (
        Cell(clean(report.stream), f"{report.channels} channel(s), {clean(report.unit)}"),
        Cell(str(len(own))),
        _rate(own),
        _pair([q.seconds for q in own], " s", worst=min),
        _pair([100 * q.valid for q in own], " %", worst=min),
        _pair([100 * q.clipped for q in own], " %", worst=max),
        _pair([q.flat_s for q in own], " s", worst=max),
        _pair([q.floor for q in own], f" {clean(report.unit)}", worst=max),
        _pair([q.snr_db for q in own], " dB", worst=min),
        _pair([None if q.active is None else 100 * q.active for q in own], " %", worst=min),
        _pair([q.mains_db for q in own], " dB", worst=max),
    )


def _rate(own: Sequence[Quality]) -> Cell:
    nominal = {q.nominal_hz for q in own if q.nominal_hz is not None}
    if not nominal:
        return Cell("events")
    said = ", ".join(number_text(rate) for rate in sorted(nominal)) + " Hz"
    effective = [q.effective_hz for q in own if q.effective_hz is not None]
    if not effective:
        return Cell(said, "effective: no time marks")
    return Cell(said, f"effective {min(effective):.6g} to {max(effective):.6g} Hz")


def _pair(values: Sequence[float | None], unit: str, *, worst: object) -> Cell:
    known = [v for v in values if v is not None]
    if not known:
        return Cell("–")
    extreme = min(known) if worst is min else max(known)
    middle, far = (_short(x, unit) for x in (float(np.median(known)), extreme))
    return Cell(f"{middle}{unit}", f"worst {far}")


def _short(value: float, unit: str) -> str:
    """A decibel has one digit behind the point, whatever is in front of it."""
    return f"{value:.1f}" if unit == " dB" else number_text(value)


def clocks_section(found: Inspection) -> Section:
    told = Paragraph(
        "Offset: how much later what both devices saw stands in the record of device-b, where the "
        "recording begins; drift: how that grows. Lags of envelopes (20 Hz) in windows of 5 s, straight "
        "line by least squares, 95 % intervals. Agreement: correlation of 3 Hz envelopes as they stand, "
        "and after taking offset and drift off."
    )
    ranked = sorted(found.clocks, key=lambda c: -abs(c.offset_s or 0.0))
    rows = tuple(
        (
            Cell(clean(c.place), clean(c.signal)),
            Cell(f"{len(c.lags_s)} of {c.windows}"),
            Cell(_error(c.offset_s, c.offset_error_s, 1e3, "ms")),
            Cell(_error(c.drift_ppm, c.drift_error_ppm, 1.0, "ppm")),
            Cell(f"{c.agreement:.3f}"),
            Cell(f"{c.aligned:.3f}", f"costs {max(c.aligned - c.agreement, 0.0):.3f}"),
        )
        for c in ranked[:SHOWN]
    )
    more = f" The {SHOWN} largest offsets of {len(ranked)}." if len(ranked) > SHOWN else ""
    table = Table(
        f"Pairs of recordings.{more}",
        ("Recording", "Windows", "Offset", "Drift", "Agreement", "Aligned"),
        rows,
        key="clocks",
    )
    blocks: list[Block] = [told, table]
    if any(c.lags_s for c in found.clocks):
        blocks.insert(
            1,
            Figure(
                "clocks", "clocks", "Offset of device-b, window by window",
                "Each mark is a window of 5 s; marks of one pair of recordings are joined; 100 pairs at "
                "most.",
            ),
        )  # fmt: skip
    return Section("clocks", "Clocks of the two devices", tuple(blocks))


def _error(value: float | None, error: float | None, scale: float, unit: str) -> str:
    if value is None:
        return "not seen"
    told = f"{scale * value:.1f}"
    return f"{told} {unit} (one window)" if error is None else f"{told} ± {scale * error:.1f} {unit}"
