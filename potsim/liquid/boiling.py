"""Boiling liquids of ethanol and water, solved for any set of excess parameters.

``p_i = x_i gamma_i(x, T) Psat_i(T) F_i(T, P, y)`` as `potsim.liquid.equilibrium` says.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np

from potsim.errors import ConvergenceError
from potsim.liquid.pure import Array, R, cross_virial, liquid_density, molar_mass, second_virial, wagner
from potsim.records import dataclass

_T_LOW_K, _T_HIGH_K = 270.0, 420.0  # brackets every boiling point from 4 to 160 kPa
_START_PA = 101325.0
_ENOUGH = 1e-6  # the last step of Newton's method; about its square remains
_MOST_STEPS = 60
_WIDEST = 6.0  # |ln alpha| stays below 3.5 from 4 to 160 kPa


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
    k12 : float
        Binary constant of the vapour's cross virial coefficient that was fitted with them.
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
    k12: float
    terms: Array

    def mixture(self, x: Array) -> Mixture:
        """Return the part of mole fractions ``x`` alone, to be combined with weights."""
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
        """Weights in ``gE / RT``, shape (4, ...): ``1`` and the three integrals of Gibbs-Helmholtz."""
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
        """Derivatives in T of `gibbs_weights` [1/K]: ``-hE/(R T^2)``, term by term."""
        return -self.heat_weights(temperature_k) / (R * temperature_k**2)

    def heat_weights(self, temperature_k: Array) -> Array:
        """Weights in the excess enthalpy, shape (4, ...): ``0, 1, T - T0, (T - T0)^2``."""
        dt = temperature_k - self.reference_k
        return np.stack([np.zeros_like(dt), np.ones_like(dt), dt, dt**2])

    def heat_slopes(self, temperature_k: Array) -> Array:
        """Weights in the excess heat capacity, shape (4, ...): ``0, 0, 1, 2 (T - T0)``."""
        dt = temperature_k - self.reference_k
        return np.stack([np.zeros_like(dt), np.zeros_like(dt), np.ones_like(dt), 2.0 * dt])


class Boiling(NamedTuple):
    """A boiling liquid: temperature, vapour, relative volatility and their slopes along the boiling line.

    ``ln_volatility`` is the logarithm of ``(y/x) / ((1-y)/(1-x))``; ``volatility_slope`` its derivative, and
    ``temperature_slope`` [K] that of the boiling point, in x at constant pressure.
    """

    temperature_k: Array
    temperature_slope: Array
    y: Array
    ln_volatility: Array
    volatility_slope: Array


class Volatilities(NamedTuple):
    """``ln (p_i / x_i)`` of both components, Pa, the slopes in temperature [1/K], and the vapour they make.

    The slopes are at constant pressure and vapour. ``unlike`` is ``delta P / (R T)``, by which the logarithm
    of their ratio grows for each unit of ``2 y - 1``.
    """

    ethanol: Array
    water: Array
    ethanol_slope: Array
    water_slope: Array
    y: Array
    unlike: Array


def volatilities(
    x: Array, mixture: Mixture, temperature_k: Array, pressure_pa: Array, model: Excess
) -> Volatilities:
    """Return ``ln (gamma_i Psat_i F_i)`` of a liquid under its own vapour.

    Parameters
    ----------
    x : ndarray
        Mole fraction of ethanol.
    mixture : Mixture
        From `Excess.mixture` of it.
    temperature_k : ndarray
        Temperature [K].
    pressure_pa : ndarray
        Pressure of the vapour [Pa].
    model : Excess
        The excess functions that gave ``mixture``.

    Returns
    -------
    Volatilities
        With their slopes in temperature.
    """
    t = temperature_k
    weights, slopes = model.gibbs_weights(t), model.gibbs_slopes(t)
    (b1, rise1), (b2, rise2) = second_virial("ethanol")(t), second_virial("water")(t)
    b12, rise12 = cross_virial(model.k12)(t)
    value1, slope1 = _pure_volatility("ethanol", t, pressure_pa, b1, rise1)
    value2, slope2 = _pure_volatility("water", t, pressure_pa, b2, rise2)
    value1 = value1 + combine(mixture.ethanol, weights)
    value2 = value2 + combine(mixture.water, weights)
    per_volume = pressure_pa / (R * t)
    unlike = (2.0 * b12 - b1 - b2) * per_volume
    unlike_slope = (2.0 * rise12 - rise1 - rise2) * per_volume - unlike / t
    y = _vapour(x, value1 - value2, unlike)
    return Volatilities(
        value1 - unlike * (1.0 - y) ** 2,
        value2 - unlike * y**2,
        slope1 + combine(mixture.ethanol, slopes) - unlike_slope * (1.0 - y) ** 2,
        slope2 + combine(mixture.water, slopes) - unlike_slope * y**2,
        y,
        unlike,
    )


def _vapour(x: Array, ln_volatility: Array, unlike: Array) -> Array:
    """Solve ``logit y = logit x + ln_volatility + unlike (2 y - 1)``: two steps of Newton's method."""
    y = _odds(x, np.exp(ln_volatility))
    for _ in range(2):
        there = _odds(x, np.exp(ln_volatility + unlike * (2.0 * y - 1.0)))
        y = y - (y - there) / (1.0 - 2.0 * unlike * there * (1.0 - there))
    return y


def _odds(x: Array, volatility: Array) -> Array:
    share = x * volatility
    return np.asarray(share / (share + (1.0 - x)))


