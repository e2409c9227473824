"""What a still is built of and heated by: losses and metal from its size, the share of the heat that arrives.

Rules for what a plan leaves open, none a measurement of the still at hand. Heat leaves a wall by free
convection, ``h = 1.42 (dT / H)^0.25`` W/(m2 K) for a wall of height H (laminar, in air; simplified equation
of McAdams, FROM MEMORY), and by radiation, ``eps sigma (T1^2 + T2^2) (T1 + T2)``.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np

from potsim.data import read_table
from potsim.errors import UnknownNameError

SIGMA = 5.670374419e-8  # W/(m2 K4), CODATA 2018, exact
WALL_K = 358.15  # of a wall with boiling spirit or its vapour behind it, about
HEAD_SHARE = 1.3  # surface of lid and bare neck over the cross-section of the pot: common practice, no source
OVER_BY_THEN = 1.0 / 3.0  # of the charge that is over when the level is taken
HOT = 1.05  # volume of the boiling liquid over that at 20 °C, about


class Material(NamedTuple):
    """A wall: specific heat [J/(kg K)], density [kg/m3], emissivity [-], thickness [m]."""

    heat_j_kg_k: float
    density_kg_m3: float
    emissivity: float
    wall_m: float


class Losses(NamedTuple):
    """Heat shed for each degree above the room [W/K], by what makes reflux and by what makes none."""

    neck_w_per_k: float
    pot_w_per_k: float


@cache
def materials() -> dict[str, Material]:
    """Return the walls known, by name, from ``data/pot_materials.csv``."""
    return {
        row["material"]: Material(
            float(row["heat_j_kg_k"]),
            float(row["density_kg_m3"]),
            float(row["emissivity"]),
            float(row["wall_mm"]) / 1e3,
        )
        for row in read_table("pot_materials.csv")
    }


def material(name: str) -> Material:
    """Return a wall by its name.

    Parameters
    ----------
    name : {'glass', 'steel', 'copper'}
        What the pot is made of; ``'stainless steel'`` is steel.

    Returns
    -------
    Material
        With handbook values from memory.

    Raises
    ------
    RequestError
        For another material.
    """
    known = materials()
    found = known.get({"stainless steel": "steel"}.get(name, name))
    if found is None:
        raise UnknownNameError("metal", name, known, path="still.pot_metal")
    return found


def shed_w_per_m2_k(name: str, height_m: float, room_k: float) -> float:
    """Return the heat that a wall sheds to still air by convection and radiation [W/(m2 K)].

    Parameters
    ----------
    name : str
        Material of the wall.
    height_m : float
        Its height [m].
    room_k : float
        Temperature of the room [K].

    Returns
    -------
    float
        For each square metre and degree above the room, for a wall of 85 °C.
    """
    convection = 1.42 * ((WALL_K - room_k) / height_m) ** 0.25
    radiation = material(name).emissivity * SIGMA * (WALL_K**2 + room_k**2) * (WALL_K + room_k)
    return float(convection + radiation)


def losses(name: str, capacity_l: float, level_l: float, room_k: float) -> Losses:
    """Return the losses of a bare pot as high as it is wide.

    Parameters
    ----------
    name : str
        What it is built of.
    capacity_l : float
        Volume to the rim [L].
    level_l : float
        Hot liquid in it when a third of the charge is over [L].
    room_k : float
        Temperature of the room [K].

    Returns
    -------
    Losses
        The wall above the liquid sheds the vapour's heat and makes reflux, with lid and neck; the wetted wall
        sheds the liquid's and makes none. The bottom stands on the heat and sheds nothing.
    """
    width = float(np.cbrt(4.0 * capacity_l / 1e3 / np.pi))
    shed = shed_w_per_m2_k(name, width, room_k)
    wall = shed * np.pi * width**2
    wet = min(level_l / capacity_l, 1.0)
    head = shed * HEAD_SHARE * np.pi * width**2 / 4.0
    return Losses(float((1.0 - wet) * wall + head), float(wet * wall))


def mass_kg(name: str, capacity_l: float) -> float:
    """Return the mass of a pot as high as it is wide, with lid and bottom [kg].

    Parameters
    ----------
    name : str
        What it is built of.
    capacity_l : float
        Volume to the rim [L].

    Returns
    -------
    float
        With the usual wall.
    """
    width = float(np.cbrt(4.0 * capacity_l / 1e3 / np.pi))
    surface = np.pi * width**2 * (1.0 + (1.0 + HEAD_SHARE) / 4.0)
    made = material(name)
    return float(surface * made.wall_m * made.density_kg_m3)


class Heater(NamedTuple):
    """A kind of heat: share of the power on its plate that reaches the pot, and what goes on after it is off.

    ``stored_s`` is the heat that arrives after switching off, over the heat that arrived each second before.
    """

    share: float
    low: float
    high: float
    stored_s: float


# Common practice, no source. A cast plate of 2 kg, 250 K above the pot, holds 0.2 MJ: 50 to 150 mL of spirit.
HEATERS = {
    "element": Heater(1.0, 1.0, 1.0, 0.0),
    "plate": Heater(0.62, 0.50, 0.75, 450.0),
    "gas": Heater(0.40, 0.30, 0.50, 0.0),
}
STORED_DOUBT = 0.5  # of the stored heat, either way


def full_power_s(stored_s: float, shed_share: float) -> float:
    """Return for how long full power would bring over what a plate does after it is switched off [s].

    Parameters
    ----------
    stored_s : float
        Time constant with which its heat fades [s].
    shed_share : float
        Share of the heat that pot and neck shed, 0 to 1; below it nothing comes over.

    Returns
    -------
    float
        ``tau [1 - l ln(1/l) / (1 - l)]``: the heat above the losses while ``exp(-t/tau)`` is above l.
    """
    if shed_share <= 0.0:
        return stored_s
    return float(stored_s * (1.0 + shed_share * np.log(shed_share) / (1.0 - shed_share)))
