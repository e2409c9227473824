"""Numbers in, numbers out: range checks on arrays, and a float back for a float."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from potsim.errors import RangeError

Array = NDArray[np.float64]
FloatOrArray = float | Array


def within(
    argument: str, values: ArrayLike, low: float, high: float, unit: str = "", hint: str = ""
) -> Array:
    """Return the values as an array, refusing any outside the range.

    Parameters
    ----------
    argument : str
        Name of the argument, for the message.
    values : array_like
        What was given.
    low, high : float
        The allowed range, ends included; ``high`` may be infinite, but no value.
    unit : str
        Unit of all three.
    hint : str
        What to do instead.

    Returns
    -------
    ndarray
        The values as floats, shape as given.

    Raises
    ------
    RangeError
        If a value lies outside or is not a number; the first such value is named.
    """
    array = np.asarray(values, dtype=float)
    if isinstance(values, float):  # most often one number
        least = most = values
    elif array.size:
        least, most = array.min(), array.max()
    else:
        return array
    if low <= least and most <= high and most != np.inf:
        return array
    fine = (array >= low) & (array <= high) & np.isfinite(array)
    if not fine.all():
        first = float(array[~fine].flat[0]) if array.ndim else float(array)
        space = f" {unit}" if unit else ""
        allowed = f"{low:g} to {high:g}{space}" if np.isfinite(high) else f"{low:g}{space} or more"
        raise RangeError(argument, f"{first:g}{space}", allowed, hint)
    return array


def plain(values: Array) -> FloatOrArray:
    """Return a float for a zero-dimensional array, and any other array as it is.

    Parameters
    ----------
    values : ndarray
        A result.

    Returns
    -------
    float or ndarray
        The same numbers.
    """
    return float(values) if np.ndim(values) == 0 else values
