"""Activity coefficients of trace compounds at infinite dilution in ethanol-water, from their groups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from potsim.errors import RangeError
from potsim.liquid.compounds import Compound, GroupParameters, compound, group_parameters
from potsim.liquid.equilibrium import ATMOSPHERE_PA, bubble_point, limiting_volatility
from potsim.liquid.pure import Array, FloatOrArray, plain, within

Groups = tuple[tuple[int, int], ...]

ETHANOL: Groups = ((1, 1), (2, 1), (14, 1))
WATER: Groups = ((16, 1),)
MOLAR_VOLUME_RATIO = 58.37 / 18.05  # cm3/mol, pure ethanol and water at 20 °C
POINTS_AT_ONCE = 500  # of composition and temperature; keeps the arrays below about 100 MB


@dataclass(frozen=True)
class GroupTable:
    """What the group model needs of a set of compounds in ethanol-water.

    Parameters
    ----------
    counts : ndarray, shape (compounds, groups)
        How many of each subgroup a compound has; the last two rows are ethanol and water.
    parameters : GroupParameters
        Of those groups.
    """

    counts: Array
    parameters: GroupParameters


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
    Groups, see `from_groups`. For a compound with a measured value in water (``anchor``), the difference
    from the groups there, at the temperature measured, is added in proportion to the volume fraction of
    water. Reason: by the log-linear rule (Yalkowsky & Roseman 1981) ``ln gamma`` of a hydrophobic compound
    runs nearly straight in volume fraction between water and cosolvent, so an error at the water end fades
    as ``1 - phi``, and the ethanol end, where the groups do well, is left alone.
    """
    shift = np.array([anchor_shift(c) for c in compounds])
    return from_groups([c.groups for c in compounds], x, temperature_k) + shift[:, None] * water_share(x)


def from_groups(groups: Sequence[Groups], x: Array, temperature_k: Array) -> Array:
    """Return the logarithms of limiting activity coefficients by groups alone.

    Parameters
    ----------
    groups : sequence of tuple
        Subgroups and counts of each compound.
    x, temperature_k : ndarray, shape (n,)
        Mole fraction of ethanol and temperature [K].

    Returns
    -------
    ndarray, shape (number of compounds, n)
        ``ln gamma_inf``.

    Raises
    ------
    RequestError
        If a group, or its interaction with another, is not known.

    Notes
    -----
    Modified UNIFAC 2.0 (Hayer, Hasse & Jirasek, Ind. Eng. Chem. Res. 64 (2025) 10304): equations and
    subgroups of modified UNIFAC (Dortmund) with a complete set of interaction parameters, see
    `potsim.liquid.compounds`. The equations are those of Weidlich & Gmehling, Ind. Eng. Chem. Res. 26 (1987)
    1372, in the limit of no solute; written out because that is twenty times faster than the general
    mixture, to which the tests compare them.
    """
    table = group_table(tuple(groups))
    pieces = range(0, len(x), POINTS_AT_ONCE)
    parts = [
        _infinite_dilution(table, x[i : i + POINTS_AT_ONCE], temperature_k[i : i + POINTS_AT_ONCE])
        for i in pieces
    ]
    return np.concatenate(parts, axis=1) if parts else np.zeros((len(groups), 0))


def anchor_shift(compound: Compound) -> float:
    """Return what is added to ``ln gamma`` in pure water to meet the measured value.

    Parameters
    ----------
    compound : Compound
        With or without an anchor.

    Returns
    -------
    float
        Measured less modelled ``ln gamma`` in water; 0 without an anchor.
    """
    if compound.anchor is None:
        return 0.0
    return compound.anchor.ln_gamma - _in_water(compound.groups, compound.anchor.temperature_k)


def water_share(x: ArrayLike) -> Array:
    """Return the share of the anchor's correction that remains: the volume fraction of water.

    Parameters
    ----------
    x : array_like
        Mole fraction of ethanol.

    Returns
    -------
    ndarray
        ``1 - phi``, the volumes of the pure liquids at 20 °C being added.
    """
    ethanol = np.asarray(x, dtype=float)
    return (1.0 - ethanol) / (1.0 - ethanol + ethanol * MOLAR_VOLUME_RATIO)


@cache
def _in_water(groups: Groups, temperature_k: float) -> float:
    return float(from_groups([groups], np.zeros(1), np.array([temperature_k]))[0, 0])


def _infinite_dilution(table: GroupTable, x: Array, temperature_k: Array) -> Array:
    solvents = np.stack([x, 1.0 - x])
    a, b, c = table.parameters.interaction
    t = temperature_k[:, None, None]
    psi = np.exp(-(a / t + b + c * t))
    in_solvent = _group_activity(table, solvents.T @ table.counts[-2:], psi)
    solutes = table.counts[:-2]
    residual = np.empty((len(solutes), x.size))
    for row, count in enumerate(solutes):
        here = count > 0.0
        alone = _group_activity(table, np.tile(count, (x.size, 1)), psi, here)
        residual[row] = (in_solvent[:, here] - alone) @ count[here]
    return residual + _combinatorial(table, solvents)


def _group_activity(table: GroupTable, amounts: Array, psi: Array, only: Array | None = None) -> Array:
    """Logarithm of each group's activity coefficient, shape (n, groups), in a liquid of those groups."""
    surface = table.parameters.surface
    keep = np.ones(surface.size, dtype=bool) if only is None else only
    q, psi = surface[keep], psi[:, keep][:, :, keep]
    theta = amounts[:, keep] * q
    theta = theta / theta.sum(axis=1, keepdims=True)
    sums = np.einsum("nm,nmk->nk", theta, psi)
    return np.asarray(q * (1.0 - np.log(sums) - np.einsum("nm,nkm->nk", theta / sums, psi)))


def _combinatorial(table: GroupTable, solvents: Array) -> Array:
    r, q = table.counts @ table.parameters.volume, table.counts @ table.parameters.surface
    modified, plain = r[:-2, None] ** 0.75 / (r[-2:] ** 0.75 @ solvents), r[:-2, None] / (r[-2:] @ solvents)
    ratio = plain / (q[:-2, None] / (q[-2:] @ solvents))
    return np.asarray(1.0 - modified + np.log(modified) - 5.0 * q[:-2, None] * (1.0 - ratio + np.log(ratio)))


@cache
def group_table(groups: tuple[Groups, ...]) -> GroupTable:
    """Return what the group model needs for compounds in ethanol-water.

    Parameters
    ----------
    groups : tuple of tuple
        Subgroups and counts of each compound.

    Returns
    -------
    GroupTable
        Counts and parameters.

    Raises
    ------
    RequestError
        If a group, or its interaction with another, is not known.
    """
    members = [*groups, ETHANOL, WATER]
    numbers = sorted({number for each in members for number, _ in each})
    counts = np.array([[float(dict(each).get(number, 0)) for number in numbers] for each in members])
    return GroupTable(counts, group_parameters(numbers))


# --- Volatility of trace compounds at high dilution in boiling ethanol-water.


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
    ``gamma_inf``: see `potsim.liquid.traces.ln_gamma`.

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