def _pure_volatility(
    component: str, t: Array, pressure_pa: Array, virial: Array, rise: Array
) -> tuple[Array, Array]:
    """``ln (Psat F)`` in the pure vapour and its slope in temperature."""
    ln_psat, psat_rise = wagner(component).ln_pressure(t)
    psat = np.exp(ln_psat)
    over, free = (pressure_pa - psat) / (R * t), _liquid_m3_mol(component) - virial
    correction = free * over
    slope = psat_rise - rise * over - free * psat * psat_rise / (R * t) - correction / t
    return ln_psat + correction, slope


@cache
def _liquid_m3_mol(component: str) -> float:
    """Volume of the pure liquid [m3/mol] at 85 °C; elsewhere 5 % more or less, of a part in 1,000."""
    return molar_mass(component) / float(liquid_density(component)(np.array(358.15)))


def combine(parts: Array, weights: Array) -> Array:
    """Return the sum over the temperature terms, the leading axis of a field of `Mixture` and of weights."""
    total: Array = np.einsum("k...,k...->...", parts, weights)
    return total


def total_pressure(x: Array, temperature_k: Array, model: Excess) -> Array:
    """Return the pressure [Pa] at which liquids boil at temperatures [K] of the shape of ``x``."""
    mixture = model.mixture(x)
    pressure = np.full(np.shape(temperature_k), _START_PA)
    for _ in range(_MOST_STEPS):
        v = volatilities(x, mixture, temperature_k, pressure, model)
        new = x * np.exp(v.ethanol) + (1.0 - x) * np.exp(v.water)
        if np.max(np.abs(new / pressure - 1.0), initial=0.0) < 1e-12:
            return new
        pressure = new
    raise ConvergenceError.of("not_converged", of="pressure")


def boil(x: Array, pressure_pa: Array, model: Excess, start_k: Array | None = None) -> Boiling:
    """Solve for the boiling point of a liquid.

    Parameters
    ----------
    x : ndarray
        Mole fraction of ethanol.
    pressure_pa : ndarray
        Pressure [Pa], same shape.
    model : Excess
        The excess functions.
    start_k : ndarray, optional
        Where the search starts [K]; a rough guess if left out.

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
    if start_k is None:
        t = 1.0 / (1.0 / (351.0 + 22.1 / (1.0 + 17.0 * x)) - np.log(pressure_pa / _START_PA) / 4900.0)
    else:
        t = start_k
    for _ in range(_MOST_STEPS):
        v = volatilities(x, mixture, t, pressure_pa, model)
        p1, p2 = x * np.exp(v.ethanol), (1.0 - x) * np.exp(v.water)
        miss = np.log(p1 + p2) - ln_p
        slope = (p1 * v.ethanol_slope + p2 * v.water_slope) / (p1 + p2)
        t = np.clip(1.0 / (1.0 / t + miss / (slope * t**2)), _T_LOW_K, _T_HIGH_K)
        if np.max(np.abs(miss), initial=0.0) < _ENOUGH:
            return _state(x, t, pressure_pa, mixture, model)
    raise ConvergenceError.of("not_converged", of="boiling_point")


def _state(x: Array, t: Array, pressure_pa: Array, mixture: Mixture, model: Excess) -> Boiling:
    v = volatilities(x, mixture, t, pressure_pa, model)
    e1, e2 = np.exp(v.ethanol), np.exp(v.water)
    p1, p2 = x * e1, (1.0 - x) * e2
    curvature = combine(mixture.curvature, model.gibbs_weights(t))
    rise_x = (e1 - e2) * (1.0 + x * (1.0 - x) * curvature)  # dP/dx at constant T; the vapour's part cancels
    rise_t = p1 * v.ethanol_slope + p2 * v.water_slope  # dP/dT at constant x
    at_one_vapour = curvature - (v.ethanol_slope - v.water_slope) * rise_x / rise_t
    with_vapour = 2.0 * v.unlike * e1 * e2 / (p1 + p2) ** 2  # 2 unlike y (1 - y) / (x (1 - x))
    return Boiling(
        temperature_k=t,
        temperature_slope=-rise_x / rise_t,
        y=v.y,
        ln_volatility=v.ethanol - v.water,
        volatility_slope=(at_one_vapour + with_vapour) / (1.0 - with_vapour * x * (1.0 - x)),
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
    raise ConvergenceError.of("not_converged", of="dew_point")


def azeotrope_of(pressure_pa: Array, model: Excess) -> tuple[Array, Array]:
    """Return the liquid with a vapour like itself, between x = 0.5 and 1, where there is one.

    Parameters
    ----------
    pressure_pa : ndarray
        Pressure [Pa] at which water is the more volatile trace in boiling ethanol.
    model : Excess
        The excess functions.

    Returns
    -------
    tuple of ndarray
        Mole fraction of ethanol, and its boiling point [K].

    Raises
    ------
    ConvergenceError
        If it was not found; not known to happen.
    """
    low, high = np.full_like(pressure_pa, 0.5), np.ones_like(pressure_pa)
    x, start_k = np.full_like(pressure_pa, 0.9), None
    for _ in range(_MOST_STEPS):
        state = boil(x, pressure_pa, model, start_k)
        low, high = np.where(state.ln_volatility > 0.0, x, low), np.where(state.ln_volatility > 0.0, high, x)
        step = x - state.ln_volatility / state.volatility_slope
        new = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        if np.max(np.abs(new - x), initial=0.0) < _ENOUGH:
            return new, state.temperature_k + state.temperature_slope * (new - x)
        x, start_k = new, state.temperature_k
    raise ConvergenceError.of("not_converged", of="azeotrope")
