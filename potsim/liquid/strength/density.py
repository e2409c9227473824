"""Density of ethanol-water by the general formula of OIML R 22, and back to the mass fraction."""

from __future__ import annotations

from functools import cache, lru_cache

import numpy as np
from numpy.typing import ArrayLike

from potsim.data import read_table
from potsim.errors import ConvergenceError, RangeError
from potsim.liquid.arrays import Array, FloatOrArray, plain, within

TABLE = "oiml_r22.csv"
REFERENCE_C = 20.0
T_MIN_C, T_MAX_C = -20.0, 40.0
_WARMER = "Bring the liquid within this range; the general formula of OIML R 22 knows no other temperatures."
_SHARE = "A mass fraction is kg of ethanol in a kg of liquid."


@cache
def general_formula() -> Array:
    """Return the coefficients of OIML R 22 as one matrix.

    Returns
    -------
    ndarray, shape (7, 12)
        ``density = sum over i, k of matrix[i, k] (t - 20)**i w**k`` [kg/m³].
    """
    matrix = np.zeros((7, 12))
    for row in read_table(TABLE):
        i, k, value = int(row["i"]), int(row["k"]), float(row["value"])
        if row["family"] == "A":
            matrix[0, k - 1] = value
        elif row["family"] == "B":
            matrix[k, 0] = value
        else:
            matrix[i, k] = value
    return matrix


def at_temperature(t_c: ArrayLike) -> Array:
    """Return the coefficients of the powers of the mass fraction at a temperature.

    Parameters
    ----------
    t_c : array_like, shape (...)
        Temperature [°C].

    Returns
    -------
    ndarray, shape (..., 12)
        Coefficients of ``w**0`` to ``w**11`` [kg/m³].

    Raises
    ------
    RangeError
        Outside -20 to 40 °C.
    """
    if isinstance(t_c, float):
        return _at_one_temperature(t_c)
    return _at_temperatures(within("t_c", t_c, T_MIN_C, T_MAX_C, "°C", _WARMER))


@lru_cache(maxsize=256)
def _at_one_temperature(t_c: float) -> Array:
    return _at_temperatures(within("t_c", t_c, T_MIN_C, T_MAX_C, "°C", _WARMER))


def _at_temperatures(t_c: Array) -> Array:
    return np.asarray(np.power.outer(t_c - REFERENCE_C, np.arange(7)) @ general_formula())


def polynomial(coefficients: Array, w: Array) -> Array:
    """Return the value of polynomials by Horner's rule.

    Parameters
    ----------
    coefficients : ndarray, shape (..., n)
        Lowest power first; the leading axes broadcast against ``w``.
    w : ndarray
        Where to evaluate.

    Returns
    -------
    ndarray
        The values.
    """
    if coefficients.ndim == 1:  # plain numbers are added far faster than arrays without axes
        *lower, highest = coefficients.tolist()
        if w.size == 1:
            return np.full(w.shape, _single(lower, highest, w.item()))
        value = np.full(w.shape, highest)
    else:
        *lower, highest = np.moveaxis(coefficients, -1, 0)
        value = np.zeros(np.broadcast_shapes(highest.shape, w.shape)) + highest
    for coefficient in reversed(lower):
        value *= w
        value += coefficient
    return value


def _single(lower: list[float], highest: float, w: float) -> float:
    value = highest
    for coefficient in reversed(lower):
        value = value * w + coefficient
    return value


def density(w: ArrayLike, t_c: ArrayLike = REFERENCE_C) -> FloatOrArray:
    """Return the density of ethanol-water.

    Parameters
    ----------
    w : array_like
        Mass fraction of ethanol [-], 0 to 1.
    t_c : array_like
        Temperature [°C], -20 to 40; broadcasts against ``w``.

    Returns
    -------
    float or ndarray
        Density [kg/m³].

    Raises
    ------
    RangeError
        Outside either range.

    Notes
    -----
    ``A1 + sum A_k w**(k-1) + sum B_k (t-20)**k + sum C_ik w**k (t-20)**i`` with 54 coefficients: OIML R 22
    (1975) = Annex of EU Council Directive 76/766/EEC, within 0.15 kg/m³ of the densities of the US Bureau of
    Standards of 1913. Whether the mixture is still liquid is not asked: water freezes at 0 °C.

    Examples
    --------
    >>> round(density(0.5), 4)
    913.7706
    >>> round(density(1.0, 0.0), 4)
    806.2151
    """
    share = within("w", w, 0.0, 1.0, hint=_SHARE)
    return plain(polynomial(at_temperature(t_c), share))


def w_from_density(density_kg_m3: ArrayLike, t_c: ArrayLike = REFERENCE_C) -> FloatOrArray:
    """Return the mass fraction of ethanol of ethanol-water of a given density.

    Parameters
    ----------
    density_kg_m3 : array_like
        Density [kg/m³], between those of ethanol and of water at ``t_c``.
    t_c : array_like
        Temperature [°C], -20 to 40.

    Returns
    -------
    float or ndarray
        Mass fraction of ethanol [-].

    Raises
    ------
    RangeError
        Outside either range.

    Examples
    --------
    >>> round(w_from_density(913.770595), 9)
    0.5
    """
    coefficients = at_temperature(t_c)
    given = np.asarray(density_kg_m3, dtype=float)
    lightest, heaviest = coefficients.sum(axis=-1), coefficients[..., 0]
    dust = 1e-9  # kg/m³: rounding of the sum, far below what any instrument tells
    fine = (given >= lightest - dust) & (given <= heaviest + dust)
    if not fine.all():
        first = np.unravel_index(int(np.argmin(fine)), fine.shape)
        value, low, high = (float(np.broadcast_to(a, fine.shape)[first]) for a in (given, lightest, heaviest))
        raise RangeError(
            "density_kg_m3",
            f"{value:g} kg/m³",
            f"{low:.2f} to {high:.2f} kg/m³ at this temperature, from ethanol to water",
            "Sugar, colour and oil change a density: such a liquid is not ethanol-water.",
        )
    w_at_20, part_at_20 = _way_at_20()
    start = np.interp((heaviest - given) / (heaviest - lightest), part_at_20, w_at_20)
    return plain(_invert(coefficients, given, np.asarray(start)))


@cache
def _way_at_20() -> tuple[Array, Array]:
    """Mass fractions, and the part of the way from the density of water to that of ethanol at 20 °C."""
    w = np.linspace(0.0, 1.0, 201)
    at_20 = polynomial(general_formula()[0], w)
    return w, (at_20[0] - at_20) / (at_20[0] - at_20[-1])


def _invert(coefficients: Array, given: Array, w: Array) -> Array:
    """Newton's rule, with halving wherever it would leave the bracket; density falls with ``w``."""
    slopes = coefficients[..., 1:] * np.arange(1, coefficients.shape[-1])
    rounding = np.finfo(float).eps * np.abs(coefficients).sum(axis=-1)  # of the polynomial [kg/m³]
    low, high = np.zeros(w.shape), np.ones(w.shape)
    for _ in range(100):
        miss = polynomial(coefficients, w) - given
        low, high = np.where(miss > 0, w, low), np.where(miss > 0, high, w)
        step = w - miss / polynomial(slopes, w)
        following = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        if np.all((np.abs(following - w) < 1e-13) | (np.abs(miss) <= rounding)):
            return following
        w = following
    raise ConvergenceError("The mass fraction of a density was not found in 100 steps.")
