"""Mixing and diluting by mass, and volumes from moles: volumes do not add up, masses do."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from potsim.errors import VOL, RangeError, RequestError, require
from potsim.liquid.pure import Array, FloatOrArray, plain, within
from potsim.liquid.strength.density import (
    REFERENCE_C,
    abv_from_w,
    abv_from_x,
    at_temperature,
    density,
    molar_mass_of,
    polynomial,
    w_from_abv,
    w_from_density,
)
from potsim.records import dataclass


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
    >>> from potsim.liquid.strength import mass_of
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
    >>> from potsim.liquid.strength import mix
    >>> both = mix([0.5, 0.5], [96.0, 0.0])
    >>> round(both.volume_l, 3), round(both.abv, 1)
    (0.97, 49.5)
    """
    parts = np.atleast_1d(within("volumes_l", volumes_l, 0.0, np.inf, "L")).ravel()
    w = np.atleast_1d(np.asarray(w_from_abv(abvs))).ravel()
    if parts.size != w.size:
        raise RequestError.of("lengths_differ", "abvs", given=w.size, allowed=parts.size)
    masses = parts * np.asarray(density(w)) / 1000.0
    mass = float(masses.sum())
    if mass == 0:
        raise RangeError.of("nothing_there", "volumes_l", given=0.0, unit="L")
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
    >>> from potsim.liquid.strength import water_to_reach
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
    >>> from potsim.liquid.strength import moles
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
    >>> from potsim.liquid.strength import volume_from_moles
    >>> round(volume_from_moles(0.0, 55.508), 4)
    1.0018
    """
    ethanol = within("ethanol_mol", ethanol_mol, 0.0, np.inf, "mol") * molar_mass_of("ethanol")
    water = within("water_mol", water_mol, 0.0, np.inf, "mol") * molar_mass_of("water")
    grams = np.asarray(ethanol + water)
    w = np.asarray(ethanol / np.where(grams > 0.0, grams, 1.0))
    return plain(grams / polynomial(at_temperature(REFERENCE_C), w))


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
    >>> from potsim.liquid.strength import abv_from_moles
    >>> round(abv_from_moles(1.0, 1.0), 1)
    78.6
    """
    ethanol = within("ethanol_mol", ethanol_mol, 0.0, np.inf, "mol")
    water = within("water_mol", water_mol, 0.0, np.inf, "mol")
    total = np.asarray(ethanol + water)
    if not (total > 0).all():
        raise RangeError.of("nothing_there", "ethanol_mol", given=0.0, unit="mol")
    return abv_from_x(ethanol / total)


def _reachable(abv: FloatOrArray, target: FloatOrArray) -> None:
    """Refuse a target that water cannot reach."""
    there, wanted = np.broadcast_arrays(abv, target)
    fine = (wanted > 0) & (wanted <= there)
    if fine.all():
        return
    at = np.unravel_index(int(np.argmin(fine)), fine.shape)
    most = float(there[at])
    require("target_abv", float(wanted[at]), 0.0, 100.0, VOL, open_low=True)
    raise RangeError.of("too_strong", "target_abv", given=float(wanted[at]), allowed=most, of="spirit")


# --- What a hydrometer shows away from 20 °C, and the volume a measured liquid has at another temperature.


GLASS_PER_K = 25e-6  # 1/K, cubic expansion of a glass hydrometer: OIML R 22, Table VIII and its sequel


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
    >>> from potsim.liquid.strength import true_abv
    >>> round(true_abv(50.0, 10.0), 1)
    53.7
    """
    mark = within("reading_abv", reading_abv, 0.0, 100.0, VOL)
    coefficients = at_temperature(t_c)
    made_for = w_from_abv(abv_from_percent_at(mark, calibrated_c))
    buoyant = np.asarray(density(made_for, calibrated_c)) / _glass(t_c, calibrated_c)
    _must_exist("reading_abv", mark, buoyant, coefficients)
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
    >>> from potsim.liquid.strength import reading_abv
    >>> round(reading_abv(38.0, 25.0), 1)
    40.0
    """
    if isinstance(t_c, float) and t_c == calibrated_c:  # it shows what there is
        return percent_at(abv, calibrated_c)
    share = np.asarray(w_from_abv(abv))
    buoyant = np.asarray(density(share, t_c)) * _glass(t_c, calibrated_c)
    given = np.asarray(abv, dtype=float)
    _must_exist("abv", given, buoyant, at_temperature(calibrated_c))
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
    >>> from potsim.liquid.strength import volume_at
    >>> round(volume_at(1.0, 60.0, 30.0, 20.0), 4)
    0.991
    """
    volume = within("volume_l", volume_l, 0.0, np.inf, "L")
    share = w_from_abv(abv)
    return plain(volume * np.asarray(density(share, from_c)) / np.asarray(density(share, to_c)))


def _glass(t_c: ArrayLike, calibrated_c: float) -> Array:
    return np.asarray(1.0 + GLASS_PER_K * (np.asarray(t_c, dtype=float) - calibrated_c))


def _must_exist(argument: str, given: Array, buoyant: Array, coefficients: Array) -> None:
    """Refuse what no mixture of ethanol and water can show at the temperature of the coefficients."""
    lightest, heaviest = coefficients.sum(axis=-1), coefficients[..., 0]
    fine = (buoyant >= lightest - 1e-9) & (buoyant <= heaviest + 1e-9)
    if not fine.all():
        at = np.unravel_index(int(np.argmin(fine)), fine.shape)
        value, weight, most = (float(np.broadcast_to(a, fine.shape)[at]) for a in (given, buoyant, heaviest))
        side = "higher" if weight > most else "lower"
        raise RangeError.of("off_scale", argument, given=value, allowed=side)


# --- Strength at another reference temperature: US proof at 60 °F, old tables at 15 °C.


US_REFERENCE_C = (60.0 - 32.0) / 1.8  # 60 °F, 27 CFR 19.1
PROOF_PER_PERCENT = 2.0  # 27 CFR 19.1


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
    >>> from potsim.liquid.strength import percent_at
    >>> round(percent_at(40.0, 15.0), 2)
    39.92
    """
    if reference_c == REFERENCE_C:
        return plain(within("abv", abv, 0.0, 100.0, VOL))
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
    >>> from potsim.liquid.strength import abv_from_percent_at
    >>> round(abv_from_percent_at(39.92, 15.0), 2)
    40.0
    """
    given = within("percent", percent, 0.0, 100.0, VOL)
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
    >>> from potsim.liquid.strength import proof_from_abv
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
    >>> from potsim.liquid.strength import abv_from_proof
    >>> round(abv_from_proof(100.0), 2)
    50.06
    """
    given = within("proof", proof, 0.0, 200.0, "proof")
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
    >>> from potsim.liquid.strength import proof_gallons
    >>> proof_gallons(10.0, 190.0)
    19.0
    """
    gallons = within("volume_us_gal", volume_us_gal, 0.0, np.inf, "US gal")
    strength = within("proof", proof, 0.0, 200.0, "proof")
    return plain(gallons * strength / 100.0)


def _percent(formula: Array, w: Array) -> Array:
    percent = 100.0 * w * polynomial(formula, w) / float(formula.sum())
    return np.minimum(percent, 100.0)  # rounding may pass 100 by 1e-14
