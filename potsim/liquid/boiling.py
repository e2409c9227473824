"""The solver behind `potsim.liquid.equilibrium`: boiling liquids, for any set of excess parameters.

``p_i = x_i gamma_i(x, T) Psat_i(T) F_i(T, P)`` with ``ln F_i = -s B_i(T) (P - Psat_i) / (R T)``: the second
virial coefficient of the pure vapour corrects for the vapour's not being ideal. At ``s = 1`` the correction
is whole. Kamihama's vapour compositions, about 0.01 above what vapour pressures and the other sets imply, ask
for none, all others for the whole; ``s`` = 0.6 (`Excess.vapour_share`) is a compromise between them.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from potsim.errors import ConvergenceError
from potsim.liquid.arrays import Array
from potsim.liquid.excess import Excess, Mixture
from potsim.liquid.pure import R, second_virial, wagner

_T_LOW_K, _T_HIGH_K = 270.0, 420.0  # brackets every boiling point from 4 to 160 kPa
_START_PA = 101325.0
_ENOUGH = 1e-6  # the last step of Newton's method; about its square remains
_MOST_STEPS = 60
_WIDEST = 6.0  # |ln alpha| stays below 3.5 from 4 to 160 kPa


class Boiling(NamedTuple):
    """A boiling liquid: temperature, vapour, relative volatility and its slope along the boiling line.

    ``ln_volatility`` is the logarithm of ``(y/x) / ((1-y)/(1-x))`` and ``volatility_slope`` its derivative in
    x at constant pressure.
    """

    temperature_k: Array
    y: Array
    ln_volatility: Array
    volatility_slope: Array


class Volatilities(NamedTuple):
    """``ln (p_i / x_i)`` of both components, Pa, and the slopes in temperature [1/K]."""

    ethanol: Array
    water: Array
    ethanol_slope: Array
    water_slope: Array


def volatilities(mixture: Mixture, temperature_k: Array, pressure_pa: Array, model: Excess) -> Volatilities:
    """Return ``ln (gamma_i Psat_i F_i)`` of a liquid under its vapour.

    Parameters
    ----------
    mixture : Mixture
        From `Excess.mixture`.
    temperature_k : ndarray
        Temperature [K].
    pressure_pa : ndarray
        Pressure of the vapour [Pa].
    model : Excess
        The excess functions that gave ``mixture``.

    Returns
    -------
    Volatilities
        With their slopes in temperature at constant pressure.
    """
    weights, slopes = model.gibbs_weights(temperature_k), model.gibbs_slopes(temperature_k)
    value1, slope1 = _pure_volatility("ethanol", temperature_k, pressure_pa, model.vapour_share)
    value2, slope2 = _pure_volatility("water", temperature_k, pressure_pa, model.vapour_share)
    return Volatilities(
        value1 + combine(mixture.ethanol, weights),
        value2 + combine(mixture.water, weights),
        slope1 + combine(mixture.ethanol, slopes),
        slope2 + combine(mixture.water, slopes),
    )


def _pure_volatility(component: str, t: Array, pressure_pa: Array, share: float) -> tuple[Array, Array]:
    """``ln (Psat F)`` and its slope in temperature."""
    ln_psat, rise = wagner(component).ln_pressure(t)
    psat = np.exp(ln_psat)
    virial, virial_rise = second_virial(component)(t)
    scale = -share / (R * t)
    over = pressure_pa - psat
    correction = scale * virial * over
    return ln_psat + correction, rise + scale * (virial_rise * over - virial * psat * rise) - correction / t


def combine(parts: Array, weights: Array) -> Array:
    """Return the sum over the temperature terms of parts times weights.

    Parameters
    ----------
    parts, weights : ndarray, shape (4, ...)
        A field of `Mixture` and weights from `Excess`.

    Returns
    -------
    ndarray
        Without the leading axis.
    """
    total: Array = np.einsum("k...,k...->...", parts, weights)
    return total


def total_pressure(x: Array, temperature_k: Array, model: Excess) -> Array:
    """Return the pressure [Pa] at which a liquid boils.

    Parameters
    ----------
    x : ndarray
        Mole fraction of ethanol.
    temperature_k : ndarray
        Temperature [K], same shape.
    model : Excess
        The excess functions.

    Returns
    -------
    ndarray
        Pressure [Pa].
    """
    mixture = model.mixture(x)
    pressure = np.full(np.shape(temperature_k), _START_PA)
    for _ in range(_MOST_STEPS):
        v = volatilities(mixture, temperature_k, pressure, model)
        new = x * np.exp(v.ethanol) + (1.0 - x) * np.exp(v.water)
        if np.max(np.abs(new / pressure - 1.0), initial=0.0) < 1e-12:
            return new
        pressure = new
    raise ConvergenceError("A pressure was not found.", "Please report the composition and the temperature.")


def boil(x: Array, pressure_pa: Array, model: Excess) -> Boiling:
    """Solve for the boiling point of a liquid.

    Parameters
    ----------
    x : ndarray
        Mole fraction of ethanol.
    pressure_pa : ndarray
        Pressure [Pa], same shape.
    model : Excess
        The excess functions.

    Returns
    -------
    Boiling
        The state of each boiling liquid.

    Raises
    ------
    ConvergenceError
        If Newton's method does not come to an end; not known to happen.

    Notes
    -----
    Newton's method in ``1/T`` on ``ln P``, nearly a straight line, with the analytic slope.
    """
    mixture, ln_p = model.mixture(x), np.log(pressure_pa)
    t = 1.0 / (1.0 / (351.0 + 22.1 / (1.0 + 17.0 * x)) - np.log(pressure_pa / _START_PA) / 4900.0)  # a start
    for _ in range(_MOST_STEPS):
        v = volatilities(mixture, t, pressure_pa, model)
        p1, p2 = x * np.exp(v.ethanol), (1.0 - x) * np.exp(v.water)
        miss = np.log(p1 + p2) - ln_p
        slope = (p1 * v.ethanol_slope + p2 * v.water_slope) / (p1 + p2)
        t = np.clip(1.0 / (1.0 / t + miss / (slope * t**2)), _T_LOW_K, _T_HIGH_K)
        if np.max(np.abs(miss), initial=0.0) < _ENOUGH:
            return _state(x, t, pressure_pa, mixture, model)
    raise ConvergenceError(
        "A boiling point was not found.", "Please report the composition and the pressure."
    )


def _state(x: Array, t: Array, pressure_pa: Array, mixture: Mixture, model: Excess) -> Boiling:
    v = volatilities(mixture, t, pressure_pa, model)
    e1, e2 = np.exp(v.ethanol), np.exp(v.water)
    p1, p2 = x * e1, (1.0 - x) * e2
    curvature = combine(mixture.curvature, model.gibbs_weights(t))
    rise_x = (e1 - e2) * (1.0 + x * (1.0 - x) * curvature)  # dP/dx at constant T
    rise_t = p1 * v.ethanol_slope + p2 * v.water_slope  # dP/dT at constant x
    return Boiling(
        temperature_k=t,
        y=p1 / (p1 + p2),
        ln_volatility=v.ethanol - v.water,
        volatility_slope=curvature - (v.ethanol_slope - v.water_slope) * rise_x / rise_t,
    )


def liquid_under(y: Array, pressure_pa: Array, model: Excess) -> Array:
    """Return the liquid whose vapour is given.

    Parameters
    ----------
    y : ndarray
        Mole fraction of ethanol in the vapour, more than 0 and less than 1.
    pressure_pa : ndarray
        Pressure [Pa], same shape.
    model : Excess
        The excess functions.

    Returns
    -------
    ndarray
        Mole fraction of ethanol in the liquid.

    Raises
    ------
    ConvergenceError
        If no liquid was found; not known to happen.

    Notes
    -----
    Newton's method in ``s = logit x`` on ``logit y = s + ln alpha``, which rises with s, in a bracket that
    closes.
    """
    target = np.log(y) - np.log1p(-y)
    low, high = target - _WIDEST, target + _WIDEST
    s = target - 2.65 / (1.0 + (y / 0.6) ** 5)  # a start
    for _ in range(_MOST_STEPS):
        x = 1.0 / (1.0 + np.exp(-s))
        state = boil(x, pressure_pa, model)
        miss = s + state.ln_volatility - target
        low, high = np.where(miss < 0.0, s, low), np.where(miss > 0.0, s, high)
        step = s - miss / (1.0 + x * (1.0 - x) * state.volatility_slope)
        new = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        if np.max(np.abs(new - s), initial=0.0) < _ENOUGH:
            return 1.0 / (1.0 + np.exp(-new))
        s = new
    raise ConvergenceError(
        "No liquid was found for a vapour.", "Please report the composition and the pressure."
    )


def azeotrope_of(pressure_pa: Array, model: Excess) -> Array:
    """Return the liquid with a vapour like itself, between x = 0.5 and 1, where there is one.

    Parameters
    ----------
    pressure_pa : ndarray
        Pressure [Pa] at which water is the more volatile trace in boiling ethanol.
    model : Excess
        The excess functions.

    Returns
    -------
    ndarray
        Mole fraction of ethanol.

    Raises
    ------
    ConvergenceError
        If it was not found; not known to happen.
    """
    low, high = np.full_like(pressure_pa, 0.5), np.ones_like(pressure_pa)
    x = np.full_like(pressure_pa, 0.9)
    for _ in range(_MOST_STEPS):
        state = boil(x, pressure_pa, model)
        low, high = np.where(state.ln_volatility > 0.0, x, low), np.where(state.ln_volatility > 0.0, high, x)
        step = x - state.ln_volatility / state.volatility_slope
        new = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        if np.max(np.abs(new - x), initial=0.0) < _ENOUGH:
            return new
        x = new
    raise ConvergenceError("The azeotrope was not found.", "Please report the pressure.")
