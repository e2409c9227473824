"""Density of ethanol-water by the general formula of OIML R 22, and back to the mass fraction."""

from __future__ import annotations

from functools import cache, lru_cache

import numpy as np
from numpy.typing import ArrayLike

from potsim.data import read_table
from potsim.errors import VOL, ConvergenceError, RangeError
from potsim.liquid.pure import Array, FloatOrArray, coefficients, plain, within

TABLE = "oiml_r22.csv"
REFERENCE_C = 20.0
T_MIN_C, T_MAX_C = -20.0, 40.0


@cache
def general_formula() -> Array:
    """Return ``c`` of OIML R 22, ``density = sum of c[i, k] (t - 20)**i w**k`` [kg/m³], shape (7, 12)."""
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
    """Return the coefficients of ``w**0`` to ``w**11`` [kg/m³], shape (..., 12), at -20 to 40 °C."""
    if isinstance(t_c, float):
        return _at_one_temperature(t_c)
    return _at_temperatures(within("t_c", t_c, T_MIN_C, T_MAX_C, "°C"))


@lru_cache(maxsize=256)
def _at_one_temperature(t_c: float) -> Array:
    return _at_temperatures(within("t_c", t_c, T_MIN_C, T_MAX_C, "°C"))


def _at_temperatures(t_c: Array) -> Array:
    return np.asarray(np.power.outer(t_c - REFERENCE_C, np.arange(7)) @ general_formula())


