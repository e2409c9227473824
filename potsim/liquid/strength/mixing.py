"""Mixing and diluting by mass, and volumes from moles: volumes do not add up, masses do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from potsim.errors import RangeError, RequestError
from potsim.liquid.arrays import FloatOrArray, plain, within
from potsim.liquid.strength.density import density
from potsim.liquid.strength.fractions import abv_from_w, abv_from_x, molar_mass_of, w_from_abv

_NOTHING = "Give at least one volume above zero."
_NONE = "Of nothing there is no strength."


@dataclass(frozen=True)
class Mixture:
    """What a mix comes to; all volumes at 20 °C.

    Parameters
    ----------
    volume_l : float
        Volume [L].
    abv : float
        Strength [% vol at 20 °C].
    mass_kg : float
        Mass [kg].
    ethanol_l : float
        Pure ethanol in it [L].
    contraction_l : float
        By how much the sum of the parts exceeds the volume [L]; up to 3.5 % for ethanol and water. Below
        zero, by up to 0.15 %, where weak spirit meets much water: that expands.
    """

    volume_l: float
    abv: float
    mass_kg: float
    ethanol_l: float
    contraction_l: float


class Moles(NamedTuple):
    """Ethanol and water, each in moles.

    Parameters
    ----------
    ethanol_mol, water_mol : float or ndarray
        Amounts [mol].
    """

    ethanol_mol: FloatOrArray
    water_mol: FloatOrArray


def mass_of(volume_l: ArrayLike, abv: ArrayLike) -> FloatOrArray:
    """Return the mass of a volume of spirit.

    Parameters
    ----------
    volume_l : array_like
        Volume at 20 °C [L], 0 or more.
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.

    Returns
    -------
    float or ndarray
        Mass [kg].

    Raises
    ------
    RangeError
        Outside either range.

    Examples
    --------
    >>> round(mass_of(1.0, 40.0), 4)
    0.948
    """
    volume = within("volume_l", volume_l, 0.0, np.inf, "L")
    return plain(volume * np.asarray(density(w_from_abv(abv))) / 1000.0)


def mix(volumes_l: ArrayLike, abvs: ArrayLike) -> Mixture:
    """Return what spirits poured together come to.

    Parameters
    ----------
    volumes_l : array_like, shape (n,)
        Volumes at 20 °C [L], 0 or more, not all zero.
    abvs : array_like, shape (n,)
        Their strengths [% vol at 20 °C]; 0 is water.

    Returns
    -------
    Mixture
        Volume, strength, mass, ethanol and contraction.

    Raises
    ------
    RangeError
        For a volume or strength outside its range, or nothing at all.
    RequestError
        If there are not as many volumes as strengths.

    Notes
    -----
    Mass and ethanol mass are conserved; the volume follows from the density of the mixture (OIML R 22).

    Examples
    --------
    >>> both = mix([0.5, 0.5], [96.0, 0.0])
    >>> round(both.volume_l, 3), round(both.abv, 1)
    (0.97, 49.5)
    """
    parts = np.atleast_1d(within("volumes_l", volumes_l, 0.0, np.inf, "L")).ravel()
    w = np.atleast_1d(np.asarray(w_from_abv(abvs))).ravel()
    if parts.size != w.size:
        raise RequestError(f"There are {parts.size} volumes but {w.size} strengths.", "Give one for each.")
    masses = parts * np.asarray(density(w)) / 1000.0
    mass = float(masses.sum())
    if mass == 0:
        raise RangeError("volumes_l", "nothing", "more than 0 L in all", _NOTHING)
    share = min(float(masses @ w) / mass, 1.0)
    volume = 1000.0 * mass / float(density(share))
    strength = float(abv_from_w(share))
    return Mixture(
        volume_l=volume,
        abv=strength,
        mass_kg=mass,
        ethanol_l=volume * strength / 100.0,
        contraction_l=float(parts.sum()) - volume,
    )


def water_to_reach(volume_l: ArrayLike, abv: ArrayLike, target_abv: ArrayLike) -> FloatOrArray:
    """Return the volume of water that brings spirit down to a strength.

    Parameters
    ----------
    volume_l : array_like
        Volume of the spirit at 20 °C [L], 0 or more.
    abv : array_like
        Its strength [% vol at 20 °C], 0 to 100.
    target_abv : array_like
        The strength wanted [% vol at 20 °C], above 0 and at most ``abv``.

    Returns
    -------
    float or ndarray
        Water at 20 °C [L].

    Raises
    ------
    RangeError
        Outside a range; a target above the strength there is.

    Notes
    -----
    The mass of ethanol stays: water is ``mass (w / w_target - 1)``.

    Examples
    --------
    >>> round(water_to_reach(1.0, 80.0, 40.0), 3)
    1.039
    """
    volume = within("volume_l", volume_l, 0.0, np.inf, "L")
    there, wanted = np.asarray(w_from_abv(abv)), np.asarray(w_from_abv(target_abv))
    _reachable(np.asarray(abv, dtype=float), np.asarray(target_abv, dtype=float))
    mass = volume * np.asarray(density(there))
    ratio = np.maximum(there / wanted, 1.0)  # equal strengths may differ by rounding
    return plain(mass * (ratio - 1.0) / float(density(0.0)))


def moles(volume_l: ArrayLike, abv: ArrayLike) -> Moles:
    """Return the moles of ethanol and of water in a volume of spirit.

    Parameters
    ----------
    volume_l : array_like
        Volume at 20 °C [L], 0 or more.
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.

    Returns
    -------
    Moles
        Ethanol and water [mol].

    Raises
    ------
    RangeError
        Outside either range.

    Examples
    --------
    >>> round(moles(1.0, 40.0).ethanol_mol, 3)
    6.853
    """
    grams = 1000.0 * np.asarray(mass_of(volume_l, abv))
    w = np.asarray(w_from_abv(abv))
    return Moles(
        ethanol_mol=plain(grams * w / molar_mass_of("ethanol")),
        water_mol=plain(grams * (1.0 - w) / molar_mass_of("water")),
    )


def volume_from_moles(ethanol_mol: ArrayLike, water_mol: ArrayLike) -> FloatOrArray:
    """Return the volume at 20 °C of so much ethanol and water, mixed.

    Parameters
    ----------
    ethanol_mol, water_mol : array_like
        Amounts [mol], 0 or more; of nothing the volume is 0.

    Returns
    -------
    float or ndarray
        Volume at 20 °C [L].

    Raises
    ------
    RangeError
        For an amount below zero.

    Examples
    --------
    >>> round(volume_from_moles(0.0, 55.508), 4)
    1.0018
    """
    ethanol = within("ethanol_mol", ethanol_mol, 0.0, np.inf, "mol") * molar_mass_of("ethanol")
    water = within("water_mol", water_mol, 0.0, np.inf, "mol") * molar_mass_of("water")
    grams = np.asarray(ethanol + water)
    w = np.divide(ethanol, grams, out=np.zeros_like(grams), where=grams > 0)
    return plain(grams / np.asarray(density(w)))


def abv_from_moles(ethanol_mol: ArrayLike, water_mol: ArrayLike) -> FloatOrArray:
    """Return the strength of so much ethanol and water, mixed.

    Parameters
    ----------
    ethanol_mol, water_mol : array_like
        Amounts [mol], 0 or more, not both zero.

    Returns
    -------
    float or ndarray
        Strength [% vol at 20 °C].

    Raises
    ------
    RangeError
        For an amount below zero, or no liquid at all.

    Examples
    --------
    >>> round(abv_from_moles(1.0, 1.0), 1)
    78.6
    """
    ethanol = within("ethanol_mol", ethanol_mol, 0.0, np.inf, "mol")
    water = within("water_mol", water_mol, 0.0, np.inf, "mol")
    total = np.asarray(ethanol + water)
    if not (total > 0).all():
        raise RangeError("ethanol_mol", "0 mol, like water_mol", "more than 0 mol in all", _NONE)
    return abv_from_x(ethanol / total)


def _reachable(abv: FloatOrArray, target: FloatOrArray) -> None:
    """Refuse a target that water cannot reach."""
    there, wanted = np.broadcast_arrays(abv, target)
    fine = (wanted > 0) & (wanted <= there)
    if fine.all():
        return
    at = np.unravel_index(int(np.argmin(fine)), fine.shape)
    hint = (
        "Water only weakens: stop the run earlier, drop the last jars, take a stronger charge, "
        "or blend with stronger spirit."
        if wanted[at] > 0
        else "Any water leaves some strength; ask for more than 0 % vol."
    )
    allowed = f"above 0 and at most {there[at]:.1f} % vol, the strength there is"
    raise RangeError("target_abv", f"{wanted[at]:g} % vol", allowed, hint)
