"""The solver behind `potsim.liquid.equilibrium`: boiling liquids, for any set of excess parameters."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from potsim.errors import ConvergenceError
from potsim.liquid.arrays import Array
from potsim.liquid.excess import Excess, Mixture
from potsim.liquid.pure import wagner

_T_LOW_K, _T_HIGH_K = 270.0, 420.0  # brackets every boiling point from 4 to 160 kPa
_START_K = 355.0
_ENOUGH = 1e-7  # of ln P before the last step of Newton's method; its square remains
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


class Fugacities(NamedTuple):
    """``ln (gamma_i Psat_i)`` of both components, Pa, and the slopes in temperature [1/K]."""

    ethanol: Array
    water: Array
    ethanol_slope: Array
    water_slope: Array


def fugacities(mixture: Mixture, temperature_k: Array, model: Excess) -> Fugacities:
    """Return ``ln (gamma_i Psat_i)`` of a liquid at a temperature.

    Parameters
    ----------
    mixture : Mixture
        From `Excess.mixture`.
    temperature_k : ndarray
        Temperature [K].
    model : Excess
        The excess functions that gave ``mixture``.

    Returns
    -------
    Fugacities
        With their slopes in temperature.
    """
    weights, slopes = model.gibbs_weights(temperature_k), model.gibbs_slopes(temperature_k)
    ln_p1, slope1 = wagner("ethanol").ln_pressure(temperature_k)
    ln_p2, slope2 = wagner("water").ln_pressure(temperature_k)
    return Fugacities(
        ln_p1 + combine(mixture.ethanol, weights),
        ln_p2 + combine(mixture.water, weights),
        slope1 + combine(mixture.ethanol, slopes),
        slope2 + combine(mixture.water, slopes),
    )


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
    f = fugacities(model.mixture(x), temperature_k, model)
    total: Array = x * np.exp(f.ethanol) + (1.0 - x) * np.exp(f.water)
    return total


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
    t = np.full(x.shape, _START_K)
    for _ in range(_MOST_STEPS):
        f = fugacities(mixture, t, model)
        p1, p2 = x * np.exp(f.ethanol), (1.0 - x) * np.exp(f.water)
        miss = np.log(p1 + p2) - ln_p
        slope = (p1 * f.ethanol_slope + p2 * f.water_slope) / (p1 + p2)
        t = np.clip(1.0 / (1.0 / t + miss / (slope * t**2)), _T_LOW_K, _T_HIGH_K)
        if np.max(np.abs(miss), initial=0.0) < _ENOUGH:
            return _state(x, t, mixture, model)
    raise ConvergenceError(
        "A boiling point was not found.", "Please report the composition and the pressure."
    )


def _state(x: Array, t: Array, mixture: Mixture, model: Excess) -> Boiling:
    f = fugacities(mixture, t, model)
    e1, e2 = np.exp(f.ethanol), np.exp(f.water)
    p1, p2 = x * e1, (1.0 - x) * e2
    curvature = combine(mixture.curvature, model.gibbs_weights(t))
    rise_x = (e1 - e2) * (1.0 + x * (1.0 - x) * curvature)  # dP/dx at constant T
    rise_t = p1 * f.ethanol_slope + p2 * f.water_slope  # dP/dT at constant x
    return Boiling(
        temperature_k=t,
        y=p1 / (p1 + p2),
        ln_volatility=f.ethanol - f.water,
        volatility_slope=curvature - (f.ethanol_slope - f.water_slope) * rise_x / rise_t,
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
    s = target.copy()
    for _ in range(_MOST_STEPS):
        x = 1.0 / (1.0 + np.exp(-s))
        state = boil(x, pressure_pa, model)
        miss = s + state.ln_volatility - target
        low, high = np.where(miss < 0.0, s, low), np.where(miss > 0.0, s, high)
        step = s - miss / (1.0 + x * (1.0 - x) * state.volatility_slope)
        new = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        if np.max(np.abs(new - s), initial=0.0) < 1e-11:
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
        if np.max(np.abs(new - x), initial=0.0) < 1e-12:
            return new
        x = new
    raise ConvergenceError("The azeotrope was not found.", "Please report the pressure.")
