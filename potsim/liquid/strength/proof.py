"""Strength at another reference temperature: US proof at 60 °F, old tables at 15 °C."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from potsim.liquid.arrays import Array, FloatOrArray, plain, within
from potsim.liquid.strength.density import REFERENCE_C, at_temperature, polynomial
from potsim.liquid.strength.fractions import abv_from_w, w_from_abv

US_REFERENCE_C = (60.0 - 32.0) / 1.8  # 60 °F, 27 CFR 19.1
PROOF_PER_PERCENT = 2.0  # 27 CFR 19.1
_PERCENT = "Give % vol of ethanol at the reference temperature."


def percent_at(abv: ArrayLike, reference_c: float) -> FloatOrArray:
    """Return the % vol that spirit has when the volumes are taken at another temperature.

    Parameters
    ----------
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.
    reference_c : float
        The other reference temperature [°C], -20 to 40.

    Returns
    -------
    float or ndarray
        Strength [% vol at ``reference_c``].

    Raises
    ------
    RangeError
        Outside either range.

    Notes
    -----
    ``100 w density(w, t) / density(1, t)``, both densities by OIML R 22: ethanol shrinks more than water when
    cooled, so the same spirit has up to 0.08 % vol less at 15 °C.

    Examples
    --------
    >>> round(percent_at(40.0, 15.0), 2)
    39.92
    """
    if reference_c == REFERENCE_C:
        return plain(within("abv", abv, 0.0, 100.0, "% vol", _PERCENT))
    formula = at_temperature(float(reference_c))
    return plain(_percent(formula, np.asarray(w_from_abv(abv))))


def abv_from_percent_at(percent: ArrayLike, reference_c: float) -> FloatOrArray:
    """Return the strength at 20 °C of spirit whose % vol is stated for another temperature.

    Parameters
    ----------
    percent : array_like
        Strength [% vol at ``reference_c``], 0 to 100.
    reference_c : float
        The reference temperature [°C], -20 to 40.

    Returns
    -------
    float or ndarray
        Strength [% vol at 20 °C].

    Raises
    ------
    RangeError
        Outside either range.

    Notes
    -----
    Inverse of `percent_at`: Newton's rule.

    Examples
    --------
    >>> round(abv_from_percent_at(39.92, 15.0), 2)
    40.0
    """
    given = within("percent", percent, 0.0, 100.0, "% vol", _PERCENT)
    if reference_c == REFERENCE_C:
        return plain(given)
    formula = at_temperature(float(reference_c))
    slope = formula * np.arange(1, formula.size + 1) * (100.0 / formula.sum())
    w = np.asarray(w_from_abv(given))
    for _ in range(4):  # the two scales differ by 1 % vol at the most: four steps reach rounding
        w = np.minimum(np.maximum(w - (_percent(formula, w) - given) / polynomial(slope, w), 0.0), 1.0)
    return abv_from_w(w)


def proof_from_abv(abv: ArrayLike) -> FloatOrArray:
    """Return US proof.

    Parameters
    ----------
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.

    Returns
    -------
    float or ndarray
        Proof [-], 0 to 200.

    Raises
    ------
    RangeError
        Outside 0 to 100 % vol.

    Notes
    -----
    Twice the % vol at 60 °F, 27 CFR 19.1.

    Examples
    --------
    >>> round(proof_from_abv(50.0), 2)
    99.88
    """
    return plain(PROOF_PER_PERCENT * np.asarray(percent_at(abv, US_REFERENCE_C)))


def abv_from_proof(proof: ArrayLike) -> FloatOrArray:
    """Return % vol at 20 °C from US proof.

    Parameters
    ----------
    proof : array_like
        Proof [-], 0 to 200.

    Returns
    -------
    float or ndarray
        Strength [% vol at 20 °C].

    Raises
    ------
    RangeError
        Outside 0 to 200.

    Notes
    -----
    Inverse of `proof_from_abv`.

    Examples
    --------
    >>> round(abv_from_proof(100.0), 2)
    50.06
    """
    given = within("proof", proof, 0.0, 200.0, "proof", "US proof is twice the % vol at 60 °F.")
    return abv_from_percent_at(given / PROOF_PER_PERCENT, US_REFERENCE_C)


def proof_gallons(volume_us_gal: ArrayLike, proof: ArrayLike) -> FloatOrArray:
    """Return US proof gallons.

    Parameters
    ----------
    volume_us_gal : array_like
        Volume at 60 °F [US gallon], 0 or more.
    proof : array_like
        Proof [-], 0 to 200.

    Returns
    -------
    float or ndarray
        Proof gallons: gallons of 100 proof with as much ethanol.

    Raises
    ------
    RangeError
        Outside either range.

    Notes
    -----
    ``gallons proof / 100``, 27 CFR 19.1.

    Examples
    --------
    >>> proof_gallons(10.0, 190.0)
    19.0
    """
    gallons = within("volume_us_gal", volume_us_gal, 0.0, np.inf, "US gal")
    strength = within("proof", proof, 0.0, 200.0, "proof", "US proof is twice the % vol at 60 °F.")
    return plain(gallons * strength / 100.0)


def _percent(formula: Array, w: Array) -> Array:
    percent = 100.0 * w * polynomial(formula, w) / float(formula.sum())
    return np.minimum(percent, 100.0)  # rounding may pass 100 by 1e-14
