"""Amounts rounded to what can be weighed and measured."""

from __future__ import annotations

import math

WEIGHING_G = 0.01  # the step of a scale for small masses; common practice, no source
CLOSE = 0.02  # a step of the scale may be so large a share of a dose; common practice, no source
WRITTEN = 1e-4  # relative; amounts that are scaled are written so closely, and can be scaled back
MOST_DIGITS = 6


def on_scale(amount: float, step: float = WEIGHING_G) -> float:
    """Round an amount to the step of a scale, or finer where that step is coarse beside it.

    Parameters
    ----------
    amount : float
        Such as a mass [g] or a number of pieces.
    step : float
        Step of the scale, a power of ten, in the same unit.

    Returns
    -------
    float
        Never off by more than half a step, nor by more than 1 %.

    Examples
    --------
    >>> on_scale(9.3333), on_scale(0.0333)
    (9.33, 0.0333)
    """
    if amount == 0.0:
        return 0.0
    finest = math.floor(math.log10(abs(amount) * CLOSE))
    return round(amount, -min(round(math.log10(step)), finest))


def short(amount: float) -> float:
    """Round an amount to the fewest digits that keep it to one part in ten thousand.

    Parameters
    ----------
    amount : float
        Any amount.

    Returns
    -------
    float
        The amount.

    Examples
    --------
    >>> short(5.00013), short(147.0373)
    (5.0, 147.04)
    """
    for digits in range(1, MOST_DIGITS):
        rounded = float(f"{amount:.{digits}g}")
        if abs(rounded - amount) <= WRITTEN * abs(amount):
            return rounded
    return float(f"{amount:.{MOST_DIGITS}g}")
