"""Numbers in, numbers out: range checks on arrays; and pure ethanol and water, by published correlations."""

from __future__ import annotations

from fractions import Fraction
from functools import cache, cached_property
from typing import Any

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import ArrayLike, NDArray

from potsim.data import read_table
from potsim.errors import RequestError, require
from potsim.records import dataclass

Array = NDArray[np.float64]
FloatOrArray = float | Array


def distinct(values: ArrayLike) -> Array:
    """Return the values in rising order, each once; numpy's ``unique`` loads a tenth of numpy for it."""
    rising = np.sort(np.ravel(values))
    return rising[np.concatenate([[True], rising[1:] > rising[:-1]])] if rising.size else rising


def within(argument: str, values: ArrayLike, low: float, high: float, unit: str = "", **more: Any) -> Array:
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
    **more
        What else the refusal tells.

    Returns
    -------
    ndarray
        The values as floats, shape as given.

    Raises
    ------
    RangeError
        If a value lies outside or is not a number; the first such value is named.
    """
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        given = repr(values)
        raise RequestError.of("wrong_type", argument, given=given, allowed="floats", unit=unit) from None
    if isinstance(values, float):  # most often one number
        least = most = values
    elif array.size:
        least, most = np.minimum.reduce(array, axis=None), np.maximum.reduce(array, axis=None)
    else:
        return array
    if low <= least and most <= high and most != np.inf:
        return array
    fine = (array >= low) & (array <= high) & np.isfinite(array)
    if not fine.all():
        first = float(array[~fine].flat[0]) if array.ndim else float(array)
        require(argument, first, low, high, unit, **more)
    return array


def plain(values: Array) -> FloatOrArray:
    """Return a float for a zero-dimensional array, and any other array as it is."""
    return float(values) if np.ndim(values) == 0 else values


# --- Pure ethanol and pure water: vapour pressure, density and heat by named published correlations.


TABLE = "pure_components.csv"
R = 8.314462618  # J/(mol K), CODATA 2018, exact
T_MIN_K, T_MAX_K = 273.15, 423.15


def coefficients(component: str, property_name: str) -> dict[str, float]:
    """Return the coefficients of a property of ethanol or water, by term as printed in `TABLE`."""
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
        """Return ``ln(P / Pa)`` of the vapour pressure and its slope [1/K] at temperatures [K]."""
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
    """Return the vapour pressure equation of ``"ethanol"`` or ``"water"``."""
    terms = coefficients(component, "vapour_pressure")
    tc, pc = terms.pop("Tc"), terms.pop("Pc")
    in_halves = {round(2.0 * float(n)): a for n, a in terms.items()}
    return Wagner(tc, pc, tuple(in_halves.get(n, 0.0) for n in range(max(in_halves) + 1)))


@dataclass(frozen=True)
class SecondVirial:
    """Second virial coefficient of a vapour by the correlation of Tsonopoulos (1974).

    Parameters
    ----------
    tc_k, pc_pa, vc_m3_mol, omega : float
        Critical temperature [K], pressure [Pa] and volume [m3/mol], and acentric factor.
    a, b : float
        Coefficients of the polar terms.
    """

    tc_k: float
    pc_pa: float
    vc_m3_mol: float
    omega: float
    a: float
    b: float

    def __call__(self, temperature_k: Array) -> tuple[Array, Array]:
        """Return ``B`` [m3/mol] and ``dB/dT`` [m3/(mol K)] at temperatures [K]."""
        u = self.tc_k / temperature_k
        c0 = 0.1445 + 0.0637 * self.omega
        c2 = -0.1385 + 0.331 * self.omega
        c3 = -0.0121 - 0.423 * self.omega
        c8 = -0.000607 - 0.008 * self.omega - self.b
        reduced = c0 + u * (-0.33 + u * (c2 + u * (c3 + u**3 * (self.a + u**2 * c8))))
        slope = -0.33 + u * (2.0 * c2 + u * (3.0 * c3 + u**3 * (6.0 * self.a + u**2 * 8.0 * c8)))
        scale = R * self.tc_k / self.pc_pa
        return scale * reduced, -scale * slope * u / temperature_k


@cache
def second_virial(component: str) -> SecondVirial:
    """Return the second virial coefficient of the vapour of ``"ethanol"`` or ``"water"``."""
    terms = coefficients(component, "second_virial")
    return SecondVirial(*(terms[name] for name in ("Tc", "Pc", "Vc", "omega", "a", "b")))


@cache
def cross_virial(k12: float) -> SecondVirial:
    """Return the second virial coefficient between ethanol and water.

    Parameters
    ----------
    k12 : float
        How far the attraction of unlike molecules falls short of the geometric mean [-].

    Returns
    -------
    SecondVirial
        The correlation with combined constants.

    Notes
    -----
    Combining rules of Tsonopoulos as in Poling et al. (2001), chapter 4 (from memory): ``Tc12 = (1 - k12)
    sqrt(Tc1 Tc2)``, ``Pc12 = 4 Tc12 (Pc1 Vc1/Tc1 + Pc2 Vc2/Tc2) / (Vc1^(1/3) + Vc2^(1/3))^3``, else means.
    """
    one, two = second_virial("ethanol"), second_virial("water")
    tc = (1.0 - k12) * float(np.sqrt(one.tc_k * two.tc_k))
    volume = (np.cbrt(one.vc_m3_mol) + np.cbrt(two.vc_m3_mol)) ** 3 / 8.0
    both = (one.pc_pa * one.vc_m3_mol / one.tc_k + two.pc_pa * two.vc_m3_mol / two.tc_k) / 2.0
    omega, a, b = (0.5 * (getattr(one, name) + getattr(two, name)) for name in ("omega", "a", "b"))
    return SecondVirial(tc, float(tc * both / volume), float(volume), omega, a, b)


@cache
def molar_mass(component: str) -> float:
    """Return the molar mass of ``"ethanol"`` or ``"water"`` [kg/mol]."""
    return coefficients(component, "molar_mass")[""] / 1000.0


@dataclass(frozen=True)
class LiquidDensity:
    """Density of a saturated liquid, ``rho/rhoc = 1 + sum a_n tau^n``.

    Parameters
    ----------
    tc_k, critical_kg_m3 : float
        Critical temperature [K] and density [kg/m3].
    terms : tuple of (float, float)
        Power n and coefficient a_n.
    """

    tc_k: float
    critical_kg_m3: float
    terms: tuple[tuple[float, float], ...]

    def __call__(self, temperature_k: Array) -> Array:
        """Return the density [kg/m3] at temperatures [K] below critical."""
        powers, factors = np.array(self.terms).T
        tau = 1.0 - temperature_k / self.tc_k
        return np.asarray(self.critical_kg_m3 * (1.0 + np.power.outer(tau, powers) @ factors))


@cache
def liquid_density(component: str) -> LiquidDensity:
    """Return the equation for the density of saturated liquid ``"ethanol"`` or ``"water"``."""
    terms = coefficients(component, "liquid_density")
    tc, critical = terms.pop("Tc"), terms.pop("rhoc")
    return LiquidDensity(tc, critical, tuple((float(Fraction(n)), a) for n, a in terms.items()))


@dataclass(frozen=True)
class Heats:
    """Molar heats of a pure component as polynomials in temperature.

    Parameters
    ----------
    liquid, gas : Polynomial
        Heat capacity of the liquid and of the ideal gas [J/(mol K)] against T [K].
    boiling_k, vaporisation_j_mol : float
        Normal boiling point [K] and heat of vaporisation there [J/mol].
    """

    liquid: Polynomial
    gas: Polynomial
    boiling_k: float
    vaporisation_j_mol: float

    @cached_property
    def liquid_enthalpy(self) -> Polynomial:
        """Enthalpy of the liquid [J/mol] against T [K], zero at 273.15 K."""
        return self.liquid.integ(lbnd=T_MIN_K)

    @cached_property
    def vapour_enthalpy(self) -> Polynomial:
        """Enthalpy of the vapour [J/mol] against T [K], on the scale of `liquid_enthalpy`."""
        start = self.liquid_enthalpy(self.boiling_k) + self.vaporisation_j_mol
        return self.gas.integ(lbnd=self.boiling_k) + start


@cache
def heats(component: str) -> Heats:
    """Return the molar heats of ``"ethanol"`` or ``"water"``."""
    liquid = [a / 100.0**n for n, a in enumerate(coefficients(component, "liquid_heat_capacity").values())]
    gas = list(coefficients(component, "gas_heat_capacity").values())
    ((boiling, vaporisation),) = coefficients(component, "heat_of_vaporisation").items()
    return Heats(R * Polynomial(liquid), R * Polynomial(gas), float(boiling), vaporisation)
