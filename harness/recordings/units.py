"""Units of the signals we know: what is taken, and the one in which it is handed over."""

from __future__ import annotations

from collections.abc import Mapping

from harness.errors import CorpusError

__all__ = ["CANONICAL", "SAMPLED", "canonical"]

CANONICAL: Mapping[str, str] = {"emg": "uV", "ecg": "mV", "acceleration": "g", "intervals": "s"}
SAMPLED = frozenset({"emg", "ecg", "acceleration"})  # these make no sense without a rate

# Both Unicode micro signs are in use for µV; standard gravity is exact by definition (CGPM 1901).
_VOLT = {"V": 1.0, "mV": 1e-3, "uV": 1e-6, "\u00b5V": 1e-6, "\u03bcV": 1e-6, "nV": 1e-9}
_PER_G = 1 / 9.80665
_FACTORS: Mapping[str, Mapping[str, float]] = {
    "emg": {unit: volts * 1e6 for unit, volts in _VOLT.items()} | {"mV": 1e3, "uV": 1.0},
    "ecg": {unit: volts * 1e3 for unit, volts in _VOLT.items()} | {"mV": 1.0, "uV": 1e-3},
    "acceleration": {"g": 1.0, "mg": 1e-3, "m/s2": _PER_G, "m/s^2": _PER_G, "m/s\u00b2": _PER_G},
    "intervals": {"s": 1.0, "ms": 1e-3, "us": 1e-6},
}


def canonical(signal: str, unit: str) -> tuple[str, float]:
    """Return the unit in which `signal` is handed over, and the factor that takes `unit` to it.

    Parameters
    ----------
    signal, unit : str
        As a manifest names them. A signal that we do not know keeps its unit.

    Returns
    -------
    (str, float)

    Raises
    ------
    CorpusError
        If the signal is known and the unit is not one of its kind.

    Examples
    --------
    >>> canonical("emg", "mV")
    ('uV', 1000.0)
    >>> canonical("sweat", "uS")
    ('uS', 1.0)
    """
    factors = _FACTORS.get(signal)
    if factors is None:
        return unit, 1.0
    if unit not in factors:
        known = ", ".join(name for name in factors if name.isascii())
        raise CorpusError(f"must be a unit of {signal} ({known}), got {unit!r}")
    return CANONICAL[signal], factors[unit]
