"""What a plan says of the still: its size, heat, losses, and changes of power in mid-run."""

from __future__ import annotations

import itertools

from potsim.errors import RequestError
from potsim.planning import schema
from potsim.planning.schema import check, key
from potsim.records import dataclass

MOST_STEPS = 50  # changes of power
METALS = ("stainless steel", "steel", "copper", "glass")
HEATS = ("element", "plate", "gas")
BUILT_OF = ("glass", "steel", "copper")


@dataclass(frozen=True)
class PowerStep:
    """A change of power in mid-run."""

    # pooled distillate at which it happens [L at 20 °C]
    from_collected_l: float = key(
        *(schema.VOLUME, 0, 1e5),
        open_low=True,
        name="from_collected",
        example="400 mL",
        label="Once over",
        vary=True,
        extensive=True,
    )
    # power from there on [W]
    power_w: float = key(
        *(schema.POWER, 0, 1e6),
        open_low=True,
        name="power",
        example="500 W",
        label="Power then",
        noun="the power after a change",
        vary=True,
    )

    def __post_init__(self) -> None:
        check(self, "still.power_step")


@dataclass(frozen=True)
class StillPlan:
    """What the plan says of the still; ``None`` is filled from the charge."""

    # volume of the pot to the rim [L]
    capacity_l: float | None = key(
        *(schema.VOLUME, 0, 1e5),
        default=None,
        open_low=True,
        name="capacity",
        example="4 L",
        label="Pot holds",
        noun="what the pot holds",
        vary=True,
        usually="a pot 70 % full",
    )
    # heat put in during the run [W]
    power_w: float | None = key(
        *(schema.POWER, 0, 1e6),
        default=None,
        open_low=True,
        name="power",
        example="700 W",
        label="Power",
        noun="the power",
        vary=True,
        usually="by the size of the pot",
    )
    # heat put in until the first drop [W]
    heat_up_power_w: float | None = key(
        *(schema.POWER, 0, 1e6),
        default=None,
        open_low=True,
        name="heat_up_power",
        example="1200 W",
        label="Power to heat up",
        noun="the power to heat up",
        vary=True,
        usually="the power of the run",
    )
    # heat shed by the bare head and neck for each degree above the room [W/K]
    neck_loss_w_per_k: float | None = key(
        *(schema.HEAT_LOSS, 0, 1e4),
        default=None,
        name="neck_loss",
        example="0.6 W/K",
        label="Neck sheds, per degree",
        noun="what the neck sheds",
        vary=True,
        usually="by the size of the pot",
    )
    # heat shed by the pot for each degree above the room [W/K]
    pot_loss_w_per_k: float | None = key(
        *(schema.HEAT_LOSS, 0, 1e4),
        default=None,
        name="pot_loss",
        example="1.0 W/K",
        label="Pot sheds, per degree",
        noun="what the pot sheds",
        vary=True,
        usually="by the size of the pot",
    )
    # temperature of the room [°C]
    room_c: float | None = key(
        *(schema.TEMPERATURE, 0, 45),
        default=None,
        name="room",
        example="20 °C",
        label="Room",
        vary=True,
        usually="20 °C",
    )
    # height above the sea [m] or the barometer's reading at the place [hPa]; not both
    altitude_m: float | None = key(
        *(schema.HEIGHT, -430, 4200),
        default=None,
        name="altitude",
        example="60 m",
        label="Height above the sea",
        vary=True,
        usually="sea level",
    )
    # the barometer's reading at the place [hPa]
    pressure_hpa: float | None = key(
        *(schema.PRESSURE, 600, 1100),
        default=None,
        name="pressure",
        example="1004 hPa",
        label="or barometer",
        vary=True,
        usually="by the height",
    )
    # hot liquid that must stay in the pot to cover the element [L]
    min_level_l: float | None = key(
        *(schema.VOLUME, 0, 1e5),
        default=None,
        name="min_level",
        example="0.5 L",
        label="Least level in the pot",
        noun="the least level in the pot",
        vary=True,
        usually="nothing has to stay",
    )
    # mass of metal heated with the charge [kg]; counted in the heat-up only
    pot_mass_kg: float | None = key(
        *(schema.MASS_KG, 0, 1e5),
        default=None,
        name="pot_mass",
        example="2.5 kg",
        label="Mass of the pot",
        noun="the mass of the pot",
        vary=True,
        usually="not heated",
    )
    # what it is made of
    pot_metal: str = key(
        schema.CHOICE,
        default="stainless steel",
        example="copper",
        label="Metal of the pot",
        noun="the metal of the pot",
        choices=METALS,
        what="metal",
        usually="stainless steel",
    )
    power_steps: tuple[PowerStep, ...] = ()  # changes of power in mid-run, in order
    # kind of heat, which decides how much of the power reaches the pot
    heated_by: str | None = key(
        schema.CHOICE,
        default=None,
        example="plate",
        label="Heated by",
        noun="what heats it",
        choices=HEATS,
        what="kind of heat",
        usually="all of the power reaches the pot",
    )
    # share of the power printed on the plate that reaches the pot, 0 to 1
    heat_share: float | None = key(
        *(schema.SHARE, 0, 1),
        default=None,
        open_low=True,
        unit="(0.6 is 60 %)",
        example="60 %",
        label="Heat that reaches the pot",
        noun="the share of the heat that reaches the pot",
        vary=True,
        slider=(20, 100, 1),
        usually="by what heats it",
    )
    # what the parrot holds [L]
    parrot_l: float | None = key(
        *(schema.VOLUME, 0, 1e3),
        default=None,
        open_low=True,
        name="parrot",
        example="80 mL",
        label="Parrot holds",
        noun="what the parrot holds",
        vary=True,
        usually="none",
    )
    # heat that the condenser can carry off [W]
    condenser_w: float | None = key(
        *(schema.POWER, 0, 1e6),
        default=None,
        open_low=True,
        name="condenser",
        example="350 W",
        label="Condenser carries off",
        noun="what the condenser can carry off",
        vary=True,
        usually="not known",
    )
    # what pot and head are built of, which sets losses and metal that are not given
    built_of: str | None = key(
        schema.CHOICE,
        default=None,
        example="copper",
        label="Built of",
        noun="what it is built of",
        choices=BUILT_OF,
        what="wall",
        usually="losses by the size alone",
    )
    # share of what leaves the neck that is lost at joints and outlets, 0 to 0.5
    lost: float | None = key(
        *(schema.SHARE, 0, 0.5),
        default=None,
        unit="of what comes over (0 to 1)",
        example="3 %",
        label="Lost at joints",
        noun="the share that is lost at joints",
        vary=True,
        usually="nothing",
    )

    def __post_init__(self) -> None:
        check(self, "still")
        if self.altitude_m is not None and self.pressure_hpa is not None:
            raise RequestError.of("conflict", "still.pressure", given=self.pressure_hpa, other="altitude")
        at = [step.from_collected_l for step in self.power_steps]
        if any(b <= a for a, b in itertools.pairwise(at)):
            raise RequestError.of("not_rising", "still.power_step", given=at)
        if len(at) > MOST_STEPS:
            raise RequestError.of("too_many", "still.power_step", given=len(at), allowed=MOST_STEPS)
