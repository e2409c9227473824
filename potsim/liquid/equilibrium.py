"""Vapour-liquid equilibrium of ethanol-water: what a liquid boils at, and what its vapour is.

Modified Raoult's law, ``y_i P = x_i gamma_i(x, T) Psat_i(T)`` with a small correction for the vapour (see
`potsim.liquid.boiling`); ``x`` and ``y`` are mole fractions of ethanol. The parameters were fitted by
``benchmarks/fit_equilibrium.py`` to measurements from 4 to 159 kPa. Expected error at 60 to 110 kPa: 0.006 in
``y``, 0.1 K; the published sets themselves differ by 0.02 in ``y`` at the dilute end.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from potsim.errors import RangeError
from potsim.liquid.arrays import Array, FloatOrArray, plain, within
from potsim.liquid.boiling import azeotrope_of, boil, combine, liquid_under
from potsim.liquid.excess import excess
from potsim.liquid.pure import T_MAX_K, T_MIN_K, wagner

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
    See `potsim.liquid.excess.Excess` for the equation.
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
    >>> x, temperature_k = azeotrope()
    >>> round(x, 3), round(temperature_k - 273.15, 1)
    (0.897, 78.2)
    """
    p = _pressure(pressure_pa)
    without = boil(np.ones_like(p), p, excess()).ln_volatility >= 0.0
    if without.any():
        given = float(p[without].flat[0]) if p.ndim else float(p)
        hint = "At low pressure ethanol stays the more volatile up to pure ethanol."
        raise RangeError("pressure_pa", f"{given:g} Pa", "about 12,000 Pa and more", hint)
    x = azeotrope_of(p, excess())
    return Azeotrope(plain(x), plain(boil(x, p, excess()).temperature_k))


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
    return within(argument, values, 0.0, 1.0, hint="It is a mole fraction of ethanol.")


def _pressure(values: ArrayLike) -> Array:
    return within(
        "pressure_pa", values, P_MIN_PA, P_MAX_PA, "Pa", "Give the pressure in Pa; 1 hPa is 100 Pa."
    )


def _temperature(values: ArrayLike) -> Array:
    return within(
        "temperature_k", values, T_MIN_K, T_MAX_K, "K", "Give the temperature in K; 0 °C is 273.15 K."
    )


def _vapour_pressure(component: str, temperature_k: ArrayLike) -> FloatOrArray:
    return plain(np.exp(wagner(component).ln_pressure(_temperature(temperature_k))[0]))
