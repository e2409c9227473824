"""Volatility of trace compounds at high dilution in boiling ethanol-water."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from potsim.errors import RangeError
from potsim.liquid.arrays import Array, FloatOrArray, plain, within
from potsim.liquid.compound import Compound, Threshold, VapourPressure, WaterAnchor
from potsim.liquid.compounds import compound, compounds
from potsim.liquid.dilution import ln_gamma
from potsim.liquid.equilibrium import ATMOSPHERE_PA, bubble_point, limiting_volatility

__all__ = [
    "X_MAX",
    "Compound",
    "Threshold",
    "VapourPressure",
    "WaterAnchor",
    "compound",
    "compounds",
    "escape",
    "volatilities",
    "volatility",
]

X_MAX = 0.86  # 96 % vol
P_MIN_PA, P_MAX_PA = 20e3, 110e3


def volatility(
    compound_id: str | Compound, x: ArrayLike, pressure_pa: ArrayLike = ATMOSPHERE_PA
) -> FloatOrArray:
    """Return ``K = y/x`` of a trace compound at high dilution in the boiling liquid.

    Parameters
    ----------
    compound_id : str or Compound
        A compound of the library by its id, or one of your own.
    x : array_like
        Mole fraction of ethanol in the liquid, 0 to 0.86 (96 % vol).
    pressure_pa : array_like
        Pressure [Pa], 20,000 to 110,000.

    Returns
    -------
    float or ndarray
        Mole fraction of the compound in the vapour over that in the liquid [-], shape as broadcast. Nought
        for what does not evaporate at all (`Compound.stays`).

    Raises
    ------
    RangeError
        If a mole fraction or a pressure lies outside.
    UnknownNameError
        If no compound goes by that id; near ones are suggested.

    Notes
    -----
    ``K = gamma_inf(x, T) Psat(T) / P`` at the boiling point ``T`` of the liquid, the vapour being ideal.
    ``gamma_inf``: see `potsim.liquid.dilution.ln_gamma`.

    *Parameter set.* Of those that ``thermo`` ships, modified UNIFAC (Dortmund) 2.0 lies nearest. Root
    mean square of log10 against 41 Henry constants in water at 25 °C: modified UNIFAC 2.0 0.43, UNIFAC
    2.0 0.40 (but no groups for limonene and the ring ethers), original UNIFAC and PSRK 0.55, modified
    UNIFAC (Dortmund, 2016) 0.97, VTPR 1.0, NIST-modified as shipped 2.8; against 9 congeners in ethanol
    at 79 °C: both 2.0 sets 0.06, original UNIFAC and the Dortmund set of 2016 0.09. UNIFAC for
    liquid-liquid equilibria lacks most of the groups.

    *Anchors.* Compounds above 95 g/mol are tied in water at 25 °C to a Henry constant, or else to a
    solubility, where one is known; smaller ones are left to the groups, which were fitted to their
    boiling mixtures. Fatty acids have no Henry anchor: their vapour dimerises. An anchor is good to about
    a factor of two, and so is the step from 25 °C to the boil (0.38 in log10 against the slopes of 45
    Henry constants).

    *Expected error* is in `Compound.expected_factor`: about 1.5 for small congeners, 2 for anchored
    compounds, 2.5 to 3.5 for groups alone, hydrocarbons erring in water more than in spirit.

    *Sesquiterpenes* are computed like the rest, with nothing taken off: at high dilution in weak spirit
    they come out as volatile as monoterpene hydrocarbons (their huge activity coefficients outweigh their
    small vapour pressures), in strong spirit ten times less. That they come late in practice is left to
    their slow release from the plant and, in watery pots, to the oil phase in which only the vapour
    pressure counts. No measured value holds them; expect a factor of eight to ten either way.

    Examples
    --------
    >>> volatility("limonene", 0.05) > 100 * volatility("limonene", 0.5)
    True
    """
    return plain(volatilities([compound_id], x, pressure_pa)[0])


def volatilities(
    compound_ids: Sequence[str | Compound], x: ArrayLike, pressure_pa: ArrayLike = ATMOSPHERE_PA
) -> Array:
    """Return ``K = y/x`` of several trace compounds at once.

    Parameters
    ----------
    compound_ids : sequence of str or Compound
        As for `volatility`.
    x : array_like
        Mole fraction of ethanol in the liquid, 0 to 0.86 (96 % vol).
    pressure_pa : array_like
        Pressure [Pa], 20,000 to 110,000.

    Returns
    -------
    ndarray, shape (number of compounds, ...)
        One row a compound; the rest of the shape is that of ``x`` and ``pressure_pa`` broadcast.

    Raises
    ------
    RangeError
        If a mole fraction or a pressure lies outside.
    UnknownNameError
        If no compound goes by an id; near ones are suggested.

    Notes
    -----
    See `volatility`. One evaluation of the group model a point of ``x``, for all compounds together.

    Examples
    --------
    >>> volatilities(["methanol", "limonene"], [0.1, 0.2, 0.3]).shape
    (2, 3)
    """
    share, pressure = np.broadcast_arrays(
        within("x", x, 0.0, X_MAX, hint="It is a mole fraction of ethanol; 0.86 is 96 % vol."),
        within("pressure_pa", pressure_pa, P_MIN_PA, P_MAX_PA, "Pa", "Give the pressure in Pa."),
    )
    known = [compound(one) for one in compound_ids]
    flat_x, flat_p = share.ravel(), pressure.ravel()
    boiling = bubble_point(flat_x, flat_p)
    t, y = np.atleast_1d(boiling.temperature_k), np.atleast_1d(boiling.y)
    k = np.zeros((len(known), flat_x.size))
    rows = [row for row, one in enumerate(known) if one.vapour_pressure is not None]
    pressures = [one.vapour_pressure.ln_pa(t) for one in known if one.vapour_pressure is not None]
    if rows and flat_x.size:
        activity = ln_gamma([known[row] for row in rows], flat_x, t)
        k[rows] = np.exp(activity + np.array(pressures)) / flat_p
    ratios = np.array([one.relative_to_ethanol or 0.0 for one in known])
    if ratios.any():
        k += ratios[:, None] * _of_ethanol(flat_x, y, flat_p)
    return k.reshape(len(known), *share.shape)


def escape(k_pot: ArrayLike, k_reflux: ArrayLike, reflux_share: ArrayLike) -> FloatOrArray:
    """Return what leaves the still per mole distilled over what the pot holds per mole, after partial reflux.

    Parameters
    ----------
    k_pot : array_like
        K in the pot's liquid [-].
    k_reflux : array_like
        K in the liquid that the neck returns [-].
    reflux_share : array_like
        Moles condensed in the neck over moles risen, 0 up to but not including 1.

    Returns
    -------
    float or ndarray
        The effective K of the still [-], shape as broadcast.

    Raises
    ------
    RangeError
        If a K is negative or the share lies outside.

    Notes
    -----
    The neck condenses the share ``r`` of the risen vapour in equilibrium with what goes on: ``k = K_pot /
    [(1 - r) + r / K_reflux]``, a balance of one mole risen. Reflux hardly touches the volatile and holds
    back the rest.

    Examples
    --------
    >>> escape(0.2, 0.05, 0.0)
    0.2
    >>> round(escape(0.2, 0.05, 0.05), 3)
    0.103
    """
    share = np.asarray(reflux_share, dtype=float)
    if not ((share >= 0.0) & (share < 1.0)).all():
        raise RangeError(
            "reflux_share", reflux_share, "0 up to but not including 1", "It is a share, not per cent."
        )
    pot = within("k_pot", k_pot, 0.0, np.inf)
    reflux = within("k_reflux", k_reflux, 0.0, np.inf)
    pot, reflux, share = np.broadcast_arrays(pot, reflux, share)
    through = np.ones(pot.shape)
    back = share > 0.0
    through[back] = reflux[back] / ((1.0 - share[back]) * reflux[back] + share[back])
    return plain(pot * through)


def _of_ethanol(x: Array, y: Array, pressure_pa: Array) -> Array:
    """K of ethanol itself, ``y/x``, and its limit in pure water."""
    k = np.asarray(limiting_volatility(pressure_pa), dtype=float)
    return np.asarray(np.divide(y, x, out=k.copy(), where=x > 0.0))
