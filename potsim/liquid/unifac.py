"""Activity coefficients at infinite dilution in ethanol-water from groups: modified UNIFAC (Dortmund).

Parameters are a copy of what the library's compounds need, and those of ``thermo`` for all else: the copy
saves loading it, a third of the time of a whole run.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np

from potsim.data import read_table
from potsim.errors import RequestError
from potsim.liquid.pure import Array
from potsim.records import dataclass

Pair = tuple[float, float, float]
Groups = tuple[tuple[int, int], ...]

ETHANOL: Groups = ((1, 1), (2, 1), (14, 1))
WATER: Groups = ((16, 1),)
POINTS_AT_ONCE = 500  # of composition and temperature; keeps the arrays below about 100 MB


@dataclass(frozen=True)
class GroupParameters:
    """What the group model knows of some subgroups.

    Parameters
    ----------
    volume, surface : ndarray, shape (groups,)
        Van der Waals ``R`` and ``Q`` of the subgroups [-].
    interaction : ndarray, shape (3, groups, groups)
        ``a, b, c`` of ``psi = exp(-(a + b T + c T^2) / T)`` [K, -, 1/K].
    """

    volume: Array
    surface: Array
    interaction: Array


@dataclass(frozen=True)
class _Known:
    """Subgroups by their numbers (main group, R, Q), and pairs of main groups."""

    subgroups: dict[int, tuple[int, float, float]]
    pairs: dict[tuple[int, int], Pair]


def group_parameters(numbers: Sequence[int]) -> GroupParameters:
    """Return the parameters of subgroups of modified UNIFAC (Dortmund).

    Parameters
    ----------
    numbers : sequence of int
        Subgroups.

    Returns
    -------
    GroupParameters
        In the order of ``numbers``.

    Raises
    ------
    RequestError
        If a subgroup, or its interaction with another, is not known.

    Notes
    -----
    Modified UNIFAC 2.0 (Hayer, Hasse & Jirasek, Ind. Eng. Chem. Res. 64 (2025) 10304).
    """
    known = _copied()
    if any(number not in known.subgroups for number in numbers):
        known = _of_thermo()
    lost = [number for number in numbers if number not in known.subgroups]
    if lost:
        raise RequestError.of("no_such_group", "groups", given=lost[0])
    found = [known.subgroups[number] for number in numbers]
    interaction = np.zeros((3, len(found), len(found)))
    for i, (one, _, _) in enumerate(found):
        for j, (other, _, _) in enumerate(found):
            if one == other:
                continue
            if (one, other) not in known.pairs:
                raise RequestError.of("no_interaction", "groups", given=[numbers[i], numbers[j]])
            interaction[:, i, j] = known.pairs[one, other]
    return GroupParameters(
        np.array([volume for _, volume, _ in found]),
        np.array([surface for *_, surface in found]),
        interaction,
    )


@cache
def _copied() -> _Known:
    groups, pairs = read_table("groups.csv"), read_table("group_interactions.csv")
    return _Known(
        {int(r["subgroup"]): (int(r["main"]), float(r["volume"]), float(r["surface"])) for r in groups},
        {(int(r["main"]), int(r["other"])): (float(r["a"]), float(r["b"]), float(r["c"])) for r in pairs},
    )


@cache
def _of_thermo() -> _Known:
    from thermo import unifac  # start-up: only for groups that are not copied

    return _Known(
        {number: (group.main_group_id, group.R, group.Q) for number, group in unifac.DOUFSG.items()},
        {(one, other): pair for one, row in unifac.DOUF2IP.items() for other, pair in row.items()},
    )


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
    `group_parameters`. The equations are those of Weidlich & Gmehling, Ind. Eng. Chem. Res. 26 (1987)
    1372, in the limit of no solute; written out because that is twenty times faster than the general
    mixture, to which the tests compare them.
    """
    table = group_table(tuple(groups))
    pieces = [slice(i, i + POINTS_AT_ONCE) for i in range(0, len(x), POINTS_AT_ONCE)]
    # Most of the work depends on the temperature alone: of one temperature it is done once.
    alike = len(x) > 0 and bool(np.all(temperature_k == temperature_k[0]))
    parts = [
        _infinite_dilution(table, x[at], temperature_k[:1] if alike else temperature_k[at]) for at in pieces
    ]
    return np.concatenate(parts, axis=1) if parts else np.zeros((len(groups), 0))


def _infinite_dilution(table: GroupTable, x: Array, temperature_k: Array) -> Array:
    solvents = np.stack([x, 1.0 - x])
    a, b, c = table.parameters.interaction
    t = temperature_k[:, None, None]
    psi = np.exp(-(a / t + b + c * t))
    solutes = table.counts[:-2]
    in_solvent = _group_activity(table, (solvents.T @ table.counts[-2:])[:, None, :], psi)
    alone = _group_activity(table, solutes, psi)
    residual = np.einsum("nsg,sg->sn", in_solvent - alone, solutes)
    return np.asarray(residual + _combinatorial(table, solvents))


def _group_activity(table: GroupTable, amounts: Array, psi: Array) -> Array:
    """Logarithm of each group's activity coefficient in liquids of those groups, (n, liquids, groups)."""
    q = table.parameters.surface
    theta = amounts * q
    theta = theta / theta.sum(axis=-1, keepdims=True)
    sums = theta @ psi
    return np.asarray(q * (1.0 - np.log(sums) - (theta / sums) @ psi.swapaxes(-1, -2)))


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
