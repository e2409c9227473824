"""Heat and volume of ethanol-water: enthalpies of liquid and vapour, and the density of the hot liquid.

Molar quantities; ``x`` and ``y`` are mole fractions of ethanol. Enthalpies are counted from the pure liquids
at 273.15 K.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from potsim.data import read_table
from potsim.errors import RangeError
from potsim.liquid import strength
from potsim.liquid.boiling import combine
from potsim.liquid.equilibrium import activity_coefficients, excess, vapour_pressure_ethanol
from potsim.liquid.pure import T_MAX_K, T_MIN_K, Array, FloatOrArray, heats, molar_mass, plain, within
from potsim.liquid.pure import liquid_density as pure_density

_WARMEST_MIXTURE_C = 40.0  # end of the OIML formula


def liquid_enthalpy(x: ArrayLike, temperature_k: ArrayLike) -> FloatOrArray:
    """Return the molar enthalpy of the liquid.

    Parameters
    ----------
    x : array_like
        Mole fraction of ethanol, 0 to 1.
    temperature_k : array_like
        Temperature [K], 273.15 to 423.15.

    Returns
    -------
    float or ndarray
        Enthalpy [J/mol], zero for either pure liquid at 273.15 K; shape as broadcast.

    Raises
    ------
    RangeError
        If a mole fraction or a temperature lies outside.

    Notes
    -----
    ``x1 h1(T) + x2 h2(T) + hE(x, T)``. Heat capacities of Zabransky et al. (1996); the excess enthalpy goes
    with the activity coefficients (Gibbs-Helmholtz) and lies within 25 J/mol (rms) of Larkin, J. Chem.
    Thermodyn. 7 (1975) 137, from 298 to 383 K. Pressure makes no difference that matters in a pot.

    Examples
    --------
    >>> from potsim.liquid.heat import liquid_enthalpy
    >>> round(liquid_enthalpy(0.0, 373.15), -1)
    7550.0
    """
    share, t = _state(x, "x", temperature_k)
    model = excess()
    pure = share * heats("ethanol").liquid_enthalpy(t) + (1.0 - share) * heats("water").liquid_enthalpy(t)
    return plain(pure + combine(model.mixture(share).gibbs, model.heat_weights(t)))


def liquid_enthalpy_slope(x: ArrayLike, temperature_k: ArrayLike) -> FloatOrArray:
    """Return how the molar enthalpy of the liquid grows with its composition.

    Parameters
    ----------
    x : array_like
        Mole fraction of ethanol, 0 to 1.
    temperature_k : array_like
        Temperature [K], 273.15 to 423.15.

    Returns
    -------
    float or ndarray
        Derivative in ``x`` at constant temperature [J/mol]; shape as broadcast.

    Raises
    ------
    RangeError
        If a mole fraction or a temperature lies outside.

    Notes
    -----
    The derivative of `liquid_enthalpy`: its excess part is that of the activity coefficients of ethanol less
    those of water.
    """
    share, t = _state(x, "x", temperature_k)
    model = excess()
    mixture = model.mixture(share)
    pure = heats("ethanol").liquid_enthalpy(t) - heats("water").liquid_enthalpy(t)
    return plain(pure + combine(mixture.ethanol - mixture.water, model.heat_weights(t)))


def vapour_enthalpy(y: ArrayLike, temperature_k: ArrayLike) -> FloatOrArray:
    """Return the molar enthalpy of the vapour, on the scale of `liquid_enthalpy`.

    Parameters
    ----------
    y : array_like
        Mole fraction of ethanol, 0 to 1.
    temperature_k : array_like
        Temperature [K], 273.15 to 423.15.

    Returns
    -------
    float or ndarray
        Enthalpy [J/mol]; shape as broadcast.

    Raises
    ------
    RangeError
        If a mole fraction or a temperature lies outside.

    Notes
    -----
    Each component: liquid to its normal boiling point, heat of vaporisation there, ideal gas from there on;
    no heat of mixing. Good to 0.5 % of the heat of vaporisation from 60 to 110 kPa; the handbooks themselves
    spread by 2 % for ethanol.

    Examples
    --------
    >>> from potsim.liquid.heat import liquid_enthalpy, vapour_enthalpy
    >>> round(vapour_enthalpy(1.0, 351.44) - liquid_enthalpy(1.0, 351.44))
    39150
    """
    share, t = _state(y, "y", temperature_k)
    ethanol, water = heats("ethanol").vapour_enthalpy(t), heats("water").vapour_enthalpy(t)
    return plain(share * ethanol + (1.0 - share) * water)


def liquid_heat_capacity(x: ArrayLike, temperature_k: ArrayLike) -> FloatOrArray:
    """Return the molar heat capacity of the liquid.

    Parameters
    ----------
    x : array_like
        Mole fraction of ethanol, 0 to 1.
    temperature_k : array_like
        Temperature [K], 273.15 to 423.15.

    Returns
    -------
    float or ndarray
        Heat capacity [J/(mol K)]; shape as broadcast.

    Raises
    ------
    RangeError
        If a mole fraction or a temperature lies outside.

    Notes
    -----
    The derivative in temperature of `liquid_enthalpy`; good to 3 %.

    Examples
    --------
    >>> from potsim.liquid.heat import liquid_heat_capacity
    >>> round(liquid_heat_capacity(0.0, 298.15), 1)
    75.3
    """
    share, t = _state(x, "x", temperature_k)
    model = excess()
    pure = share * heats("ethanol").liquid(t) + (1.0 - share) * heats("water").liquid(t)
    return plain(pure + combine(model.mixture(share).gibbs, model.heat_slopes(t)))


def liquid_density(x: ArrayLike, temperature_k: ArrayLike) -> FloatOrArray:
    """Return the density of the liquid, cold or hot.

    Parameters
    ----------
    x : array_like
        Mole fraction of ethanol, 0 to 1.
    temperature_k : array_like
        Temperature [K], 273.15 to 423.15.

    Returns
    -------
    float or ndarray
        Density [kg/m3]; shape as broadcast.

    Raises
    ------
    RangeError
        If a mole fraction or a temperature lies outside.

    Notes
    -----
    Molar volumes of the saturated pure liquids (Schroeder et al. 2014; Wagner & Pruss 1993) plus the excess
    volume of the OIML R 22 formula at that temperature, or at 40 °C beyond. The excess volume changes by less
    than 0.1 cm3/mol from 20 to 40 °C; carried along, it should err by less than 0.5 % of the volume at the
    boiling point. For strength use `potsim.liquid.strength`; this one is for the volume in the pot.

    Examples
    --------
    >>> from potsim.liquid.heat import liquid_density
    >>> round(liquid_density(0.0, 373.15))
    958
    """
    share, t = _state(x, "x", temperature_k)
    ethanol, water = molar_mass("ethanol"), molar_mass("water")
    mass = share * ethanol + (1.0 - share) * water
    ideal = share * ethanol / pure_density("ethanol")(t) + (1.0 - share) * water / pure_density("water")(t)
    return plain(mass / (ideal + _excess_volume(share, t)))


def _excess_volume(x: Array, temperature_k: Array) -> Array:
    """Excess molar volume [m3/mol] by the OIML formula, at 40 °C at the most."""
    t_c: ArrayLike = np.minimum(temperature_k - 273.15, _WARMEST_MIXTURE_C)
    if np.all(t_c == _WARMEST_MIXTURE_C):  # at the boil: one temperature is far quicker than many
        t_c = _WARMEST_MIXTURE_C
    ethanol, water = x * molar_mass("ethanol"), (1.0 - x) * molar_mass("water")
    mixed = (ethanol + water) / np.asarray(strength.density(ethanol / (ethanol + water), t_c))
    apart = ethanol / np.asarray(strength.density(1.0, t_c)) + water / np.asarray(strength.density(0.0, t_c))
    return np.asarray(mixed - apart)


def _state(share: ArrayLike, name: str, temperature_k: ArrayLike) -> tuple[Array, Array]:
    """Check and broadcast a mole fraction and a temperature."""
    fraction = within(name, share, 0.0, 1.0)
    t = within("temperature_k", temperature_k, T_MIN_K, T_MAX_K, "K")
    if fraction.shape == t.shape:
        return fraction, t
    a, b = np.broadcast_arrays(fraction, t)
    return a, b


# --- Flash point of ethanol-water: how warm a spirit must be for the vapour over it to be lit.


TABLE = "safety.csv"
HOTTEST_K = 373.15  # there even spirit of 1 % vol boils
LOOKS = 401  # temperatures at which the vapour is looked at: every quarter of a kelvin


@cache
def flash_point_of_ethanol() -> float:
    """Return the flash point of ethanol [K], by IEC 60079-20-1 (2010)."""
    (row,) = (row for row in read_table(TABLE) if row["fact"] == "flash point of ethanol")
    return float(row["value"]) + 273.15


def flash_point(x: float) -> float:
    """Return the flash point of ethanol-water.

    Parameters
    ----------
    x : float
        Mole fraction of ethanol, about 0.003 (1 % vol) to 1.

    Returns
    -------
    float
        Flash point [K].

    Raises
    ------
    RangeError
        If there is no ethanol, or too little for the vapour to be lit below 100 °C.

    Notes
    -----
    The vapour can be lit where it holds as much ethanol as over pure ethanol at its flash point:
    ``x gamma p(T) = p(T_flash)``, as water does not burn (rule of Le Chatelier; for water and alcohols the
    model of Liaw and others, J. Loss Prev. Process Ind. 15 (2002) 429, cited from memory). A table known from
    memory lies above by 1 to 2 K from 30 to 80 % by mass, by 7 K at 5 %: this errs to the safe side.

    Examples
    --------
    >>> from potsim.liquid.heat import flash_point
    >>> round(flash_point(0.2) - 273.15)
    25
    """
    t = np.linspace(T_MIN_K, HOTTEST_K, LOOKS)
    needed = float(vapour_pressure_ethanol(flash_point_of_ethanol()))
    gamma = np.asarray(activity_coefficients(x, t).ethanol)
    there = x * gamma * np.asarray(vapour_pressure_ethanol(t))
    if there[-1] < needed:
        raise RangeError.of("not_lit", "x", given=x, allowed=0.003)
    return float(np.interp(np.log(needed), np.log(there), t))
