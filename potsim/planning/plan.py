"""What a plan says of the still, in plain numbers."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Any

from potsim.errors import RangeError, RequestError, require
from potsim.records import dataclass

if TYPE_CHECKING:
    from potsim.liquid.compounds import Compound
    from potsim.planning.botanicals import Botanical, BotanicalDose


@dataclass(frozen=True)
class PowerStep:
    """A change of power in mid-run."""

    from_collected_l: float  # pooled distillate at which it happens [L at 20 °C]
    power_w: float  # power from there on [W]

    def __post_init__(self) -> None:
        require("still.power_step.from_collected", self.from_collected_l, 0, 1e5, "L", open_low=True)
        require("still.power_step.power", self.power_w, 0, 1e6, "W", open_low=True)


@dataclass(frozen=True)
class StillPlan:
    """What the plan says of the still; ``None`` is filled from the charge."""

    capacity_l: float | None = None  # volume of the pot to the rim [L]
    power_w: float | None = None  # heat put in during the run, and until the first drop [W]
    heat_up_power_w: float | None = None  # heat put in during the run, and until the first drop [W]
    # heat shed by the bare head and neck, and by the pot, for each degree above the room [W/K]
    neck_loss_w_per_k: float | None = None
    # heat shed by the bare head and neck, and by the pot, for each degree above the room [W/K]
    pot_loss_w_per_k: float | None = None
    room_c: float | None = None  # temperature of the room [°C]
    # height above the sea [m] or the barometer's reading at the place [hPa]; not both
    altitude_m: float | None = None
    # height above the sea [m] or the barometer's reading at the place [hPa]; not both
    pressure_hpa: float | None = None
    min_level_l: float | None = None  # hot liquid that must stay in the pot to cover the element [L]
    pot_mass_kg: float | None = None  # mass of metal heated with the charge [kg]; counted in the heat-up only
    pot_metal: str = "stainless steel"  # what it is made of
    power_steps: tuple[PowerStep, ...] = ()  # changes of power in mid-run, in order

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


# --- The plan of one run in plain numbers: what goes in, the still, the cuts, the jars, the bottling.


MOST_JARS = 500
LEAST_JAR_L = 1e-4  # two drops


@dataclass(frozen=True)
class Ingredient:
    """One base spirit, or water, that goes into the charge."""

    name: str  # what it is called
    volume_l: float  # volume at 20 °C [L]
    abv: float = 0.0  # strength [% vol at 20 °C]; 0 for water
    # kind of base spirit, whose own volatiles are then followed; see `potsim.planning.botanicals`
    kind: str | None = None
    price_per_l: float | None = None  # price of a litre, in whatever money the plan counts

    def __post_init__(self) -> None:
        require("charge.volume", self.volume_l, 0, 1e5, "L", open_low=True)
        require("charge.abv", self.abv, 0, 100, "% vol")
        require("charge.price", self.price_per_l, 0)


@dataclass(frozen=True)
class LeftOver:
    """Jars of an earlier run that go into this charge."""

    name: str  # what it is called
    plan: Plan  # the plan of the earlier run
    jars: tuple[int, ...]  # numbers of the jars taken


BY_FLAVOUR = ("cloudy", "over", "faded")  # stops that are looked for in what comes over, not on the course


@dataclass(frozen=True)
class Stop:
    """Conditions of which the first to come true ends the run, or the keep."""

    stream_abv: float | None = None  # strength of the stream or of the pot falls to this [% vol at 20 °C]
    pot_abv: float | None = None  # strength of the stream or of the pot falls to this [% vol at 20 °C]
    vapour_c: float | None = None  # vapour temperature rises to this [°C]
    collected_l: float | None = None  # pooled distillate reaches this [L at 20 °C]
    recovered: float | None = None  # share of the charged ethanol collected reaches this, 0 to 1
    elapsed_min: float | None = None  # time since switch-on reaches this [min]
    cloudy: bool = False  # the stream turns cloudy
    faded: bool = False  # all that would be noticed in the bottle has given nearly all that it gives
    # botanical name to the share of what comes over of it by 99 % of the alcohol, 0 to 1
    over: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        require("cuts.stop.stream_abv", self.stream_abv, 0, 97, "% vol", open_low=True)
        require("cuts.stop.pot_abv", self.pot_abv, 0, 97, "% vol", open_low=True)
        require("cuts.stop.vapour_c", self.vapour_c, 50, 105, "°C")
        require("cuts.stop.collected", self.collected_l, 0, 1e5, "L", open_low=True)
        require(
            "cuts.stop.recovered",
            self.recovered,
            0,
            0.9999,
            "of the alcohol (0 to 1)",
            open_low=True,
            hint="The last trace never comes over: stop at 99 %.",
        )
        require("cuts.stop.elapsed", self.elapsed_min, 0, 1e5, "min", open_low=True)
        for name, share in self.over.items():
            require(f"cuts.stop.over.{name}", share, 0, 0.999, "of what comes over (0 to 1)", open_low=True)

    @property
    def named(self) -> dict[str, Any]:
        """The conditions given, key of the plan file to value."""
        pairs = {
            "stream_abv": self.stream_abv,
            "pot_abv": self.pot_abv,
            "vapour_c": self.vapour_c,
            "collected": self.collected_l,
            "recovered": self.recovered,
            "elapsed": self.elapsed_min,
            "cloudy": self.cloudy or None,
            "faded": self.faded or None,
            "over": dict(self.over) or None,
        }
        return {key: value for key, value in pairs.items() if value is not None}


@dataclass(frozen=True)
class Cuts:
    """Where heads end, where the keep ends and where the run ends."""

    # heads as a volume [L at 20 °C] or as a share of the charge's volume, 0 to 1; not both
    heads_l: float | None = None
    # heads as a volume [L at 20 °C] or as a share of the charge's volume, 0 to 1; not both
    heads_share: float | None = None
    stop: Stop = field(default_factory=Stop)  # what ends the run
    tails_from: Stop | None = None  # what ends the keep before the run ends

    def __post_init__(self) -> None:
        require("cuts.heads", self.heads_l, 0, 1e5, "L")
        require("cuts.heads", self.heads_share, 0, 0.5, "of the charge (0 to 1)")
        if self.heads_l is not None and self.heads_share is not None:
            raise RequestError("cuts.heads is given as a volume and as a share.", "Keep one.")


@dataclass(frozen=True)
class JarStock:
    """Jars of one size that the distiller owns."""

    size_l: float  # what one holds [L]
    count: int | None = None  # how many there are; ``None`` for as many as needed

    def __post_init__(self) -> None:
        require("jars.sizes", self.size_l, LEAST_JAR_L, 1e4, "L")
        require("jars.sizes (count)", self.count, 1, MOST_JARS, "jars")


@dataclass(frozen=True)
class JarPlan:
    """The jars owned and those to be pooled."""

    sizes: tuple[JarStock, ...] = ()  # what is owned; empty for a proposal
    keep: tuple[int, ...] = ()  # numbers of the jars pooled; empty for all between heads and tails


@dataclass(frozen=True)
class Stretch:
    """Neutral spirit by which a strong distillate is stretched before proofing."""

    spirit_l: float  # volume added [L at 20 °C]
    abv: float  # its strength [% vol at 20 °C]

    def __post_init__(self) -> None:
        require("bottling.stretch.spirit", self.spirit_l, 0, 1e5, "L", open_low=True)
        require("bottling.stretch.abv", self.abv, 0, 100, "% vol", open_low=True)


@dataclass(frozen=True)
class Bottling:
    """Strength and bottle to which the keep is brought."""

    abv: float | None = None  # bottling strength [% vol at 20 °C]; ``None`` for no proofing
    bottle_l: float | None = None  # volume of a bottle [L]
    steps: int = 1  # number of additions of water
    stretch: Stretch | None = None  # neutral spirit added first; no weaker than ``abv``, which it needs
    bottle_price: float | None = None  # what an empty bottle costs

    def __post_init__(self) -> None:
        require("bottling.abv", self.abv, 0, 100, "% vol", open_low=True)
        require("bottling.bottle", self.bottle_l, 0, 1e4, "L", open_low=True)
        require("bottling.steps", self.steps, 1, 50, "additions")
        require("bottling.bottle_price", self.bottle_price, 0)
        if self.stretch is not None:
            self._check_stretch(self.stretch.abv)

    def _check_stretch(self, abv: float) -> None:
        if self.abv is None:
            raise RequestError(
                "bottling.stretch is given, but no bottling.abv.",
                "Say the strength to which both are let down, or leave the stretch out.",
            )
        if abv < self.abv:
            raise RangeError(
                "bottling.stretch.abv",
                f"{abv:g} % vol",
                f"at least {self.abv:g} % vol, the bottling strength",
                "Stretch with stronger spirit, or bottle weaker; water comes by itself.",
            )


@dataclass(frozen=True)
class Uncertainty:
    """Standard uncertainty of what was typed."""

    abv: float = 0.5  # of each strength [% vol]
    volume: float = 0.02  # relative, of the charge's volume and the two losses
    neck_loss: float = 0.30  # relative, of the charge's volume and the two losses
    pot_loss: float = 0.30  # relative, of the charge's volume and the two losses
    room_c: float = 3.0  # of the room [K]

    def __post_init__(self) -> None:
        require("uncertainty.abv", self.abv, 0, 20, "% vol")
        require("uncertainty.volume", self.volume, 0, 0.5, "(0.02 is 2 %)")
        require("uncertainty.neck_loss", self.neck_loss, 0, 2, "(0.3 is 30 %)")
        require("uncertainty.pot_loss", self.pot_loss, 0, 2, "(0.3 is 30 %)")
        require("uncertainty.room", self.room_c, 0, 30, "K")


@dataclass(frozen=True)
class Plan:
    """All that one run is computed from."""

    charge: tuple[Ingredient | LeftOver, ...]  # what is blended into the pot; at least one
    title: str = "Untitled run"  # a name for the run
    still: StillPlan = field(default_factory=StillPlan)  # the still
    botanicals: tuple[BotanicalDose, ...] = ()  # the bill
    cuts: Cuts = field(default_factory=Cuts)  # the distiller's decisions and doubts
    jars: JarPlan = field(default_factory=JarPlan)  # the distiller's decisions and doubts
    bottling: Bottling = field(default_factory=Bottling)  # the distiller's decisions and doubts
    uncertainty: Uncertainty = field(default_factory=Uncertainty)  # the distiller's decisions and doubts
    # botanicals that the plan adds to the library
    own_botanicals: Mapping[str, Botanical] = field(default_factory=dict)
    # compounds that the plan adds to the library
    own_compounds: Mapping[str, Compound] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.charge:
            raise RequestError("The plan has no charge.", "Add a [[charge]] with name, volume and abv.")
