"""The vessel: what it is built of, how much it holds, what heats it, and what heat it sheds."""

from __future__ import annotations

from dataclasses import fields
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from potsim.data import read_table
from potsim.errors import OF_WHAT_COMES, UnknownNameError, require
from potsim.liquid import equilibrium
from potsim.liquid.pure import Array
from potsim.records import dataclass

MOST_LOST = 0.5  # of what comes over
LOWEST_PRESSURE_PA = 60e3
HIGHEST_PRESSURE_PA = 110e3
LARGEST_ERROR = 0.25  # of ln alpha; published sets differ by 0.03


@dataclass(frozen=True)
class Conditions:
    """What decides the curves of a still, whatever the charge.

    Parameters
    ----------
    pressure_pa : float
        Pressure of the air [Pa]; 60 to 110 kPa.
    power_w : float
        Heat put into the pot [W].
    neck_loss_w_per_k : float
        Heat that the bare head and neck shed for each degree above the room [W/K]; it makes reflux.
    pot_loss_w_per_k : float
        Heat that the pot sheds for each degree above the room [W/K]; it makes none.
    room_k : float
        Temperature of the room [K].
    volatility_error : float
        Relative error put upon the logarithm of the relative volatility, to see what one would do; the
        azeotrope stays where it is.
    """

    pressure_pa: float = 101325.0
    power_w: float = 1000.0
    neck_loss_w_per_k: float = 0.0
    pot_loss_w_per_k: float = 0.0
    room_k: float = 293.15
    volatility_error: float = 0.0

    def __post_init__(self) -> None:
        require(
            "pressure", self.pressure_pa / 1e3, LOWEST_PRESSURE_PA / 1e3, HIGHEST_PRESSURE_PA / 1e3, "kPa"
        )
        require("still.power", self.power_w, 0, 1e6, "W", open_low=True)
        require("still.neck_loss", self.neck_loss_w_per_k, 0, 1e4, "W/K")
        require("still.pot_loss", self.pot_loss_w_per_k, 0, 1e4, "W/K")
        require("still.room", self.room_k - 273.15, 0, 45, "°C")
        require("volatility_error", self.volatility_error, -LARGEST_ERROR, LARGEST_ERROR)


@dataclass(frozen=True)
class PowerChange:
    """Power from a point of the run onwards.

    Parameters
    ----------
    from_collected_l : float
        Pooled distillate at that point [L at 20 °C].
    power_w : float
        Heat put in from there on [W].
    """

    from_collected_l: float
    power_w: float


@dataclass(frozen=True)
class Still:
    """A pot still.

    Parameters
    ----------
    capacity_l : float
        Volume of the pot to the rim [L].
    conditions : Conditions
        Pressure, power and losses during the run.
    heat_up_power_w : float
        Heat put in until the first drop [W].
    min_level_l : float
        Hot liquid that must stay in the pot [L].
    metal_j_per_k : float
        Heat capacity of the metal heated with the charge [J/K]; counted in the heat-up only.
    power_changes : tuple of PowerChange
        In the order of the run.
    lost : float
        Share of what leaves the neck that is never collected, 0 to 0.5: it leaves the pot, the temperatures
        and the clock as they are, and takes its share of all.
    heat_share : float
        Share of the power on the plate that reaches the pot, 0 to 1; all powers here are what reaches it.
    parrot_l : float or None
        What the parrot holds [L]; ``None`` without one.
    """

    capacity_l: float
    conditions: Conditions
    heat_up_power_w: float
    min_level_l: float = 0.0
    metal_j_per_k: float = 0.0
    power_changes: tuple[PowerChange, ...] = ()
    lost: float = 0.0
    heat_share: float = 1.0
    parrot_l: float | None = None

    def __post_init__(self) -> None:
        require("still.lost", self.lost, 0, MOST_LOST, OF_WHAT_COMES)
        require("still.capacity", self.capacity_l, 0, 1e5, "L", open_low=True)
        require("still.heat_up_power", self.heat_up_power_w, 0, 1e6, "W", open_low=True)
        require("still.min_level", self.min_level_l, 0, 1e5, "L")

    def on_plate_w(self, power_w: float) -> float:
        """Power on the plate [W] of which so much reaches the pot."""
        return power_w / self.heat_share


def metal_heat_capacity(mass_kg: float, metal: str) -> float:
    """Heat capacity of the pot's metal.

    Parameters
    ----------
    mass_kg : float
        Mass [kg].
    metal : {'stainless steel', 'steel', 'copper', 'glass'}
        What it is.

    Returns
    -------
    float
        Heat capacity [J/K].

    Raises
    ------
    RequestError
        For another metal.
    """
    return mass_kg * material(metal).heat_j_kg_k


