"""Equilibrium of ethanol-water: excess functions of the liquid, the vapour over it, what boils at what.

``p_i = x_i gamma_i(x, T) Psat_i(T) F_i(T, P, y)`` with
``R T ln F_i = (v_i - B_ii) (P - Psat_i) - y_j^2 delta P`` and ``delta = 2 B12 - B11 - B22``: the virial
equation to the second coefficient, that of unlike molecules included, and the pressure on the liquid
(Poynting). The parameters were fitted by ``benchmarks/fit_equilibrium.py`` to measurements from 4 to 159 kPa.
Expected error at 60 to 110 kPa: 0.006 in ``y``, 0.1 K; the published sets themselves differ by 0.02 in ``y``
at the dilute end.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from potsim.data import read_table
from potsim.errors import RangeError, RequestError
from potsim.liquid.boiling import Boiling as Boiling
from potsim.liquid.boiling import Excess, azeotrope_of, liquid_under
from potsim.liquid.boiling import boil as boil
from potsim.liquid.boiling import combine as combine
from potsim.liquid.pure import (
    T_MAX_K,
    T_MIN_K,
    Array,
    FloatOrArray,
    plain,
    wagner,
    within,
)

TABLE = "ethanol_water.csv"


_OWN: list[Excess] = []  # of the user's; the last is in use


def excess() -> Excess:
    """Return the excess functions in use: the package's, or those of `activity_model`."""
    return _OWN[-1] if _OWN else fitted()


@cache
def fitted() -> Excess:
    """Return the excess functions of ``data/ethanol_water.csv``, whose header says how they were fitted."""
    rows = read_table(TABLE)
    single = {row["parameter"]: float(row["value"]) for row in rows if row["power"] == ""}
    terms = [[float(row["value"]) for row in rows if row["parameter"] == name] for name in "ghcd"]
    return Excess(single["ratio"], single["reference_temperature"], single["k12"], np.array(terms))


OWN_K = (340.0, 380.0)  # temperatures at which one's own function is asked
OWN_CLOSE = 2e-3  # by which ``gE/RT`` may miss it


@contextmanager
def activity_model(gibbs: Callable[[Array, Array], ArrayLike]) -> Iterator[Excess]:
    """Compute with another excess function for as long as a ``with`` block lasts.

    Parameters
    ----------
    gibbs : callable
        ``gE / RT`` of ethanol and water [-] as a function of the mole fraction of ethanol and the
        temperature [K], both arrays of one shape; 0 at both ends.

    Yields
    ------
    Excess
        The package's form, fitted to it between 340 and 380 K.

    Raises
    ------
    RequestError
        If that form misses the function by more than 0.002 anywhere.

    Notes
    -----
    All tables are made anew, before and after. The heat of mixing follows from the same function.

    Examples
    --------
    >>> import potsim
    >>> def margules(x, t):  # constants for the example only
    ...     return x * (1 - x) * (1.6 * (1 - x) + 0.9 * x)
    >>> with potsim.activity_model(margules):
    ...     run = potsim.distil(potsim.example_plan())
    >>> usual = potsim.distil(potsim.example_plan())
    >>> bool(run.stop.collected_l == usual.stop.collected_l)
    False
    """
    usual = fitted()
    nodes = 0.5 - 0.5 * np.cos(np.pi * (np.arange(48) + 0.5) / 48)
    x, t = (np.ravel(one) for one in np.meshgrid(nodes, np.linspace(*OWN_K, 9)))
    wanted = np.asarray(gibbs(x, t), dtype=float)
    z = 2.0 * usual.ratio * x / (usual.ratio * x + 1.0 - x) - 1.0
    powers = x * (1.0 - x) * z ** np.arange(usual.terms.shape[1])[:, None]
    weights = usual.gibbs_weights(t)[:3]
    columns = (weights[:, None, :] * powers).reshape(-1, x.size)
    size = np.linalg.norm(columns, axis=1)
    found = np.linalg.lstsq((columns / size[:, None]).T, wanted, rcond=1e-9)[0]
    off = float(np.abs(found @ (columns / size[:, None]) - wanted).max())
    if not off <= OWN_CLOSE:
        raise RequestError.of("not_smooth", "gibbs", given=off, allowed=OWN_CLOSE)
    terms = np.zeros_like(usual.terms)
    terms[:3] = (found / size).reshape(3, -1)
    _OWN.append(Excess(usual.ratio, usual.reference_k, usual.k12, terms))
    _forget()
    try:
        yield _OWN[-1]
    finally:
        _OWN.pop()
        _forget()


def _forget() -> None:
    """Drop all that was tabulated."""
    for name, module in list(sys.modules.items()):
        if name.startswith("potsim."):
            for value in list(vars(module).values()):
                if hasattr(value, "cache_clear"):
                    value.cache_clear()


# --- Vapour-liquid equilibrium of ethanol-water: what a liquid boils at, and what its vapour is.


ATMOSPHERE_PA = 101325.0
P_MIN_PA, P_MAX_PA = 4000.0, 160000.0


