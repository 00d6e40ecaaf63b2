"""Do the two devices of a pair tell the same time? Offset and drift from their envelopes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import fftconvolve
from scipy.stats import t as student

from harness.contracts import DEVICE_A, DEVICE_B, Array
from harness.intake.envelopes import envelope, resampled
from harness.intake.taken import Taken

__all__ = ["Clock", "agreement", "clocks", "lag_of", "wider"]

GRID_HZ = 250.0  # of the envelopes that are compared
SHARP_HZ, SMOOTH_HZ = 20.0, 3.0  # envelopes that place events, and that schemes read
WINDOW_S, MAX_LAG_S = 5.0, 0.5
LEAST_POINTS = 32  # of a window
LEAST_PEAK = 0.5  # correlation at the best lag; below, a window says nothing
LEAST_WINDOWS, LEAST_SPAN_S = 4, 20.0  # for a drift
LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Of one pair of recordings. Positive: what both saw stands later in the record of device-b."""

    place: str
    signal: str
    times_s: tuple[float, ...]  # middles of the windows that count
    lags_s: tuple[float, ...]
    windows: int  # that were looked at
    offset_s: float | None  # where the recording begins
    offset_error_s: float | None  # half width of its 95 % interval; None: too few windows
    drift_ppm: float | None
    drift_error_ppm: float | None
    free: int  # degrees of freedom of both intervals
    agreement: float  # of 3 Hz envelopes as they stand
    aligned: float  # the same after taking offset and drift off


def clocks(sitting: Sequence[Taken]) -> list[Clock]:
    """Compare the owners' devices of one sitting; attempts cut from the same recordings share a clock."""
    pairs: dict[tuple[str, int], dict[str, Taken]] = defaultdict(dict)
    for taken in sitting:
        if taken.role in (DEVICE_A, DEVICE_B) and taken.rate_hz is not None:
            pairs[taken.signal, taken.attempt][taken.role] = taken
    groups: dict[tuple[object, ...], list[tuple[Taken, Taken]]] = defaultdict(list)
    for (signal, attempt), own in pairs.items():
        if len(own) == 2:
            a, b = own[DEVICE_A], own[DEVICE_B]
            shared = (signal, a.origin, b.origin) if a.origin and b.origin else (signal, attempt)
            groups[shared].append((a, b))
    return [_clock(group) for group in groups.values()]


def _clock(pairs: Sequence[tuple[Taken, Taken]]) -> Clock:
    times: list[float] = []
    lags: list[float] = []
    looked = 0
    for a, b in pairs:
        found = [(a.start_s + middle, lag) for middle, lag in _windows(a, b)]
        looked += len(found)
        times += [time for time, lag in found if lag is not None]
        lags += [lag for _, lag in found if lag is not None]
    time, lag = np.array(times), np.array(lags)
    start = min(a.start_s for a, _ in pairs)
    (offset, offset_error, drift, drift_error), free = _fitted(time - start, lag)
    agreed = []
    for a, b in pairs:
        middle = a.start_s - start + a.seconds / 2
        shift = (offset or 0.0) + (drift or 0.0) * 1e-6 * middle
        agreed.append(agreement(a, b, (0.0, shift)))
    before, after = np.mean(agreed, axis=0)
    return Clock(
        place=pairs[0][0].place,
        signal=pairs[0][0].signal,
        times_s=tuple(times),
        lags_s=tuple(lags),
        windows=looked,
        offset_s=offset,
        offset_error_s=offset_error,
        drift_ppm=drift,
        drift_error_ppm=drift_error,
        free=free,
        agreement=float(before),
        aligned=float(after),
    )


def wider(clock: Clock, tests: int, *, level: float = 0.01) -> float:
    """Factor that takes the errors of a clock to a level that all of `tests` clocks share."""
    if clock.free < 1:
        return float("inf")
    narrow, wide = student.isf([(1 - LEVEL) / 2, level / 2 / tests], clock.free)
    return float(wide / narrow)


def _grid_hz(a: Taken, b: Taken) -> float:
    """No finer than four times what was sampled: a slow sensor's hours must not fill the memory."""
    return min(GRID_HZ, *(4 * (x.rate_hz or 1.0) for x in (a, b)))


