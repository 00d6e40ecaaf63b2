"""From where on the intake check remarks on something. All are assumptions, wide enough that what a
sound recording does by chance is not remarked on; the measures themselves are always printed."""

from __future__ import annotations

__all__ = [
    "ACTIVE",
    "CLIPPED",
    "DRIFT_PPM",
    "FLAT_S",
    "MAINS_DB",
    "OFFSET_S",
    "RATE",
    "SNR_DB",
    "WINDOW_S",
]

WINDOW_S = 0.1  # of the RMS: long enough for its own error to be small, short beside a squeeze
ACTIVE = 3.0  # times the noise floor: 9.5 dB
CLIPPED = 0.001  # share of samples at a rail
FLAT_S = 0.5  # one value without change
MAINS_DB = 12.0  # above its neighbours; the most that 4000 captures of noise, 2 s each, made was 8.9
RATE = 1e-3  # effective against nominal
SNR_DB = 6.0  # twice the floor
OFFSET_S = 0.005  # between the devices of a pair: a tenth of a symbol of 50 ms
DRIFT_PPM = 20.0  # a quartz is good for some tens
