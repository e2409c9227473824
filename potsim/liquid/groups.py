"""Parameters of the group model: a copy of what the library's compounds need, and ``thermo`` for all else.

The copy saves loading ``thermo``, a third of the time of a whole run.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from potsim.data import read_table
from potsim.errors import RequestError
from potsim.liquid.arrays import Array

Pair = tuple[float, float, float]


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
        raise RequestError(
            f"Group {lost[0]} is not a subgroup of modified UNIFAC (Dortmund).",
            "The numbers are the keys of thermo.unifac.DOUFSG: 1 CH3, 2 CH2, 14 primary OH, 20 CHO.",
        )
    found = [known.subgroups[number] for number in numbers]
    interaction = np.zeros((3, len(found), len(found)))
    for i, (one, _, _) in enumerate(found):
        for j, (other, _, _) in enumerate(found):
            if one == other:
                continue
            if (one, other) not in known.pairs:
                raise RequestError(
                    f"The model has no interaction between groups {numbers[i]} and {numbers[j]}.",
                    "Give relative_to_ethanol instead of groups.",
                )
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
    from thermo import unifac

    return _Known(
        {number: (group.main_group_id, group.R, group.Q) for number, group in unifac.DOUFSG.items()},
        {(one, other): pair for one, row in unifac.DOUF2IP.items() for other, pair in row.items()},
    )
