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
from potsim.errors import ConvergenceError, RangeError, RequestError
from potsim.liquid.pure import (
    T_MAX_K,
    T_MIN_K,
    Array,
    FloatOrArray,
    R,
    cross_virial,
    liquid_density,
    molar_mass,
    plain,
    second_virial,
    wagner,
    within,
)
from potsim.records import dataclass

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


_OWN: list[Excess] = []  # of the user's; the last is in use


def excess() -> Excess:
    """Return the excess functions in use: the package's, or those of `activity_model`."""
    return _OWN[-1] if _OWN else fitted()


@cache
def fitted() -> Excess:
    """Return the excess functions with the fitted parameters of the package.

    Returns
    -------
    Excess
        Read from ``potsim/data/ethanol_water.csv``; its header says how they were fitted.
    """
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
        raise RequestError(
            f"This function of gE/RT cannot be followed to {OWN_CLOSE:g}: it is missed by {off:.3g}.",
            "Give a smooth function of mole fraction and temperature [K] that is 0 at both ends.",
        )
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
    See `potsim.liquid.equilibrium.Excess` for the equation.
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
        hint = "At low pressure ethanol stays the more volatile up to pure ethanol."
        raise RangeError("pressure_pa", f"{given:g} Pa", "about 12,000 Pa and more", hint)
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


# --- The solver behind `potsim.liquid.equilibrium`: boiling liquids, for any set of excess parameters.


_T_LOW_K, _T_HIGH_K = 270.0, 420.0  # brackets every boiling point from 4 to 160 kPa
_START_PA = 101325.0
_ENOUGH = 1e-6  # the last step of Newton's method; about its square remains
_MOST_STEPS = 60
_WIDEST = 6.0  # |ln alpha| stays below 3.5 from 4 to 160 kPa


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
        v = volatilities(x, mixture, temperature_k, pressure, model)
        new = x * np.exp(v.ethanol) + (1.0 - x) * np.exp(v.water)
        if np.max(np.abs(new / pressure - 1.0), initial=0.0) < 1e-12:
            return new
        pressure = new
    raise ConvergenceError("A pressure was not found.", "Please report the composition and the temperature.")


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
    raise ConvergenceError(
        "A boiling point was not found.", "Please report the composition and the pressure."
    )


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
    raise ConvergenceError(
        "No liquid was found for a vapour.", "Please report the composition and the pressure."
    )


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
    raise ConvergenceError("The azeotrope was not found.", "Please report the pressure.")
