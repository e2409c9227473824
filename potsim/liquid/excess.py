"""The excess Gibbs energy and excess enthalpy of liquid ethanol-water, from one set of parameters."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from potsim.data import read_table
from potsim.liquid.arrays import Array
from potsim.liquid.pure import R

TABLE = "ethanol_water.csv"


@dataclass(frozen=True)
class Mixture:
    """The composition part of the excess functions at given mole fractions.

    Each field has one leading axis for the four temperature terms of `Excess`.

    Parameters
    ----------
    ethanol, water : ndarray, shape (4, ...)
        Parts of ``ln gamma``.
    gibbs : ndarray, shape (4, ...)
        Parts of ``gE / RT``.
    curvature : ndarray, shape (4, ...)
        Parts of its second derivative in x.
    """

    ethanol: Array
    water: Array
    gibbs: Array
    curvature: Array


@dataclass(frozen=True)
class Excess:
    """Excess functions of ethanol (1) - water (2).

    Parameters
    ----------
    ratio : float
        How many water molecules count as much as one of ethanol in ``z``.
    reference_k : float
        Temperature T0 at which ``gE`` is given [K].
    vapour_share : float
        Share of the second virial correction that goes with these parameters; see `potsim.liquid.boiling`.
    terms : ndarray, shape (4, n)
        Coefficients of the powers of ``z``: ``gE/RT`` at T0 [-]; ``hE`` at T0 [J/mol]; ``cpE`` at T0 [J/(mol
        K)]; half of its slope in T [J/(mol K2)].

    Notes
    -----
    ``hE = x1 x2 sum_n (h_n + c_n (T - T0) + d_n (T - T0)^2) z^n`` with ``z = 2 r x1 / (r x1 + x2) - 1``, and
    ``gE/RT = x1 x2 sum_n g_n z^n - int_T0^T hE / (R T^2) dT`` (Gibbs-Helmholtz). The activity coefficients
    are the partial molar derivatives of ``gE/RT``, so Gibbs-Duhem holds exactly, and they are smooth and
    finite to both ends.
    """

    ratio: float
    reference_k: float
    vapour_share: float
    terms: Array

    def mixture(self, x: Array) -> Mixture:
        """Return the composition part, which does not change with temperature.

        Parameters
        ----------
        x : ndarray
            Mole fraction of ethanol.

        Returns
        -------
        Mixture
            To be combined with `gibbs_weights` or `heat_weights`.
        """
        x1, x2 = x, 1.0 - x
        share = self.ratio * x1 + x2
        z = 2.0 * self.ratio * x1 / share - 1.0
        z1 = 2.0 * self.ratio / share**2
        z2 = -2.0 * (self.ratio - 1.0) * z1 / share
        f, fz, fzz = np.zeros((3, 4, *x.shape))
        for column in self.terms.T[::-1]:
            fzz = fzz * z + 2.0 * fz
            fz = fz * z + f
            f = f * z + column.reshape(4, *(1,) * x.ndim)
        f1 = fz * z1
        f2 = fzz * z1**2 + fz * z2
        return Mixture(
            ethanol=x2**2 * (f + x1 * f1),
            water=x1**2 * (f - x2 * f1),
            gibbs=x1 * x2 * f,
            curvature=-2.0 * f + 2.0 * (x2 - x1) * f1 + x1 * x2 * f2,
        )

    def gibbs_weights(self, temperature_k: Array) -> Array:
        """Return the weights of the four terms in ``gE / RT``.

        Parameters
        ----------
        temperature_k : ndarray
            Temperature [K].

        Returns
        -------
        ndarray, shape (4, ...)
            ``1`` and the three integrals of Gibbs-Helmholtz.
        """
        t, t0 = temperature_k, self.reference_k
        log = np.log(t / t0)
        return np.stack(
            [
                np.ones_like(t),
                (1.0 / t - 1.0 / t0) / R,
                -(log + t0 / t - 1.0) / R,
                -(t - 2.0 * t0 * log - t0**2 / t) / R,
            ]
        )

    def gibbs_slopes(self, temperature_k: Array) -> Array:
        """Return the derivatives in T of `gibbs_weights` [1/K].

        Parameters
        ----------
        temperature_k : ndarray
            Temperature [K].

        Returns
        -------
        ndarray, shape (4, ...)
            ``-hE/(R T^2)``, term by term.
        """
        return -self.heat_weights(temperature_k) / (R * temperature_k**2)

    def heat_weights(self, temperature_k: Array) -> Array:
        """Return the weights of the four terms in the excess enthalpy.

        Parameters
        ----------
        temperature_k : ndarray
            Temperature [K].

        Returns
        -------
        ndarray, shape (4, ...)
            ``0, 1, T - T0, (T - T0)^2``.
        """
        dt = temperature_k - self.reference_k
        return np.stack([np.zeros_like(dt), np.ones_like(dt), dt, dt**2])

    def heat_slopes(self, temperature_k: Array) -> Array:
        """Return the weights of the four terms in the excess heat capacity.

        Parameters
        ----------
        temperature_k : ndarray
            Temperature [K].

        Returns
        -------
        ndarray, shape (4, ...)
            ``0, 0, 1, 2 (T - T0)``.
        """
        dt = temperature_k - self.reference_k
        return np.stack([np.zeros_like(dt), np.zeros_like(dt), np.ones_like(dt), 2.0 * dt])


@cache
def excess() -> Excess:
    """Return the excess functions with the fitted parameters of the package.

    Returns
    -------
    Excess
        Read from ``potsim/data/ethanol_water.csv``; its header says how they were fitted.
    """
    rows = read_table(TABLE)
    single = {row["parameter"]: float(row["value"]) for row in rows if row["power"] == ""}
    terms = [[float(row["value"]) for row in rows if row["parameter"] == name] for name in "ghcd"]
    return Excess(single["ratio"], single["reference_temperature"], single["vapour_share"], np.array(terms))
