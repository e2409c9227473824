"""The vessel: how much it holds, what heats it, and what heat it sheds."""

from __future__ import annotations

from dataclasses import dataclass

from potsim.errors import RequestError, require

# Specific heat of the metal near 60 °C [J/kg/K]: handbook values, from memory.
METALS = {"stainless steel": 500.0, "copper": 390.0}
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
    """

    capacity_l: float
    conditions: Conditions
    heat_up_power_w: float
    min_level_l: float = 0.0
    metal_j_per_k: float = 0.0
    power_changes: tuple[PowerChange, ...] = ()

    def __post_init__(self) -> None:
        require("still.capacity", self.capacity_l, 0, 1e5, "L", open_low=True)
        require("still.heat_up_power", self.heat_up_power_w, 0, 1e6, "W", open_low=True)
        require("still.min_level", self.min_level_l, 0, 1e5, "L")


def metal_heat_capacity(mass_kg: float, metal: str) -> float:
    """Heat capacity of the pot's metal.

    Parameters
    ----------
    mass_kg : float
        Mass [kg].
    metal : {'stainless steel', 'copper'}
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
    if metal not in METALS:
        raise RequestError(f"still.pot_metal is '{metal}'; allowed are {' and '.join(METALS)}.")
    return mass_kg * METALS[metal]


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
    >>> round(pressure_at_altitude(2000.0))
    79495
    """
    require("still.altitude", altitude_m, -430, 4200, "m")
    return float(101325.0 * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588)
