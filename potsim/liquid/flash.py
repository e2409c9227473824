"""Flash point of ethanol-water: how warm a spirit must be for the vapour over it to be lit."""

from __future__ import annotations

from functools import cache

import numpy as np

from potsim.data import read_table
from potsim.errors import RangeError
from potsim.liquid.equilibrium import activity_coefficients, vapour_pressure_ethanol
from potsim.liquid.pure import T_MIN_K

TABLE = "safety.csv"
HOTTEST_K = 373.15  # there even spirit of 1 % vol boils
LOOKS = 401  # temperatures at which the vapour is looked at: every quarter of a kelvin


@cache
def flash_point_of_ethanol() -> float:
    """Return the flash point of ethanol [K], from ``data/safety.csv``.

    Returns
    -------
    float
        By IEC 60079-20-1 (2010).
    """
    (row,) = (row for row in read_table(TABLE) if row["fact"] == "flash point of ethanol")
    return float(row["value"]) + 273.15


def flash_point(x: float) -> float:
    """Return the flash point of ethanol-water.

    Parameters
    ----------
    x : float
        Mole fraction of ethanol, about 0.003 (1 % vol) to 1.

    Returns
    -------
    float
        Flash point [K].

    Raises
    ------
    RangeError
        If there is no ethanol, or too little for the vapour to be lit below 100 °C.

    Notes
    -----
    The vapour can be lit where it holds as much ethanol as over pure ethanol at its flash point:
    ``x gamma p(T) = p(T_flash)``, as water does not burn (rule of Le Chatelier; for water and alcohols the
    model of Liaw and others, J. Loss Prev. Process Ind. 15 (2002) 429, cited from memory). A table known from
    memory lies above by 1 to 2 K from 30 to 80 % by mass, by 7 K at 5 %: this errs to the safe side.

    Examples
    --------
    >>> round(flash_point(0.2) - 273.15)
    24
    """
    t = np.linspace(T_MIN_K, HOTTEST_K, LOOKS)
    needed = float(vapour_pressure_ethanol(flash_point_of_ethanol()))
    gamma = np.asarray(activity_coefficients(x, t).ethanol)
    there = x * gamma * np.asarray(vapour_pressure_ethanol(t))
    if there[-1] < needed:
        raise RangeError(
            "x", f"{x:g}", "enough ethanol to be lit below 100 °C, 0.003 or more", "Ask for stronger spirit."
        )
    return float(np.interp(np.log(needed), np.log(there), t))
