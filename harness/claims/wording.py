"""Numbers of claims in sentences."""

from __future__ import annotations

__all__ = ["apart", "budget_words", "number", "percent"]


def number(value: float) -> str:
    """Four significant digits.

    Examples
    --------
    >>> number(0.05), number(128.0), number(1e-4)
    ('0.05', '128', '0.0001')
    """
    return f"{value:.4g}"


def apart(value: float, threshold: float) -> str:
    """A value with as many digits as it takes to tell it from a threshold.

    Examples
    --------
    >>> apart(0.0412345, 0.05), apart(0.05000001, 0.05), apart(0.05, 0.05)
    ('0.0412', '0.05000001', '0.05')
    """
    for digits in range(3, 18):
        text = f"{value:.{digits}g}"
        if (float(text) < threshold) == (value < threshold) and (float(text) > threshold) == (
            value > threshold
        ):
            return text
    return repr(value)


def percent(confidence: float) -> str:
    """A confidence, never rounded up to certainty.

    Examples
    --------
    >>> percent(0.95), percent(1 - 0.05 / 7), percent(0.999999)
    ('95 %', '99.29 %', '99.9999 %')
    """
    for digits in range(4, 18):
        text = f"{100 * confidence:.{digits}g}"
        if float(text) < 100:
            return f"{text} %"
    return f"{100 * confidence!r} %"


def budget_words(budget: int | None) -> str:
    """A number of guesses.

    Examples
    --------
    >>> [budget_words(b) for b in (1, 100, 2**40, None)]
    ['at 1 guess', 'at 100 guesses', 'at 2^40 guesses', '']
    """
    if budget is None:
        return ""
    if budget >= 1024 and budget & (budget - 1) == 0:
        return f"at 2^{budget.bit_length() - 1} guesses"
    return "at 1 guess" if budget == 1 else f"at {budget} guesses"
