"""Strength as % vol at 20 °C, mass fraction and mole fraction of ethanol, each from the others."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from potsim.liquid.arrays import Array, FloatOrArray, plain, within
from potsim.liquid.pure import coefficients
from potsim.liquid.strength.density import general_formula, polynomial

_ABV = "Give % vol of ethanol at 20 °C."
_W = "A mass fraction is kg of ethanol in a kg of liquid."
_X = "A mole fraction is mol of ethanol in a mol of liquid."


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
    >>> round(molar_mass(0.0), 4)
    18.0153
    """
    share = within("x", x, 0.0, 1.0, hint=_X)
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
    >>> round(w_from_x(0.5), 4)
    0.7189
    """
    share = within("x", x, 0.0, 1.0, hint=_X)
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
    >>> round(x_from_w(0.5), 4)
    0.2811
    """
    share = within("w", w, 0.0, 1.0, hint=_W)
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
    >>> round(abv_from_w(0.5), 3)
    57.889
    """
    return plain(_abv(within("w", w, 0.0, 1.0, hint=_W)))


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
    >>> round(w_from_abv(40.0), 4)
    0.333
    """
    given = within("abv", abv, 0.0, 100.0, "% vol", _ABV)
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
