"""What a hydrometer shows away from 20 °C, and the volume a measured liquid has at another temperature."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from potsim.errors import RangeError
from potsim.liquid.arrays import Array, FloatOrArray, plain, within
from potsim.liquid.strength.density import REFERENCE_C, at_temperature, density, w_from_density
from potsim.liquid.strength.fractions import abv_from_w, w_from_abv
from potsim.liquid.strength.proof import abv_from_percent_at, percent_at

GLASS_PER_K = 25e-6  # 1/K, cubic expansion of a glass hydrometer: OIML R 22, Table VIII and its sequel
_COOL = "Bring the sample to the temperature of the hydrometer and read again."


def true_abv(reading_abv: ArrayLike, t_c: ArrayLike, *, calibrated_c: float = REFERENCE_C) -> FloatOrArray:
    """Return the strength of spirit whose hydrometer is read away from its own temperature.

    Parameters
    ----------
    reading_abv : array_like
        What the hydrometer shows [% vol at ``calibrated_c``], 0 to 100.
    t_c : array_like
        Temperature of the spirit [°C], -20 to 40.
    calibrated_c : float
        Temperature for which the hydrometer was made [°C]; 15.56 (60 °F) for US proof, read halved.

    Returns
    -------
    float or ndarray
        Strength [% vol at 20 °C].

    Raises
    ------
    RangeError
        Outside either range, or if no mixture shows such a reading at that temperature.

    Notes
    -----
    A hydrometer of glass sinks until ``density(w, t) (1 + 25e-6 (t - calibrated))`` equals the density
    for which its mark was made. Spirit of ethanol and water only: sugar and colour falsify the reading.

    Examples
    --------
    >>> round(true_abv(50.0, 10.0), 1)
    53.7
    """
    mark = within("reading_abv", reading_abv, 0.0, 100.0, "% vol", "Read the scale of % vol.")
    coefficients = at_temperature(t_c)
    made_for = w_from_abv(abv_from_percent_at(mark, calibrated_c))
    buoyant = np.asarray(density(made_for, calibrated_c)) / _glass(t_c, calibrated_c)
    _must_exist("reading_abv", mark, buoyant, coefficients, "that ethanol-water can show at this temperature")
    return abv_from_w(w_from_density(buoyant, t_c))


def reading_abv(abv: ArrayLike, t_c: ArrayLike, *, calibrated_c: float = REFERENCE_C) -> FloatOrArray:
    """Return what a hydrometer shows in spirit away from its own temperature.

    Parameters
    ----------
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.
    t_c : array_like
        Temperature of the spirit [°C], -20 to 40.
    calibrated_c : float
        Temperature for which the hydrometer was made [°C].

    Returns
    -------
    float or ndarray
        Reading [% vol at ``calibrated_c``].

    Raises
    ------
    RangeError
        Outside either range, or if the reading would lie beyond the scale of 0 to 100 % vol.

    Notes
    -----
    Inverse of `true_abv`.

    Examples
    --------
    >>> round(reading_abv(38.0, 25.0), 1)
    40.0
    """
    if isinstance(t_c, float) and t_c == calibrated_c:  # it shows what there is
        return percent_at(abv, calibrated_c)
    share = np.asarray(w_from_abv(abv))
    buoyant = np.asarray(density(share, t_c)) * _glass(t_c, calibrated_c)
    given = np.asarray(abv, dtype=float)
    _must_exist("abv", given, buoyant, at_temperature(calibrated_c), "whose reading lies on the scale")
    return percent_at(abv_from_w(w_from_density(buoyant, calibrated_c)), calibrated_c)


def volume_at(volume_l: ArrayLike, abv: ArrayLike, from_c: ArrayLike, to_c: ArrayLike) -> FloatOrArray:
    """Return the volume at one temperature of spirit measured at another.

    Parameters
    ----------
    volume_l : array_like
        Volume measured at ``from_c`` [L], 0 or more.
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.
    from_c, to_c : array_like
        Temperatures [°C], -20 to 40.

    Returns
    -------
    float or ndarray
        Volume at ``to_c`` [L].

    Raises
    ------
    RangeError
        Outside a range.

    Notes
    -----
    The mass stays: the ratio of the densities. The measuring vessel is taken as unchanged.

    Examples
    --------
    >>> round(volume_at(1.0, 60.0, 30.0, 20.0), 4)
    0.991
    """
    volume = within("volume_l", volume_l, 0.0, np.inf, "L")
    share = w_from_abv(abv)
    return plain(volume * np.asarray(density(share, from_c)) / np.asarray(density(share, to_c)))


def _glass(t_c: ArrayLike, calibrated_c: float) -> Array:
    return np.asarray(1.0 + GLASS_PER_K * (np.asarray(t_c, dtype=float) - calibrated_c))


def _must_exist(argument: str, given: Array, buoyant: Array, coefficients: Array, which: str) -> None:
    """Refuse what no mixture of ethanol and water can show at the temperature of the coefficients."""
    lightest, heaviest = coefficients.sum(axis=-1), coefficients[..., 0]
    fine = (buoyant >= lightest - 1e-9) & (buoyant <= heaviest + 1e-9)
    if not fine.all():
        at = np.unravel_index(int(np.argmin(fine)), fine.shape)
        value, weight, most = (float(np.broadcast_to(a, fine.shape)[at]) for a in (given, buoyant, heaviest))
        side = "higher" if weight > most else "lower"
        raise RangeError(argument, f"{value:g} % vol", f"a {side} strength, one {which}", _COOL)
