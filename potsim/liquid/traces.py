"""Trace compounds in ethanol-water: one activity coefficient, for how they dissolve and how they leave.

Oil in spirit is told by ``log10 S``, the logarithm of what a litre would hold beside pure liquid oil, or by
its activity coefficient at high dilution; one is the other: ``gamma = c / S`` with ``c`` the moles of ethanol
and water in a litre. ``K = gamma Psat / P`` is its volatility in the boiling liquid.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from potsim.errors import RangeError
from potsim.liquid import strength
from potsim.liquid.compounds import (
    Compound,
    Threshold,
    VapourPressure,
    WaterAnchor,
    compound,
    compounds,
    from_groups,
)
from potsim.liquid.equilibrium import ATMOSPHERE_PA, bubble_point, limiting_volatility
from potsim.liquid.pure import Array, FloatOrArray, plain, within

__all__ = [
    "X_MAX",
    "Compound",
    "Threshold",
    "VapourPressure",
    "WaterAnchor",
    "compound",
    "compounds",
    "escape",
    "ln_gamma",
    "volatilities",
    "volatility",
]

X_MAX = 0.86  # 96 % vol
P_MIN_PA, P_MAX_PA = 20e3, 110e3
LN10 = math.log(10.0)
ROOM_K = 298.15  # at which the law below was fitted
# Fitted by benchmarks/fit_solubility.py to measured cloud titrations of cyclohexane, toluene and benzene.
BEND = 2.13  # decades
WARMING_PER_K = 0.0040
ROOM_TO_WARM = 0.4  # decades that the extra warmth may tilt the law by, at either end
COLDEST_K, WARMEST_K = 273.15, 313.15  # the extra warmth was measured from 0 to 25 °C and is carried to 40 °C


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
    ``gamma_inf``: see below.

    *Parameter set.* Of those that ``thermo`` ships, modified UNIFAC (Dortmund) 2.0 lies nearest. Root
    mean square of log10 against 41 Henry constants in water at 25 °C: modified UNIFAC 2.0 0.43, UNIFAC
    2.0 0.40 (but no groups for limonene and the ring ethers), original UNIFAC and PSRK 0.55, modified
    UNIFAC (Dortmund, 2016) 0.97, VTPR 1.0, NIST-modified as shipped 2.8; against 9 congeners in ethanol
    at 79 °C: both 2.0 sets 0.06, original UNIFAC and the Dortmund set of 2016 0.09. UNIFAC for
    liquid-liquid equilibria lacks most of the groups.

    *One activity coefficient.* It is the one by which the same compound clouds a spirit, see
    `ln_gamma`. Compounds above 95 g/mol are tied in water at 25 °C to a Henry
    constant, a solubility, the mean of both, or an estimate; smaller ones are left to the groups, which were
    fitted to their boiling mixtures. Fatty acids have no Henry anchor: their vapour dimerises. A measured
    value is good to about a factor of two, and so is the step from 25 °C to the boil.

    *Expected error* is in `Compound.expected_factor`: about 1.5 for small congeners, 2 for measured
    compounds, 2.5 to 3.5 for estimates.

    *Sesquiterpene hydrocarbons*: no measured value holds them. It is an hypothesis that from 20 to 60 % vol
    they stay behind pinene and limonene (`potsim.liquid.compounds.estimated_anchor`); expect a factor of
    four either way. That they come over late in practice is the plant's doing, release and retention.

    Examples
    --------
    >>> from potsim.liquid.traces import volatility
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
    >>> from potsim.liquid.traces import volatilities
    >>> volatilities(["methanol", "limonene"], [0.1, 0.2, 0.3]).shape
    (2, 3)
    """
    share, pressure = np.broadcast_arrays(
        within("x", x, 0.0, X_MAX),
        within("pressure_pa", pressure_pa, P_MIN_PA, P_MAX_PA, "Pa"),
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
    >>> from potsim.liquid.traces import escape
    >>> escape(0.2, 0.05, 0.0)
    0.2
    >>> round(escape(0.2, 0.05, 0.05), 3)
    0.103
    """
    share = np.asarray(reflux_share, dtype=float)
    fine = (share >= 0.0) & (share < 1.0)
    if not fine.all():
        raise RangeError.of("no_share", "reflux_share", given=float(share[~fine].flat[0]), allowed=1.0)
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


def ln_gamma(compounds: Sequence[Compound], x: Array, temperature_k: Array) -> Array:
    """Return the logarithms of limiting activity coefficients in ethanol-water.

    Parameters
    ----------
    compounds : sequence of Compound
        What is dissolved, each at infinite dilution.
    x : ndarray, shape (n,)
        Mole fraction of ethanol in the liquid.
    temperature_k : ndarray, shape (n,)
        Temperature [K].

    Returns
    -------
    ndarray, shape (number of compounds, n)
        ``ln gamma_inf``, the reference being the pure liquid compound.

    Raises
    ------
    RequestError
        If a compound has a group that the model does not know.

    Notes
    -----
    A compound without a value in water (``anchor``) follows its groups, see
    `potsim.liquid.compounds.from_groups`. All others, with ``f`` the volume fraction of ethanol:

    ``log10 S = (1 - f) log10 S_water + f log10 S_ethanol + b f (1 - f)(2 f - 1)`` at 25 °C. The first two are
    the log-linear law of cosolvency (Yalkowsky & Roseman 1981) between the value in water and that of the
    groups in ethanol, where groups do well; the last is the S that measured cloud titrations show about that
    line, weak spirit dissolving less and strong spirit more. Against them the law is good to 0.07 decades
    between 30 and 80 % vol, and to 0.13 for a hydrocarbon left out of the fit.

    *Temperature* is that of the groups, ``log10 S(T) - log10 S(25 °C)`` at the same composition, and what
    toluene shows beyond it between 0 and 25 °C, ``4 f (1 - f) w (T - 25 °C)``, carried to 40 °C and no
    further. Beyond 40 °C nothing was measured in spirit; in water, Henry constants carried by their own
    slopes to 87 °C are met to 0.4 decades.
    """
    t = np.asarray(temperature_k, dtype=float)
    found = from_groups([one.groups for one in compounds], x, t)
    tied = [row for row, one in enumerate(compounds) if one.anchor is not None]
    if tied and x.size:
        known = [compounds[row] for row in tied]
        f = np.asarray(strength.abv_from_x(x), dtype=float) / 100.0
        at_room = from_groups([one.groups for one in known], x, np.full(x.size, ROOM_K))
        ends = ends_of(known)
        slopes = ends[:, 1:] - ends[:, :1]
        law = np.log(solvent_mol_per_l(f)) - LN10 * (log10_at_room(ends, f) + warming(f, t, slopes))
        found[tied] += law - at_room
    return found


def log10_at_room(ends: Array, f: Array) -> Array:
    """Return log10 of what dissolves at 25 °C [mol/L], shape (compounds, n), by `ends_of`."""
    water, ethanol = ends[:, :1], ends[:, 1:]
    return np.asarray(water * (1.0 - f) + ethanol * f + bend(f, ethanol - water))


def ends_of(compounds: Sequence[Compound]) -> Array:
    """Return ``log10 S`` in water and in ethanol at 25 °C [mol/L], shape (anchored compounds, 2)."""
    in_water = [one.anchor.ln_gamma for one in compounds if one.anchor is not None]
    in_ethanol = from_groups([one.groups for one in compounds], np.ones(1), np.array([ROOM_K]))[:, 0]
    pure = np.log10(solvent_mol_per_l(np.array([0.0, 1.0])))
    return np.asarray(pure - np.stack([in_water, in_ethanol], axis=1) / LN10)


def slopes_of(compounds: Sequence[Compound]) -> Array:
    """Return by how much ``log10 S`` of compounds grows from water to ethanol [decades]."""
    return np.asarray(np.diff(ends_of(compounds), axis=1)[:, 0])


def bend(f: ArrayLike, slope: ArrayLike, deepest: float = BEND) -> Array:
    """Return the S about the log-linear law, fitted between 30 and 80 % vol [decades].

    Parameters
    ----------
    f : array_like
        Volume fraction of ethanol.
    slope : array_like
        Growth of ``log10 S`` from water to ethanol; the S is never so deep that more ethanol dissolves less.
    deepest : float
        The S of a compound that grows enough [decades].
    """
    share = np.asarray(f, dtype=float)
    deep = np.clip(np.asarray(slope) - ROOM_TO_WARM, 0.0, deepest)
    return np.asarray(deep * share * (1.0 - share) * (2.0 * share - 1.0))


def warming(f: ArrayLike, temperature_k: ArrayLike, slope: ArrayLike) -> Array:
    """Return how much more dissolves at a temperature than at 25 °C, beyond what the groups say [decades].

    Parameters
    ----------
    f : array_like
        Volume fraction of ethanol.
    temperature_k : array_like
        Temperature [K].
    slope : array_like
        As for `bend`.
    """
    share = np.asarray(f, dtype=float)
    kelvin = np.clip(np.asarray(temperature_k, dtype=float), COLDEST_K, WARMEST_K)
    whole = np.clip(np.asarray(slope) / ROOM_TO_WARM, 0.0, 1.0)
    return np.asarray(4.0 * share * (1.0 - share) * whole * WARMING_PER_K * (kelvin - ROOM_K))


def solvent_mol_per_l(f: ArrayLike) -> Array:
    """Return the moles of ethanol and water in a litre at 20 °C, by its volume fraction of ethanol."""
    w = np.asarray(strength.w_from_abv(100.0 * np.asarray(f, dtype=float)))
    density = np.asarray(strength.density(w))
    return np.asarray(density / strength.molar_mass(strength.x_from_w(w)))
