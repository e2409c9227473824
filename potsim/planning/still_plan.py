"""What a plan says of the still, in plain numbers."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from potsim.errors import RequestError, require


@dataclass(frozen=True)
class PowerStep:
    """A change of power in mid-run.

    Parameters
    ----------
    from_collected_l : float
        Pooled distillate at which it happens [L at 20 °C].
    power_w : float
        Power from there on [W].
    """

    from_collected_l: float
    power_w: float

    def __post_init__(self) -> None:
        require("still.power_step.from_collected", self.from_collected_l, 0, 1e5, "L", open_low=True)
        require("still.power_step.power", self.power_w, 0, 1e6, "W", open_low=True)


@dataclass(frozen=True)
class StillPlan:
    """What the plan says of the still; ``None`` is filled from the charge.

    Parameters
    ----------
    capacity_l : float or None
        Volume of the pot to the rim [L].
    power_w, heat_up_power_w : float or None
        Heat put in during the run, and until the first drop [W].
    neck_loss_w_per_k, pot_loss_w_per_k : float or None
        Heat shed by the bare head and neck, and by the pot, for each degree above the room [W/K].
    room_c : float or None
        Temperature of the room [°C].
    altitude_m, pressure_hpa : float or None
        Height above the sea [m] or the barometer's reading at the place [hPa]; not both.
    min_level_l : float or None
        Hot liquid that must stay in the pot to cover the element [L].
    pot_mass_kg : float or None
        Mass of metal heated with the charge [kg]; counted in the heat-up only.
    pot_metal : {'stainless steel', 'copper'}
        What it is made of.
    power_steps : tuple of PowerStep
        Changes of power in mid-run, in order.
    """

    capacity_l: float | None = None
    power_w: float | None = None
    heat_up_power_w: float | None = None
    neck_loss_w_per_k: float | None = None
    pot_loss_w_per_k: float | None = None
    room_c: float | None = None
    altitude_m: float | None = None
    pressure_hpa: float | None = None
    min_level_l: float | None = None
    pot_mass_kg: float | None = None
    pot_metal: str = "stainless steel"
    power_steps: tuple[PowerStep, ...] = ()

    def __post_init__(self) -> None:
        require("still.capacity", self.capacity_l, 0, 1e5, "L", open_low=True)
        require("still.power", self.power_w, 0, 1e6, "W", open_low=True)
        require("still.heat_up_power", self.heat_up_power_w, 0, 1e6, "W", open_low=True)
        require("still.neck_loss", self.neck_loss_w_per_k, 0, 1e4, "W/K")
        require("still.pot_loss", self.pot_loss_w_per_k, 0, 1e4, "W/K")
        require("still.room", self.room_c, 0, 45, "°C")
        require("still.altitude", self.altitude_m, -430, 4200, "m")
        require(
            "still.pressure", self.pressure_hpa, 600, 1100, "hPa", hint="Give the barometer at the place."
        )
        require("still.min_level", self.min_level_l, 0, 1e5, "L")
        require("still.pot_mass", self.pot_mass_kg, 0, 1e5, "kg")
        if self.altitude_m is not None and self.pressure_hpa is not None:
            raise RequestError(
                "still.altitude and still.pressure are both given.",
                "Keep one: the pressure tells the height.",
            )
        at = [step.from_collected_l for step in self.power_steps]
        if any(b <= a for a, b in itertools.pairwise(at)):
            raise RequestError(
                "still.power_step: from_collected does not rise.",
                "Put the smallest first.",
            )