def pressure_at_altitude(altitude_m: float) -> float:
    """Pressure of the standard atmosphere at a height above the sea.

    Parameters
    ----------
    altitude_m : float
        Height [m]; -430 to 4,200 m, where the pressure lies between 60 and 107 kPa.

    Returns
    -------
    float
        Pressure [Pa].

    Raises
    ------
    RangeError
        Outside that height.

    Notes
    -----
    ICAO standard atmosphere below 11 km: ``P = 101325 (1 - 2.25577e-5 h)^5.25588``. Weather moves the
    real pressure by up to 3 kPa either way, the boiling point by about 0.9 K; type the barometer instead.

    Examples
    --------
    >>> from potsim.still.still import pressure_at_altitude
    >>> round(pressure_at_altitude(2000.0))
    79495
    """
    require("still.altitude", altitude_m, -430, 4200, "m")
    return float(101325.0 * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


# --- What a plan leaves open: losses and metal by size, and the share of the heat that arrives.
#
# Rules, none a measurement of the still at hand. Heat leaves a wall of height H by free convection,
# ``h = 1.42 (dT / H)^0.25`` W/(m2 K) (laminar, in air; simplified equation of McAdams, from memory), and by
# radiation, ``eps sigma (T1^2 + T2^2) (T1 + T2)``. For a wall at 85 °C in a room at 20 °C the equation of
# Churchill and Chu, 1975, as a web page quotes it, has 2 % less at a height of 12 cm, 6 % more at 25 cm and
# 14 % more at 40 cm.


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
    """Return a wall by its name, with handbook values; ``'stainless steel'`` is steel."""
    known = materials()
    found = known.get({"stainless steel": "steel"}.get(name, name))
    if found is None:
        raise UnknownNameError("metal", name, known, path="still.pot_metal")
    return found


def shed_w_per_m2_k(name: str, height_m: float, room_k: float) -> float:
    """Heat that a wall of 85 °C sheds by convection and radiation [W/(m2 K)], by its height [m]."""
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
    """Mass of a pot as high as it is wide, with lid, bottom and usual wall [kg], by its size [L]."""
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


# --- Many stills that differ a little, told by few numbers.


REFERENCE_X = 0.1  # the pot whose boiling point is the temperature of reference
MOST_RATIO = 0.6  # above, the neck returns most of the vapour and tables bend too much
LEAST_TILT_PER_K, MOST_TILT_PER_K = 0.009, 0.04


@dataclass(frozen=True)
class Stills:
    """Many stills under one pressure; all arrays of one shape (n,).

    Parameters
    ----------
    power_w, neck_loss_w_per_k, pot_loss_w_per_k, room_k, volatility_error : ndarray
        As in `potsim.still.still.Conditions`.
    """

    power_w: Array
    neck_loss_w_per_k: Array
    pot_loss_w_per_k: Array
    room_k: Array
    volatility_error: Array

    @staticmethod
    def like(conditions: Conditions, **changed: float | Array) -> Stills:
        """Return stills alike but for some fields, one for each of their values; shapes broadcast."""
        values = [changed.get(f.name, getattr(conditions, f.name)) for f in fields(Stills)]
        arrays = np.broadcast_arrays(*[np.atleast_1d(np.asarray(v, dtype=float)) for v in values])
        return Stills(*[np.array(a) for a in arrays])

    def where(self, chosen: NDArray[np.bool_] | NDArray[np.intp]) -> Stills:
        """Return some of the stills."""
        return Stills(*[getattr(self, f.name)[chosen] for f in fields(self)])

    def different(self) -> tuple[Stills, NDArray[np.intp]]:
        """Return each different still once, and which of them each is; all as they are where most differ."""
        columns = np.stack([getattr(self, f.name) for f in fields(self)], axis=1)
        kinds: dict[Any, int] = {}
        rows = columns.view(np.dtype((np.void, columns.itemsize * columns.shape[1]))).ravel().tolist()
        which = np.array([kinds.setdefault(row, len(kinds)) for row in rows])
        if 2 * len(kinds) > which.size:
            return self, np.arange(which.size)
        _, first = np.unique(which, return_index=True)
        return self.where(first), which

    def with_power(self, power_w: float | Array) -> Stills:
        """Return the same stills under another power [W], one for all or one each."""
        values = {f.name: getattr(self, f.name) for f in fields(self)}
        return Stills(**{**values, "power_w": np.broadcast_to(power_w, self.power_w.shape).astype(float)})

    def net_power_w(self, pot_k: Array | float) -> Array:
        """Power less the heat that the pot sheds at a temperature [W]; ``pot_k`` broadcasts."""
        return np.asarray(self.power_w - self.pot_loss_w_per_k * (pot_k - self.room_k))

    def ratio(self, at_k: float) -> Array:
        """Neck's heat over net power where both are as warm as ``at_k`` [-]; infinite without net power."""
        net = self.net_power_w(at_k)
        shed = self.neck_loss_w_per_k * (at_k - self.room_k)
        return np.divide(shed, net, out=np.full_like(net, np.inf), where=net > 0)

    def tilt(self, at_k: float) -> Array:
        """Rise of the logarithm of that ratio with the temperature there [1/K]."""
        return np.asarray(1.0 / (at_k - self.room_k) + self.pot_tilt(at_k))

    def pot_tilt(self, at_k: float) -> Array:
        """Part of the tilt that the pot's loss makes, its loss over the net power [1/K]."""
        net = self.net_power_w(at_k)
        return np.divide(self.pot_loss_w_per_k, net, out=np.full_like(net, np.inf), where=net > 0)

    def can_run(self, pressure_pa: float) -> NDArray[np.bool_]:
        """Whether each brings a pot of water over, with a neck that lets enough of the vapour pass."""
        boiling_k = float(equilibrium.boiling_point_water(pressure_pa))
        at_k = reference_k(pressure_pa)
        warm = self.ratio(boiling_k) < 1.0
        return np.asarray(warm & (self.ratio(at_k) <= MOST_RATIO) & (self.tilt(at_k) <= MOST_TILT_PER_K))


@dataclass(frozen=True)
class Span:
    """The stills that a family serves.

    Parameters
    ----------
    pressure_pa : float
        Pressure of the air [Pa].
    lowest_ratio, highest_ratio : float
        Neck's heat over net power at the temperature of reference, 0 to 0.6.
    lowest_tilt, highest_tilt : float
        Rise of its logarithm with the temperature [1/K], 0.0093 to 0.04.
    pot_tilt : float
        Part of the tilt that a typical pot's loss makes, its loss over the net power [1/K]; the room makes
        the rest.
    volatility_error : float
        Largest relative error of ln alpha, of either sign; 0 if there is none.
    pot_tilt_reach : float
        How far above the typical the pot's part may lie [1/K]; 0 to take every pot as the typical one, which
        costs up to 1e-4 in x where its loss is uncertain by 30 %.
    """

    pressure_pa: float
    lowest_ratio: float
    highest_ratio: float
    lowest_tilt: float
    highest_tilt: float
    pot_tilt: float = 0.0
    volatility_error: float = 0.0
    pot_tilt_reach: float = 0.0

    def __post_init__(self) -> None:
        require("lowest_ratio", self.lowest_ratio, 0.0, self.highest_ratio)
        require("highest_ratio", self.highest_ratio, 0.0, MOST_RATIO)
        require("lowest_tilt", self.lowest_tilt, LEAST_TILT_PER_K, self.highest_tilt, "1/K")
        require("highest_tilt", self.highest_tilt, LEAST_TILT_PER_K, MOST_TILT_PER_K, "1/K")
        require("volatility_error", self.volatility_error, 0.0, LARGEST_ERROR)

    @staticmethod
    def over(stills: Stills, pressure_pa: float) -> Span:
        """Return the span of stills, the first being typical; no wider than can be tabulated."""
        at_k = reference_k(pressure_pa)
        ratio = np.minimum(stills.ratio(at_k), MOST_RATIO)
        tilt = np.minimum(stills.tilt(at_k), MOST_TILT_PER_K)
        pot = np.minimum(stills.pot_tilt(at_k), MOST_TILT_PER_K)
        return Span(
            pressure_pa=pressure_pa,
            lowest_ratio=float(ratio.min()),
            highest_ratio=float(ratio.max()),
            lowest_tilt=float(tilt.min()),
            highest_tilt=float(tilt.max()),
            pot_tilt=float(pot[0]),
            volatility_error=float(np.max(np.abs(stills.volatility_error))),
            pot_tilt_reach=float(pot.max() - pot[0]),
        )


def reference_k(pressure_pa: float) -> float:
    """Temperature at which the ratio is taken: the boiling point of a pot with x = 0.1 [K]."""
    return float(equilibrium.bubble_point(REFERENCE_X, pressure_pa).temperature_k)
