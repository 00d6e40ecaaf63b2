"""Bits from random projections of a spectrogram."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from harness.contracts import Array, Capture, Witness
from harness.streams import stream
from schemes.quantisers.checks import ascending, whole_number
from schemes.quantisers.series import Series

__all__ = ["ProjectionSigns"]

_USUAL_HZ = {  # assumptions: muscle between artefact and noise, walking from steps to impacts
    "uV": (20.0, 40.0, 70.0, 90.0, 130.0, 200.0),
    "g": (0.5, 3.0, 5.0, 8.0, 12.0),  # for windows of a second
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ProjectionSigns(Series):
    """Signs of random projections of log band powers, the matrix being drawn from a public seed.

    From every window of `window_s`, tapered by a raised cosine, the log power in each band between
    neighbouring `bands_hz` (empty: the usual ones of the unit); less its mean over the attempt. All windows
    and bands together make one vector, of at least as many dimensions as there are bits. A bit is the sign
    of its product with a vector of independent normal numbers.

    Two sensors whose vectors enclose an angle α differ in a share α/π of the bits (Goemans and Williamson,
    J. ACM 42 (1995), Charikar, STOC 2002; from memory). Bits are independent only as far as the
    features are: bands of one muscle rise and fall together, and that is what the bits then share.

    The features are the projections, divided by the length of the vector.
    """

    units: ClassVar[frozenset[str]] = frozenset({"uV", "g"})

    window_s: float = 0.25
    bands_hz: tuple[float, ...] = ()
    seed: int = 0

    def __post_init__(self) -> None:
        self.check()
        if self.bands_hz:
            ascending("bands_hz", self.bands_hz, 2, 65)
        whole_number("seed", self.seed, 0)

    @property
    def labels(self) -> Array:
        """One bit a symbol."""
        return np.array([[0], [1]], np.uint8)

    def quantise(self, capture: Capture, count: int) -> Witness:
        """Symbols (attempts, count) of 0 and 1; features (attempts, count, 1).

        Raises
        ------
        ValueError
            If the capture has another unit or no rate, or a band holds no frequency of the window.
        """
        edges = self.edges(capture, self._windows(capture, count))
        bands = self._bins(capture, edges)
        attempts = len(capture.samples)
        projected, acquired = np.zeros((attempts, count)), np.zeros(attempts, np.bool_)
        samples = capture.samples[..., : edges[-1]]
        whole = np.isfinite(samples).all(axis=(1, 2))
        if samples.shape[-1] == edges[-1] and whole.any():
            powers, acquired[whole] = self._powers_of_bands(samples[whole], capture, edges, bands)
            matrix = stream(self.seed, "projections", powers.shape[1]).standard_normal(
                (count, powers.shape[1])
            )
            # row by row: a product of matrices may round otherwise in another batch
            projected[whole] = [matrix @ row for row in powers]
        return Witness(
            symbols=(projected > 0).astype(np.uint8),
            alphabet=2,
            acquired=acquired,
            features=projected[..., None],
        )

    def seconds(self, capture: Capture, count: int) -> Array:
        """(attempts,) the windows' length."""
        return self.lasting(capture, self._windows(capture, count))

    def _bands(self, capture: Capture) -> tuple[float, ...]:
        return self.bands_hz or _USUAL_HZ.get(capture.unit, (1.0, 2.0))

    def _windows(self, capture: Capture, count: int) -> int:
        # one more than needed, as the means take one dimension a band
        return -(-count // (len(self._bands(capture)) - 1)) + 1

    def _bins(self, capture: Capture, edges: Array) -> Array:
        """(bands + 1,) bins of a window's spectrum at which bands begin and end."""
        rate = capture.rate_hz or 0.0
        bands = self._bands(capture)
        if bands[-1] > rate / 2:
            raise ValueError(
                f"`bands_hz` must end below half the sampling rate, {rate / 2:g} Hz, got {bands[-1]:g}"
            )
        frequencies = np.fft.rfftfreq(int(np.diff(edges).min()), 1 / rate)
        ends = np.searchsorted(frequencies, bands)
        empty = np.flatnonzero(np.diff(ends) == 0)
        if empty.size:
            low, high = bands[empty[0]], bands[empty[0] + 1]
            raise ValueError(
                f"each band of `bands_hz` must hold a multiple of {frequencies[1]:g} Hz, which a window of "
                f"{self.window_s:g} s tells apart, got {low:g} to {high:g} Hz"
            )
        return np.asarray(ends)

    def _powers_of_bands(
        self, samples: Array, capture: Capture, edges: Array, bands: Array
    ) -> tuple[Array, Array]:
        """(attempts, windows * bands) centred and of length 1, and acquired (attempts,)."""
        filtered = self.filtered(samples, capture)
        width = int(np.diff(edges).min())
        taper = np.hanning(width + 2)[1:-1]
        pieces = filtered[..., edges[:-1, None] + np.arange(width)] * taper
        with np.errstate(over="ignore", invalid="ignore"):  # absurd amplitudes are not acquired
            squared = np.square(np.abs(np.fft.rfft(pieces, axis=-1))).mean(axis=1)
            root = np.sqrt(np.square(filtered).mean(axis=(1, 2)))
        # reduceat adds in one order whatever the batch, which a mean over a slice does not
        found = np.add.reduceat(squared[..., : bands[-1]], bands[:-1], axis=-1) / np.diff(bands)
        finite = np.isfinite(found).all(axis=(1, 2)) & np.isfinite(root)
        found[~finite] = 1.0
        powers = np.log(np.maximum(found, np.finfo(float).tiny))
        powers = (powers - powers.mean(axis=1, keepdims=True)).reshape(len(samples), -1)
        length = np.sqrt(np.square(powers).sum(axis=1, keepdims=True))
        unit = np.divide(powers, length, out=np.zeros_like(powers), where=length > 0)
        return unit, finite & (root >= self.least(capture))
