"""Activity coefficients of trace compounds at infinite dilution in ethanol-water, from their groups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from potsim.liquid.arrays import Array
from potsim.liquid.compound import Compound
from potsim.liquid.groups import GroupParameters, group_parameters

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
    `potsim.liquid.groups`. The equations are those of Weidlich & Gmehling, Ind. Eng. Chem. Res. 26 (1987)
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