class ActivityCoefficients(NamedTuple):
    """Activity coefficients [-], the reference being the pure liquids."""

    ethanol: FloatOrArray
    water: FloatOrArray


class BubblePoint(NamedTuple):
    """Boiling point [K] of a liquid and mole fraction of ethanol in its vapour."""

    temperature_k: FloatOrArray
    y: FloatOrArray


class DewPoint(NamedTuple):
    """Temperature [K] at which a vapour begins to condense, and ethanol mole fraction of the first drop."""

    temperature_k: FloatOrArray
    x: FloatOrArray


class Azeotrope(NamedTuple):
    """Mole fraction of ethanol at which liquid and vapour are alike, and the boiling point [K] there."""

    x: FloatOrArray
    temperature_k: FloatOrArray


def vapour_pressure_ethanol(temperature_k: ArrayLike) -> FloatOrArray:
    """Return the vapour pressure of pure ethanol [Pa].

    Parameters
    ----------
    temperature_k : array_like
        Temperature [K], 273.15 to 423.15.

    Returns
    -------
    float or ndarray
        Vapour pressure [Pa].

    Raises
    ------
    RangeError
        If a temperature lies outside.

    Notes
    -----
    Wagner's equation with the coefficients of Poling, Prausnitz & O'Connell (2001), Appendix A; boils at
    78.28 °C at 101.325 kPa. Within 0.15 % of Pemberton & Mash (1978) at 30 and 90 °C.

    Examples
    --------
    >>> from potsim.liquid.equilibrium import vapour_pressure_ethanol
    >>> round(vapour_pressure_ethanol(351.44), -2)
    101300.0
    """
    return _vapour_pressure("ethanol", temperature_k)


def vapour_pressure_water(temperature_k: ArrayLike) -> FloatOrArray:
    """Return the vapour pressure of pure water [Pa].

    Parameters
    ----------
    temperature_k : array_like
        Temperature [K], 273.15 to 423.15.

    Returns
    -------
    float or ndarray
        Vapour pressure [Pa].

    Raises
    ------
    RangeError
        If a temperature lies outside.

    Notes
    -----
    Wagner & Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783, eq. 1 (IAPWS SR1-86); uncertainty 0.025 %.

    Examples
    --------
    >>> from potsim.liquid.equilibrium import vapour_pressure_water
    >>> round(vapour_pressure_water(373.1243))
    101325
    """
    return _vapour_pressure("water", temperature_k)


def activity_coefficients(x: ArrayLike, temperature_k: ArrayLike) -> ActivityCoefficients:
    """Return the activity coefficients of ethanol and water in their liquid mixture.

    Parameters
    ----------
    x : array_like
        Mole fraction of ethanol, 0 to 1.
    temperature_k : array_like
        Temperature [K], 273.15 to 423.15; fitted to measurements from 298 to 387 K and continued outside.

    Returns
    -------
    ActivityCoefficients
        ``(ethanol, water)``, shape as broadcast.

    Raises
    ------
    RangeError
        If a mole fraction or a temperature lies outside.

    Notes
    -----
    See `potsim.liquid.boiling.Excess` for the equation.
    """
    share, t = np.broadcast_arrays(_fraction("x", x), _temperature(temperature_k))
    model = excess()
    mixture, weights = model.mixture(share), model.gibbs_weights(t)
    return ActivityCoefficients(
        plain(np.exp(combine(mixture.ethanol, weights))), plain(np.exp(combine(mixture.water, weights)))
    )


def bubble_point(x: ArrayLike, pressure_pa: ArrayLike = ATMOSPHERE_PA) -> BubblePoint:
    """Return the boiling point of a liquid and the vapour that it gives off.

    Parameters
    ----------
    x : array_like
        Mole fraction of ethanol in the liquid, 0 to 1.
    pressure_pa : array_like
        Pressure [Pa], 4,000 to 160,000.

    Returns
    -------
    BubblePoint
        ``(temperature_k, y)``, shape as broadcast; ``y`` keeps full relative precision however small ``x``
        is.

    Raises
    ------
    RangeError
        If a mole fraction or a pressure lies outside.

    Notes
    -----
    Newton's method in ``1/T`` on ``ln P``, which is nearly a straight line there, with the analytic slope.

    Examples
    --------
    >>> from potsim.liquid.equilibrium import bubble_point
    >>> temperature_k, y = bubble_point(0.1)
    >>> round(temperature_k - 273.15, 1), round(y, 2)
    (86.0, 0.45)
    """
    share, p = np.broadcast_arrays(_fraction("x", x), _pressure(pressure_pa))
    state = boil(share, p, excess())
    return BubblePoint(plain(state.temperature_k), plain(state.y))