def polynomial(coefficients: Array, w: Array) -> Array:
    """Return polynomials at ``w`` by Horner's rule; coefficients are (..., n), lowest power first."""
    if coefficients.ndim == 1:  # plain numbers are added far faster than arrays without axes
        *lower, highest = coefficients.tolist()
        if w.size == 1:
            return np.full(w.shape, _single(lower, highest, w.item()))
    else:
        *lower, highest = np.moveaxis(coefficients, -1, 0)
    value: Array = np.multiply(w, highest)
    for coefficient in lower[:0:-1]:
        value += coefficient
        value *= w
    value += lower[0]
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
    >>> from potsim.liquid.strength import density
    >>> round(density(0.5), 4)
    913.7706
    >>> round(density(1.0, 0.0), 4)
    806.2151
    """
    share = within("w", w, 0.0, 1.0)
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
    >>> from potsim.liquid.strength import w_from_density
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
        raise RangeError.of("range", "density_kg_m3", given=value, allowed=[low, high], unit="kg/m³")
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
    raise ConvergenceError.of("not_converged", of="density")


# --- Strength as % vol at 20 °C, mass fraction and mole fraction of ethanol, each from the others.


@cache
def molar_mass_of(component: str) -> float:
    """Return the molar mass of ethanol or of water.

    Parameters
    ----------
    component : str
        ``"ethanol"`` or ``"water"``.

    Returns
    -------
    float
        Molar mass [g/mol] from IUPAC atomic weights, see ``potsim/data/pure_components.csv``.
    """
    return coefficients(component, "molar_mass")[""]


def molar_mass(x: ArrayLike) -> FloatOrArray:
    """Return the mean molar mass of ethanol-water.

    Parameters
    ----------
    x : array_like
        Mole fraction of ethanol [-], 0 to 1.

    Returns
    -------
    float or ndarray
        Molar mass [g/mol].

    Raises
    ------
    RangeError
        Outside 0 to 1.

    Examples
    --------
    >>> from potsim.liquid.strength import molar_mass
    >>> round(molar_mass(0.0), 4)
    18.0153
    """
    share = within("x", x, 0.0, 1.0)
    return plain(share * molar_mass_of("ethanol") + (1.0 - share) * molar_mass_of("water"))


def w_from_x(x: ArrayLike) -> FloatOrArray:
    """Return the mass fraction of ethanol from its mole fraction.

    Parameters
    ----------
    x : array_like
        Mole fraction of ethanol [-], 0 to 1.

    Returns
    -------
    float or ndarray
        Mass fraction of ethanol [-].

    Raises
    ------
    RangeError
        Outside 0 to 1.

    Examples
    --------
    >>> from potsim.liquid.strength import w_from_x
    >>> round(w_from_x(0.5), 4)
    0.7189
    """
    share = within("x", x, 0.0, 1.0)
    ethanol = share * molar_mass_of("ethanol")
    return plain(ethanol / (ethanol + (1.0 - share) * molar_mass_of("water")))


def x_from_w(w: ArrayLike) -> FloatOrArray:
    """Return the mole fraction of ethanol from its mass fraction.

    Parameters
    ----------
    w : array_like
        Mass fraction of ethanol [-], 0 to 1.

    Returns
    -------
    float or ndarray
        Mole fraction of ethanol [-].

    Raises
    ------
    RangeError
        Outside 0 to 1.

    Examples
    --------
    >>> from potsim.liquid.strength import x_from_w
    >>> round(x_from_w(0.5), 4)
    0.2811
    """
    share = within("w", w, 0.0, 1.0)
    ethanol = share / molar_mass_of("ethanol")
    return plain(ethanol / (ethanol + (1.0 - share) / molar_mass_of("water")))


def abv_from_w(w: ArrayLike) -> FloatOrArray:
    """Return % vol at 20 °C from the mass fraction of ethanol.

    Parameters
    ----------
    w : array_like
        Mass fraction of ethanol [-], 0 to 1.

    Returns
    -------
    float or ndarray
        Strength [% vol at 20 °C].

    Raises
    ------
    RangeError
        Outside 0 to 1.

    Notes
    -----
    ``abv = 100 w density(w, 20 °C) / density(1, 20 °C)``, the definition of OIML R 22. Its formula gives
    789.2391 kg/m³ for ethanol where the text fixes 789.24; the formula's own value is used, so that pure
    ethanol has 100 % vol exactly. The difference is at most 0.0001 % vol.

    Examples
    --------
    >>> from potsim.liquid.strength import abv_from_w
    >>> round(abv_from_w(0.5), 3)
    57.889
    """
    return plain(_abv(within("w", w, 0.0, 1.0)))


def w_from_abv(abv: ArrayLike) -> FloatOrArray:
    """Return the mass fraction of ethanol from % vol at 20 °C.

    Parameters
    ----------
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.

    Returns
    -------
    float or ndarray
        Mass fraction of ethanol [-], to 1e-12.

    Raises
    ------
    RangeError
        Outside 0 to 100 % vol.

    Notes
    -----
    Inverse of `abv_from_w`: looked up in a table of 2001 mass fractions, right to 1e-8, then one step of
    Newton's rule with the slope of the table.

    Examples
    --------
    >>> from potsim.liquid.strength import w_from_abv
    >>> round(w_from_abv(40.0), 4)
    0.333
    """
    given = within("abv", abv, 0.0, 100.0, VOL)
    w_of, abv_of, slope_of = _table()
    w = np.interp(given, abv_of, w_of)
    w = w - (_abv(w) - given) * np.interp(given, abv_of, slope_of)
    return plain(np.minimum(np.maximum(w, 0.0), 1.0))


def abv_from_x(x: ArrayLike) -> FloatOrArray:
    """Return % vol at 20 °C from the mole fraction of ethanol.

    Parameters
    ----------
    x : array_like
        Mole fraction of ethanol [-], 0 to 1.

    Returns
    -------
    float or ndarray
        Strength [% vol at 20 °C].

    Raises
    ------
    RangeError
        Outside 0 to 1.

    Examples
    --------
    >>> from potsim.liquid.strength import abv_from_x
    >>> round(abv_from_x(0.894), 1)
    97.2
    """
    return plain(_abv(np.asarray(w_from_x(x))))


def x_from_abv(abv: ArrayLike) -> FloatOrArray:
    """Return the mole fraction of ethanol from % vol at 20 °C.

    Parameters
    ----------
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.

    Returns
    -------
    float or ndarray
        Mole fraction of ethanol [-].

    Raises
    ------
    RangeError
        Outside 0 to 100 % vol.

    Examples
    --------
    >>> from potsim.liquid.strength import x_from_abv
    >>> round(x_from_abv(40.0), 4)
    0.1633
    """
    return x_from_w(w_from_abv(abv))


@cache
def _formula() -> Array:
    """Coefficients of the density at 20 °C, scaled so that times ``w`` they give % vol."""
    at_20 = general_formula()[0]
    return np.asarray(at_20 * (100.0 / at_20.sum()))


def _abv(w: Array) -> Array:
    return np.minimum(polynomial(_formula(), w) * w, 100.0)  # rounding may pass 100 by 1e-14


@cache
def _table() -> tuple[Array, Array, Array]:
    """Mass fractions, their % vol, and the slope of the first by the second."""
    w = np.linspace(0.0, 1.0, 2001)
    slope = polynomial(_formula() * np.arange(1, 13), w)
    abv = _abv(w)
    abv[-1] = 100.0  # but for rounding it is that already
    return w, abv, 1.0 / slope