def _windows(a: Taken, b: Taken) -> list[tuple[float, float | None]]:
    """Middle of each window in seconds of the attempt, and its lag; None where nothing stands out."""
    grid = _grid_hz(a, b)
    one, two = (
        resampled(envelope(x.samples, x.rate_hz or 1.0, SHARP_HZ), x.rate_hz or 1.0, grid) for x in (a, b)
    )
    length = min(len(one), len(two))
    one, two = one[:length], two[:length]
    size = min(round(WINDOW_S * grid), length)
    if size < max(grid, LEAST_POINTS):
        return []
    found = []
    for first in range(0, len(one) - size + 1, size):
        window = slice(first, first + size)
        found.append(((first + size / 2) / grid, lag_of(one[window], two[window], grid)))
    return found


def lag_of(one: Array, two: Array, rate_hz: float) -> float | None:
    """Seconds by which `two` lags behind `one`, between samples; None where no lag stands out.

    The inner part of `one` is slid along `two`; the peak of their correlation is placed by a parabola.
    """
    reach = min(round(MAX_LAG_S * rate_hz), len(one) // 4)
    inner = one[reach : len(one) - reach]
    size = len(inner)
    centred = inner - inner.mean()
    norm = np.sqrt((centred**2).sum())
    sums, squares = (
        np.concatenate([[0.0], np.cumsum(x)]) for x in (two - two.mean(), (two - two.mean()) ** 2)
    )
    spread = (squares[size:] - squares[:-size]) - (sums[size:] - sums[:-size]) ** 2 / size
    product = fftconvolve(two - two.mean(), centred[::-1], mode="valid")
    if norm == 0 or not (spread > 0).any():
        return None
    correlation = product / (norm * np.sqrt(np.maximum(spread, 1e-12 * spread.max())))
    peak = int(np.argmax(correlation))
    if correlation[peak] < LEAST_PEAK or peak in (0, len(correlation) - 1):
        return None
    left, top, right = correlation[peak - 1 : peak + 2]
    bend = left - 2 * top + right
    inside = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float((peak + inside - reach) / rate_hz)


def _fitted(time: Array, lag: Array) -> tuple[tuple[float | None, ...], int]:
    """Offset at time 0 and its error, drift in ppm and its error, by least squares.

    Windows that lie off the line by more than five times their median distance saw other things. Errors
    are half widths of 95 % intervals from what is left (Student's t).
    """
    if len(lag) == 0:
        return (None, None, None, None), 0
    long = len(lag) >= LEAST_WINDOWS and float(np.ptp(time)) >= LEAST_SPAN_S
    design = np.stack([np.ones(len(lag)), time], axis=1)[:, : 2 if long else 1]
    solved = np.linalg.lstsq(design, lag, rcond=None)[0]
    apart = np.abs(lag - design @ solved)
    kept = apart <= 5 * max(float(np.median(apart)), 0.1 / GRID_HZ)
    design, lag = design[kept], lag[kept]
    solved = np.linalg.lstsq(design, lag, rcond=None)[0]
    free = len(design) - design.shape[1]
    if free < 1:
        return (float(solved[0]), None, None, None), 0
    variance = float(((lag - design @ solved) ** 2).sum()) / free
    spread = np.sqrt(variance * np.diag(np.linalg.inv(design.T @ design)))
    error = student.isf((1 - LEVEL) / 2, free) * spread
    if not long:
        return (float(solved[0]), float(error[0]), None, None), free
    drift, drift_error = 1e6 * float(solved[1]), 1e6 * float(error[1])
    return (float(solved[0]), float(error[0]), drift, drift_error), free


def agreement(a: Taken, b: Taken, shifts_s: Sequence[float]) -> list[float]:
    """Correlation of the smooth envelopes, device-b read so much later, for each shift."""
    smooth = [envelope(x.samples, x.rate_hz or 1.0, SMOOTH_HZ) for x in (a, b)]
    grid = _grid_hz(a, b)
    one = resampled(smooth[0], a.rate_hz or 1.0, grid)
    found = []
    for shift in shifts_s:
        two = resampled(smooth[1], b.rate_hz or 1.0, grid, shift_s=shift)
        length = min(len(one), len(two))
        both = ~np.isnan(one[:length]) & ~np.isnan(two[:length])
        x, y = one[:length][both], two[:length][both]
        flat = len(x) < 3 or x.std() == 0 or y.std() == 0
        found.append(0.0 if flat else float(np.corrcoef(x, y)[0, 1]))
    return found
