"""From measures to what somebody should look at."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from harness.contracts import DEVICE_A, DEVICE_B
from harness.intake import thresholds
from harness.intake.alike import Alike
from harness.intake.clocks import Clock, wider
from harness.intake.record import Remark, StreamReport
from harness.intake.streams import Quality

__all__ = ["remarks"]

_TOLD = 3  # places that are named


def remarks(
    streams: Sequence[StreamReport],
    clocks: Sequence[Clock],
    alike: Sequence[Alike],
    overlaps: Sequence[tuple[str, str, float]] = (),
) -> list[Remark]:
    """Return what is beyond the thresholds; an empty list for a sound corpus."""
    return [*_streams(streams), *_clocks(clocks), *_alike(alike), *_overlaps(overlaps)]


def _streams(streams: Sequence[StreamReport]) -> Iterator[Remark]:
    checks: tuple[tuple[str, str, Callable[[Quality], bool], Callable[[Quality], str]], ...] = (
        ("gap", "declares gaps", lambda q: q.valid < 1, lambda q: f"{q.valid:.1%} valid"),
        (
            "clipping", "stands at a rail", lambda q: q.clipped > thresholds.CLIPPED,
            lambda q: f"{q.clipped:.2%} of the samples",
        ),
        (
            "flat", f"does not change for more than {thresholds.FLAT_S:g} s",
            lambda q: (q.flat_s or 0.0) > thresholds.FLAT_S, lambda q: f"{q.flat_s:.2f} s",
        ),
        (
            "mains", f"has mains {thresholds.MAINS_DB:g} dB or more above its neighbours",
            lambda q: (q.mains_db or 0.0) > thresholds.MAINS_DB,
            lambda q: f"{q.mains_db:.0f} dB at {q.mains_hz:g} Hz",
        ),
        ("rate", "has an effective rate off the nominal one", _off_rate, _rates),
    )  # fmt: skip
    for report in streams:
        for kind, says, wrong, how in checks:
            bad = [(place, q) for place, q in report.captures if wrong(q)]
            if bad:
                yield Remark(kind=kind, text=_text(report, says, [(p, how(q)) for p, q in bad]))
        yield from _loudness(report)


def _loudness(report: StreamReport) -> Iterator[Remark]:
    """Of the owners' devices only: an adversary may see nothing, and that is a result."""
    if not report.stream.startswith((f"{DEVICE_A}:", f"{DEVICE_B}:")):
        return
    dead = [(p, "constant") for p, q in report.captures if q.floor == 0 and q.active == 0]
    if dead:
        yield Remark(kind="dead", text=_text(report, "holds nothing but one value", dead))
    ratios = [q.snr_db for _, q in report.captures if q.snr_db is not None]
    still = [(p, "no window above three times the floor") for p, q in report.captures if q.active == 0]
    if still and len(still) == len(report.captures):
        says = "shows no activity anywhere: rest, or steady effort, cannot be told from noise"
        yield Remark(kind="activity", text=_text(report, says, still))
    elif ratios and float(np.median(ratios)) < thresholds.SNR_DB:
        yield Remark(
            kind="noise", text=f"{report.stream} is active {np.median(ratios):.1f} dB above its floor"
        )


def _off_rate(q: Quality) -> bool:
    return bool(
        q.nominal_hz and q.effective_hz and abs(q.effective_hz / q.nominal_hz - 1) > thresholds.RATE
    )


def _rates(q: Quality) -> str:
    return f"{q.effective_hz:.6g} for {q.nominal_hz:g} Hz"


def _text(report: StreamReport, says: str, places: Sequence[tuple[str, str]]) -> str:
    shown = "; ".join(f"{place} ({how})" for place, how in places[:_TOLD])
    more = f"; and {len(places) - _TOLD} more" if len(places) > _TOLD else ""
    return f"{report.stream} {says} in {len(places)} of {len(report.captures)} captures: {shown}{more}"


def _clocks(clocks: Sequence[Clock]) -> Iterator[Remark]:
    """An offset or drift counts if even the near end of its interval lies beyond the threshold.

    Many pairs are looked at: the intervals are widened until all hold together at 99 %.
    """
    tests = max(len(clocks), 1)
    late = [
        c
        for c in clocks
        if c.offset_s is not None
        and c.offset_error_s is not None
        and abs(c.offset_s) - wider(c, tests) * c.offset_error_s > thresholds.OFFSET_S
    ]
    if late:
        worst = max(late, key=lambda c: abs(c.offset_s or 0.0))
        yield Remark(
            kind="offset",
            text=f"the devices' clocks differ by more than {1e3 * thresholds.OFFSET_S:g} ms in "
            f"{len(late)} of {len(clocks)} pairs of recordings, at most by "
            f"{1e3 * (worst.offset_s or 0):.1f} ± {1e3 * (worst.offset_error_s or 0):.1f} ms "
            f"({worst.place})",
        )
    fast = [
        c
        for c in clocks
        if c.drift_ppm is not None
        and abs(c.drift_ppm) - wider(c, tests) * (c.drift_error_ppm or 0.0) > thresholds.DRIFT_PPM
    ]
    if fast:
        worst = max(fast, key=lambda c: abs(c.drift_ppm or 0.0))
        yield Remark(
            kind="drift",
            text=f"the devices' clocks drift by more than {thresholds.DRIFT_PPM:g} ppm in {len(fast)} of "
            f"{len(clocks)} pairs of recordings, at most by {worst.drift_ppm:.0f} ± "
            f"{worst.drift_error_ppm:.0f} ppm ({worst.place})",
        )


def _alike(alike: Sequence[Alike]) -> Iterator[Remark]:
    for kind, slug in (("same samples", "duplicate"), ("nearly the same", "near-duplicate")):
        for between in ("subjects", "sessions", "attempts", "roles"):
            own = [one for one in alike if (one.kind, one.between) == (kind, between)]
            if own:
                shown = "; ".join(f"{one.first} and {one.second}" for one in own[:_TOLD])
                more = f"; and {len(own) - _TOLD} more" if len(own) > _TOLD else ""
                yield Remark(
                    kind=slug,
                    text=f"{kind} in different {between}, {len(own)} pair(s): {shown}{more}",
                )


def _overlaps(overlaps: Sequence[tuple[str, str, float]]) -> Iterator[Remark]:
    if overlaps:
        shown = "; ".join(f"{one} and {two} ({shared:.3g} s)" for one, two, shared in overlaps[:_TOLD])
        more = f"; and {len(overlaps) - _TOLD} more" if len(overlaps) > _TOLD else ""
        yield Remark(
            kind="overlap",
            text=f"attempts are cut from the same stretch of a recording, {len(overlaps)} pair(s): "
            f"{shown}{more}",
        )
