"""Units of the signals we know: what is taken, and the one in which it is handed over."""

from __future__ import annotations

from collections.abc import Mapping

from harness.errors import CorpusError

__all__ = ["CANONICAL", "SAMPLED", "canonical", "factor"]

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


_NONE = frozenset({"-", "?", "none", "n/a", "na", "a.u.", "adu", "counts"})  # states nothing


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


def factor(signal: str, header: str | None, manifest: str | None) -> float:
    """Return what takes stored numbers to the canonical unit, from what header and manifest state.

    Parameters
    ----------
    signal : str
    header : str or None
        As a file writes it; None: its kind of file states no unit.
    manifest : str or None
        None: the cell is empty.

    Raises
    ------
    CorpusError
        If they contradict, or what the header writes is no unit that we know and the manifest states none.

    Examples
    --------
    >>> factor("emg", "mV", None), factor("emg", "counts", "uV")
    (1000.0, 1.0)
    """
    text = (header or "").strip()
    known = any(text in units for units in _FACTORS.values())
    kind = _FACTORS.get(signal)
    if manifest is None:
        if kind is None or text not in kind:
            names = ", ".join(name for name in kind or () if name.isascii())
            raise CorpusError(
                f"must have a unit of {signal} ({names}) in its header, got {text[:40]!a}; "
                "state it in the manifest's `unit`"
            )
        return kind[text]
    own = canonical(signal, manifest)[1]
    agrees = text == manifest if kind is None else kind.get(text) == own
    if text and not agrees and (known or (kind is None and text not in _NONE)):
        raise CorpusError(
            f"must be in the unit that the manifest states, but its header says {text[:40]!a} "
            f"and the manifest {manifest[:40]!a}"
        )
    return own
