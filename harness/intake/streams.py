"""What one capture is worth: length, gaps, rails, flat stretches, noise, mains, activity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import welch

from harness.contracts import Array
from harness.intake.envelopes import highpassed, window_rms
from harness.intake.taken import Taken
from harness.intake.thresholds import ACTIVE, WINDOW_S

__all__ = ["Quality", "clipped_share", "longest_flat", "mains_db", "quality"]

MAINS_HZ = (50.0, 60.0)
_LEAST_RUN = 3  # equal samples at an extreme
_LEAST_STEPS = 16  # a coarser signal repeats its extreme values by chance
_QUIET = 0.1  # share of the windows that is taken for rest


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """Of one capture; None where it cannot be measured. Of several channels the worst one counts."""

    seconds: float
    valid: float  # share of samples that are no gap
    nominal_hz: float | None
    effective_hz: float | None
    clipped: float  # share of samples at a rail
    flat_s: float | None  # longest stretch of one value
    floor: float | None  # RMS of the quietest tenth of the windows, in the unit of the stream
    snr_db: float | None  # active windows above the floor
    active: float | None  # share of windows above three times the floor
    mains_db: float | None  # mains above its neighbours
    mains_hz: float | None  # 50 or 60, the stronger


def quality(taken: Taken) -> Quality:
    """Measure one capture."""
    samples, rate = taken.samples, taken.rate_hz
    floor = snr = active = None
    mains: tuple[float, float] | None = None
    if rate is not None:
        floor, snr, active = _loudness(window_rms(samples, rate, WINDOW_S))
        mains = mains_db(samples, rate)
    return Quality(
        seconds=taken.seconds,
        valid=float(1 - np.isnan(samples).mean()),
        nominal_hz=rate,
        effective_hz=taken.effective_hz,
        clipped=clipped_share(samples, taken.limits) if rate is not None else 0.0,
        flat_s=None if rate is None else longest_flat(samples) / rate,
        floor=floor,
        snr_db=snr,
        active=active,
        mains_db=None if mains is None else mains[0],
        mains_hz=None if mains is None else mains[1],
    )


def _loudness(rms: Array) -> tuple[float | None, float | None, float | None]:
    """Noise floor, signal-to-noise in dB, and activity, from (channels, windows) RMS."""
    if rms.shape[1] < 10:
        return None, None, None
    quiet = max(1, round(_QUIET * rms.shape[1]))
    floor = np.median(np.sort(rms, axis=1)[:, :quiet], axis=1)
    loud = rms > ACTIVE * floor[:, np.newaxis]
    active = loud.mean(axis=1)
    ratios = [
        20 * np.log10(np.sqrt((own[up] ** 2).mean()) / low)
        for own, up, low in zip(rms, loud, floor, strict=True)
        if low > 0 and up.any()
    ]
    return float(floor.max()), float(min(ratios)) if ratios else None, float(active.min())


def clipped_share(samples: Array, limits: Array | None = None) -> float:
    """Share of samples that stand still at an extreme: three equal ones or more, or a limit of the format.

    A signal of fewer than 16 steps is not judged: it repeats its extremes by chance.
    """
    worst = 0.0
    for k, own in enumerate(samples):
        values = own[~np.isnan(own)]
        levels = np.unique(values)
        if len(levels) < 2 or np.ptp(levels) < _LEAST_STEPS * np.diff(levels).min():
            continue
        at_rail = _in_runs(values == levels[-1]) | _in_runs(values == levels[0])
        if limits is not None:
            at_rail |= (values <= limits[k, 0]) | (values >= limits[k, 1])
        worst = max(worst, float(at_rail.mean()))
    return worst


def _runs(marked: Array) -> tuple[Array, Array]:
    """First places and lengths of the runs of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], marked.astype(np.int8), [0]])))
    return edges[::2], edges[1::2] - edges[::2]


def _in_runs(marked: Array) -> Array:
    starts, lengths = _runs(marked)
    found = np.zeros(len(marked), dtype=bool)
    for start, length in zip(starts, lengths, strict=True):
        if length >= _LEAST_RUN:
            found[start : start + length] = True
    return found


def longest_flat(samples: Array) -> int:
    """Samples in the longest run of one value, in any channel."""
    longest = 1
    for own in samples:
        _, lengths = _runs(np.diff(own) == 0)
        longest = max(longest, int(lengths.max(initial=0)) + 1)
    return longest


def mains_db(samples: Array, rate_hz: float) -> tuple[float, float] | None:
    """Power of the mains above that of its neighbours in dB, and which mains; None where it cannot be seen.

    Power within 1 Hz of 50 and 60 Hz, over the median of 2 to 8 Hz beside it, in spectra of half a hertz;
    the larger of the two, in the worst channel.
    """
    size = round(2 * rate_hz)
    if samples.shape[1] < size or rate_hz < 2 * (MAINS_HZ[-1] + 9):
        return None
    # without a taper every half hertz is independent, or the mains would be seen in noise by chance
    frequency, power = welch(
        highpassed(samples, rate_hz), fs=rate_hz, nperseg=size, window="boxcar", axis=-1
    )
    found = []
    for mains in MAINS_HZ:
        apart = np.abs(frequency - mains)
        beside = np.median(power[:, (apart >= 2) & (apart <= 8)], axis=1)
        at = power[:, apart <= 1].mean(axis=1)
        sound = beside > 0
        if sound.any():
            found.append((float(10 * np.log10((at[sound] / beside[sound]).max() + 1e-30)), mains))
    return max(found) if found else None
