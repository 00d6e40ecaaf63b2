"""From a capture to witness symbols."""

from __future__ import annotations

from schemes.quantisers.contract import Quantiser
from schemes.quantisers.interval_bits import IntervalBits
from schemes.quantisers.trend import TrendSymbols

__all__ = ["IntervalBits", "Quantiser", "TrendSymbols"]
