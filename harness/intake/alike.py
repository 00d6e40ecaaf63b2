"""Captures that are the same, or nearly, where they should not be."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from harness.contracts import DEVICE_A, DEVICE_B, Array
from harness.intake.envelopes import envelope, filled, resampled
from harness.intake.taken import Taken

__all__ = ["Alike", "Fingerprints"]

GRID_HZ, CUTOFF_HZ = 20.0, 5.0
MOST_POINTS, LEAST_POINTS = 200, 20  # of an envelope: ten seconds, one second
WAVE = 512  # samples of the wave form that are compared
WAVE_LAG = 64
THRESHOLD, WAVE_THRESHOLD = 0.98, 0.5
LEVEL = 0.01  # family-wise, over all pairs that were compared
MOST_CAPTURES = 10_000  # of one stream; 5 * 10^7 pairs


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """Two captures; `kind` is "same samples", "nearly the same" or "same envelope only"."""

    kind: str
    first: str
    second: str
    between: str  # "subjects", "sessions", "attempts" or "roles"
    correlation: float
    p_value: float | None  # adjusted for all pairs; None: identical


@dataclass(frozen=True, slots=True)
class _Print:
    who: tuple[int, int, int]
    place: str
    envelope: Array  # float32
    wave: Array  # float32


class Fingerprints:
    """What is kept of each capture of the owners' devices to find it again.

    An adversary's capture may rightly repeat: one video serves several attempts, one recording many. It is
    compared with the owners' of its own attempt only, sample by sample.
    """

    def __init__(self) -> None:
        self._digests: dict[str, list[tuple[tuple[int, int, int], str, str]]] = defaultdict(list)
        self._prints: dict[str, list[_Print]] = defaultdict(list)
        self.pairs = 0
        self.left_out = 0

    def see(self, taken: Taken) -> None:
        """Take note of one capture."""
        if np.ptp(filled(taken.samples)) == 0:
            return  # a dead sensor looks like every other one
        who = taken.subject, taken.session, taken.attempt
        digest = hashlib.sha256(np.ascontiguousarray(taken.samples).tobytes()).hexdigest()
        self._digests[f"{taken.signal} {digest}"].append((who, taken.role, taken.place))
        if taken.role not in (DEVICE_A, DEVICE_B):
            return
        if len(self._prints[taken.stream]) >= MOST_CAPTURES:
            self.left_out += 1
            return
        self._prints[taken.stream].append(_Print(who, taken.place, _shape(taken), _wave(taken)))

    def found(self) -> list[Alike]:
        """Return pairs that are alike: identical ones first, then by correlation."""
        same = self._identical()
        known = {frozenset((one.first, one.second)) for one in same}
        near = [one for one in self._near() if frozenset((one.first, one.second)) not in known]
        return same + sorted(near, key=lambda one: -one.correlation)

    def _identical(self) -> list[Alike]:
        found = []
        for group in self._digests.values():
            owned = [one for one in group if one[1] in (DEVICE_A, DEVICE_B)]
            if not owned:
                continue
            first_who, first_role, first_place = owned[0]
            for who, role, place in group:
                if who == first_who and role != first_role:
                    between = "roles"
                elif who != first_who and role in (DEVICE_A, DEVICE_B):
                    between = _between(first_who, who)
                else:
                    continue
                found.append(
                    Alike(
                        kind="same samples", first=f"{first_role} of {first_place}",
                        second=f"{role} of {place}", between=between, correlation=1.0, p_value=None,
                    )
                )  # fmt: skip
        return found

    def _near(self) -> list[Alike]:
        candidates = []
        for stream, prints in self._prints.items():
            usable = [one for one in prints if len(one.envelope) >= LEAST_POINTS]
            self.left_out += len(prints) - len(usable)
            if len(usable) < 2:
                continue
            lengths = np.array([len(one.envelope) for one in usable])
            points = int(lengths[lengths >= np.median(lengths) / 2].min())
            self.left_out += int((lengths < points).sum())
            usable = [one for one in usable if len(one.envelope) >= points]
            table = np.stack([_standard(one.envelope[:points]) for one in usable])
            self.pairs += len(usable) * (len(usable) - 1) // 2
            for i, j, r in _above(table, THRESHOLD):
                candidates.append((stream.partition(":")[0], usable[i], usable[j], table[i], table[j], r))
        found = []
        for role, one, two, x, y, r in candidates:
            p = min(_p_value(x, y, r) * self.pairs, 1.0)
            if p < LEVEL:
                wave = _best_wave(one.wave, two.wave)
                found.append(
                    Alike(
                        kind="nearly the same" if wave >= WAVE_THRESHOLD else "same envelope only",
                        first=f"{role} of {one.place}", second=f"{role} of {two.place}",
                        between=_between(one.who, two.who), correlation=r, p_value=p,
                    )
                )  # fmt: skip
        return found


def _between(one: tuple[int, int, int], two: tuple[int, int, int]) -> str:
    if one[0] != two[0]:
        return "subjects"
    return "sessions" if one[1] != two[1] else "attempts"


def _shape(taken: Taken) -> Array:
    if taken.rate_hz is None:
        values = filled(taken.samples)[0]
        return np.asarray(values[:MOST_POINTS], np.float32)
    whole = envelope(taken.samples, taken.rate_hz, CUTOFF_HZ)
    used = whole[: int(MOST_POINTS / GRID_HZ * taken.rate_hz) + 2]
    return np.asarray(resampled(used, taken.rate_hz, GRID_HZ)[:MOST_POINTS], np.float32)


def _wave(taken: Taken) -> Array:
    """The loudest piece of the first channel: a copy has it too, wherever it was cut."""
    own = filled(taken.samples)[0]
    energy = np.concatenate([[0.0], np.cumsum(own**2)])
    first = int(np.argmax(energy[WAVE:] - energy[:-WAVE])) if len(own) > WAVE else 0
    return np.asarray(own[first : first + WAVE], np.float32)


def _standard(values: Array) -> Array:
    centred = values - values.mean()
    norm = np.sqrt((centred**2).sum())
    return np.asarray(centred / norm if norm > 0 else centred, np.float32)


def _above(table: Array, threshold: float) -> list[tuple[int, int, float]]:
    """Pairs of rows whose correlation reaches the threshold, a block of rows at a time."""
    found = []
    for first in range(0, len(table), 512):
        block = table[first : first + 512] @ table[first:].T
        for i, j in np.argwhere(block >= threshold):
            if j > i:
                found.append((first + int(i), first + int(j), float(min(block[i, j], 1.0))))
    return found


def _p_value(one: Array, two: Array, r: float) -> float:
    """Chance of such a correlation between two independent envelopes that are as smooth as these.

    Fisher's transform with the number of points that smooth series are worth (Bartlett, J. R. Stat. Soc.
    98 (1935) 536–543, from memory): n over the sum of the products of both autocorrelations.
    """
    n = len(one)
    spectra = (np.abs(np.fft.rfft(x, 2 * n)) ** 2 for x in (one, two))
    lags = [np.fft.irfft(power)[: n // 2] for power in spectra]
    shared = lags[0] * lags[1]
    worth = n / max(1.0, float(shared[0] + 2 * shared[1:].sum()))
    score = np.arctanh(min(r, 1 - 1e-9)) * np.sqrt(max(worth - 3, 0.0))
    return float(ndtr(-score))


def _best_wave(one: Array, two: Array) -> float:
    """Largest correlation of the wave forms, of either sign, within 64 samples."""
    size = min(len(one), len(two))
    x, y = one[:size], two[:size]
    if size < 4 * LEAST_POINTS:
        return abs(float(np.dot(_standard(x), _standard(y))))
    best = 0.0
    for lag in range(-WAVE_LAG, WAVE_LAG + 1):
        left, right = x[max(0, lag) : size + min(0, lag)], y[max(0, -lag) : size + min(0, -lag)]
        if len(left) >= size // 2:
            best = max(best, abs(float(np.dot(_standard(left), _standard(right)))))
    return best