def dew_point(y: ArrayLike, pressure_pa: ArrayLike = ATMOSPHERE_PA) -> DewPoint:
    """Return the temperature at which a vapour begins to condense, and its first drop.

    Parameters
    ----------
    y : array_like
        Mole fraction of ethanol in the vapour, 0 to 1, on either side of the azeotrope.
    pressure_pa : array_like
        Pressure [Pa], 4,000 to 160,000.

    Returns
    -------
    DewPoint
        ``(temperature_k, x)``, shape as broadcast.

    Raises
    ------
    RangeError
        If a mole fraction or a pressure lies outside.
    ConvergenceError
        If no liquid was found; not known to happen.

    Notes
    -----
    Finds the liquid of which ``y`` is the vapour: since ``y`` rises with ``x`` from 0 to 1, there is exactly
    one, at the azeotrope too. Newton's method in ``logit x`` with the analytic slope, kept within a closing
    bracket.

    Examples
    --------
    >>> from potsim.liquid.equilibrium import dew_point
    >>> temperature_k, x = dew_point(0.45)
    >>> round(temperature_k - 273.15), round(x, 1)
    (86, 0.1)
    """
    share, p = np.broadcast_arrays(_fraction("y", y), _pressure(pressure_pa))
    x = np.where(share == 1.0, 1.0, 0.0)
    inside = (share > 0.0) & (share < 1.0)
    if inside.any():
        x[inside] = liquid_under(share[inside], p[inside], excess())
    return DewPoint(plain(boil(x, p, excess()).temperature_k), plain(x))


def azeotrope(pressure_pa: ArrayLike = ATMOSPHERE_PA) -> Azeotrope:
    """Return the azeotrope of ethanol and water.

    Parameters
    ----------
    pressure_pa : array_like
        Pressure [Pa], up to 160,000; below about 12,000 there is no azeotrope.

    Returns
    -------
    Azeotrope
        ``(x, temperature_k)``.

    Raises
    ------
    RangeError
        If a pressure lies outside, or too low for an azeotrope.

    Notes
    -----
    Within 0.01 in x of the published azeotropes from 13 to 143 kPa. The model loses the azeotrope at 12 kPa,
    measurements (Merriman 1913, Pemberton & Mash 1978) lose it at 9 to 10 kPa.

    Examples
    --------
    >>> from potsim.liquid.equilibrium import azeotrope
    >>> x, temperature_k = azeotrope()
    >>> round(x, 3), round(temperature_k - 273.15, 1)
    (0.897, 78.2)
    """
    p = _pressure(pressure_pa)
    without = boil(np.ones_like(p), p, excess()).ln_volatility >= 0.0
    if without.any():
        given = float(p[without].flat[0]) if p.ndim else float(p)
        raise RangeError.of("no_azeotrope", "pressure_pa", given=given, allowed=12e3)
    x, temperature_k = azeotrope_of(p, excess())
    return Azeotrope(plain(x), plain(temperature_k))


def limiting_volatility(pressure_pa: ArrayLike = ATMOSPHERE_PA) -> FloatOrArray:
    """Return ``K = y/x`` of ethanol at infinite dilution in boiling water.

    Parameters
    ----------
    pressure_pa : array_like
        Pressure [Pa], 4,000 to 160,000.

    Returns
    -------
    float or ndarray
        The limiting volatility [-].

    Raises
    ------
    RangeError
        If a pressure lies outside.

    Examples
    --------
    >>> from potsim.liquid.equilibrium import limiting_volatility
    >>> 12.5 < limiting_volatility() < 14.0
    True
    """
    p = _pressure(pressure_pa)
    return plain(np.exp(boil(np.zeros_like(p), p, excess()).ln_volatility))


def boiling_point_water(pressure_pa: ArrayLike = ATMOSPHERE_PA) -> FloatOrArray:
    """Return the boiling point of pure water [K].

    Parameters
    ----------
    pressure_pa : array_like
        Pressure [Pa], 4,000 to 160,000.

    Returns
    -------
    float or ndarray
        Temperature [K].

    Raises
    ------
    RangeError
        If a pressure lies outside.
    """
    return bubble_point(0.0, pressure_pa).temperature_k


def boiling_point_ethanol(pressure_pa: ArrayLike = ATMOSPHERE_PA) -> FloatOrArray:
    """Return the boiling point of pure ethanol [K].

    Parameters
    ----------
    pressure_pa : array_like
        Pressure [Pa], 4,000 to 160,000.

    Returns
    -------
    float or ndarray
        Temperature [K].

    Raises
    ------
    RangeError
        If a pressure lies outside.
    """
    return bubble_point(1.0, pressure_pa).temperature_k


def _fraction(argument: str, values: ArrayLike) -> Array:
    return within(argument, values, 0.0, 1.0)


def _pressure(values: ArrayLike) -> Array:
    return within("pressure_pa", values, P_MIN_PA, P_MAX_PA, "Pa")


def _temperature(values: ArrayLike) -> Array:
    return within("temperature_k", values, T_MIN_K, T_MAX_K, "K")


def _vapour_pressure(component: str, temperature_k: ArrayLike) -> FloatOrArray:
    return plain(np.exp(wagner(component).ln_pressure(_temperature(temperature_k))[0]))
