"""Pure ethanol and pure water: vapour pressure by named published correlations."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from potsim.data import read_table
from potsim.liquid.arrays import Array

TABLE = "pure_components.csv"
R = 8.314462618  # J/(mol K), CODATA 2018, exact
T_MIN_K, T_MAX_K = 273.15, 423.15


def coefficients(component: str, property_name: str) -> dict[str, float]:
    """Return the coefficients of one property of one component, term to value.

    Parameters
    ----------
    component : str
        ``"ethanol"`` or ``"water"``.
    property_name : str
        A property named in the header of the table.

    Returns
    -------
    dict of str to float
        Terms as printed in ``potsim/data/pure_components.csv``.
    """
    return {
        row["term"]: float(row["value"])
        for row in read_table(TABLE)
        if row["component"] == component and row["property"] == property_name
    }


@dataclass(frozen=True)
class Wagner:
    """A vapour pressure equation of Wagner's form, ``ln(P/Pc) = (Tc/T) sum a_n tau^n``.

    Parameters
    ----------
    tc_k, pc_pa : float
        Critical temperature [K] and pressure [Pa].
    powers : tuple of float
        Coefficients of the powers 0, 1, 2, ... of the square root of ``tau = 1 - T/Tc``.
    """

    tc_k: float
    pc_pa: float
    powers: tuple[float, ...]

    def ln_pressure(self, temperature_k: Array) -> tuple[Array, Array]:
        """Return the logarithm of the vapour pressure in Pa and its slope.

        Parameters
        ----------
        temperature_k : ndarray
            Temperature [K], below critical.

        Returns
        -------
        tuple of ndarray
            ``ln P`` and ``d ln P / dT`` [1/K].
        """
        root = np.sqrt(1.0 - temperature_k / self.tc_k)
        series = np.zeros_like(root)
        slope = np.zeros_like(root)
        for a in reversed(self.powers):
            slope = slope * root + series
            series = series * root + a
        ln_reduced = series * self.tc_k / temperature_k
        return (
            ln_reduced + np.log(self.pc_pa),
            -(ln_reduced + slope / (2.0 * root)) / temperature_k,
        )


@cache
def wagner(component: str) -> Wagner:
    """Return the vapour pressure equation of ethanol or water.

    Parameters
    ----------
    component : str
        ``"ethanol"`` or ``"water"``.

    Returns
    -------
    Wagner
        The equation with its coefficients.
    """
    terms = coefficients(component, "vapour_pressure")
    tc, pc = terms.pop("Tc"), terms.pop("Pc")
    in_halves = {round(2.0 * float(n)): a for n, a in terms.items()}
    return Wagner(tc, pc, tuple(in_halves.get(n, 0.0) for n in range(max(in_halves) + 1)))
