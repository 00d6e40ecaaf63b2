"""As many digits as show why numbers differ."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

__all__ = ["apart"]

_FEWEST, _ALL = 3, 17  # seventeen significant digits always tell two float64 apart


def apart(*values: float) -> tuple[str, ...]:
    """Numbers as texts that stand in the same order as the numbers.

    Three significant digits where they suffice, as many more as it takes where they do not: different
    numbers never read the same.

    Parameters
    ----------
    *values : float
        At least one. Infinities are said in words.

    Returns
    -------
    tuple of str
        One text per value.

    Raises
    ------
    ValueError
        If a value is not a number.

    Examples
    --------
    >>> apart(0.02, 0.0199996), apart(0.487123, 0.5), apart(1.0, 0.99999)
    (('0.02', '0.0199996'), ('0.487', '0.5'), ('1', '0.99999'))
    >>> apart(0.1 + 0.2, 0.3), apart(float("inf"), 1.5)
    (('0.30000000000000004', '0.3'), ('infinite', '1.5'))
    """
    if any(math.isnan(v) for v in values):
        raise ValueError(f"`values` must be numbers, got {values}")
    digits = next(d for d in range(_FEWEST, _ALL + 1) if d == _ALL or _tells(values, d))
    return tuple(_written(v, digits) for v in values)


def _tells(values: Sequence[float], digits: int) -> bool:
    finite = {float(v) for v in values if math.isfinite(v)}
    return len({float(_written(v, digits)) for v in finite}) == len(finite)


def _written(value: float, digits: int) -> str:
    if math.isinf(value):
        return "infinite" if value > 0 else "-infinite"
    if value == 0:
        return "0"
    plain = 1e-3 <= abs(value) < 1e6
    if digits == _ALL:  # the shortest text that reads back the same number
        text = format(Decimal(repr(value)), "f" if plain else "e")
    elif plain:
        text = f"{value:.{max(0, digits - 1 - math.floor(math.log10(abs(value))))}f}"
    else:
        text = f"{value:.{digits - 1}e}"
    mantissa, _, exponent = text.partition("e")
    mantissa = mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa
    return f"{mantissa}e{int(exponent)}" if exponent else mantissa
