"""How a key of the plan file is declared, beside the field that it fills; all else is derived from it.

The first tables follow: what goes in (spirits and water, jars left over, botanicals) and the still. Those of
what is done with it are in `potsim.planning.plan`.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Callable, Collection, Mapping
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from potsim.errors import OF_WHAT_COMES, RequestError, UnknownNameError, require, require_sort
from potsim.records import dataclass

if TYPE_CHECKING:
    from potsim.planning.plan import Plan


# Kinds of quantity. How each is read, written and told: `potsim.interfaces.tomlfile`.
VOLUME, ABV, SHARE, RELATIVE, PERCENT = "volume", "abv", "share", "relative", "percent"
MASS, MASS_KG, DURATION, DURATION_H = "mass", "mass_kg", "duration", "duration_h"
TEMPERATURE, HEIGHT, PRESSURE, POWER, HEAT_LOSS = "temperature", "height", "pressure", "power", "heat_loss"
ABV_DIFFERENCE, TEMPERATURE_DIFFERENCE = "abv_difference", "temperature_difference"
COUNT, ADDITIONS, PRICE, PRICE_PER_L = "count", "additions", "price", "price_per_l"
AMOUNT = "amount"
LONGEST_LINE = 200  # characters of a name or a title
TEXT, WORDS, SAID, DAY, YES, CHOICE, SPIRIT = "text", "words", "said", "day", "yes", "choice", "spirit"
JAR_NUMBERS, JAR_SIZES, SHARES_OVER = "jar_numbers", "jar_sizes", "shares_over"
SPREAD, COMPOSITION, NAMES, USUAL_DOSE = "spread", "composition", "names", "usual_dose"
MOLAR_MASS, GROUPS, KELVIN, RATIO, DECADES = "molar_mass", "groups", "kelvin", "ratio", "decades"

# Unit of the plain number of a kind; empty for counts, shares and words.
UNITS: Mapping[str, str] = {
    VOLUME: "L",
    ABV: "% vol",
    SHARE: "",
    RELATIVE: "",
    PERCENT: "%",
    MASS: "g",
    MASS_KG: "kg",
    DURATION: "min",
    DURATION_H: "h",
    TEMPERATURE: "°C",
    HEIGHT: "m",
    PRESSURE: "hPa",
    POWER: "W",
    HEAT_LOSS: "W/K",
    ABV_DIFFERENCE: "% vol",
    TEMPERATURE_DIFFERENCE: "K",
    DECADES: "decades",
}

# Units by how the name of a plain number ends; the longest counts. Of others a number is a share or a count.
ENDINGS: Mapping[str, str] = {
    "_l": "L",
    "_min": "min",
    "_h": "h",
    "_c": "°C",
    "_k": "K",
    "_g": "g",
    "_kg": "kg",
    "_m": "m",
    "_w": "W",
    "_wh": "Wh",
    "_kwh": "kWh",
    "_mg_per_l": "mg/L",
    "_g_per_l": "g/L",
    "_w_per_k": "W/K",
    "_pa": "Pa",
    "_hpa": "hPa",
    "_pct": "%",
    "abv": "% vol",  # with or without a word before it
}


def unit_of(name: str) -> str:
    """Return the unit of a number by its name; empty for shares, counts and words."""
    fitting = [ending for ending in ENDINGS if f"_{name}".endswith(ending)]
    return ENDINGS[max(fitting, key=len)] if fitting else ""


MEASURED = (*UNITS, AMOUNT)
"""Kinds that are typed with a unit."""


class Watch(NamedTuple):
    """A stop that watches one quantity of a run."""

    quantity: str  # a field of `potsim.planning.stops.Profile`
    rises: bool  # which way that moves along a run


@dataclass
class Key:
    """One key of a table of the plan file."""

    kind: str  # kind of quantity
    low: float | None = None  # its range; ``None`` for no range
    high: float = math.inf
    open_low: bool = False  # whether ``low`` itself is out of it
    example: str = ""  # a value as it stands in a file
    name: str = ""  # as it stands in a file; by the field if it is left out
    unit: str = ""  # of the plain number, as refusals say it; that of its kind if left out
    label: str = ""  # what forms call it; its name if left out
    noun: str = ""  # what a sentence calls it; its label if left out
    usually: str = ""  # what is taken where the plan does not say
    slider: tuple[float, float, float] | None = None  # least, most and step, in the unit that it shows
    step: float | None = None  # to which it can be measured; ``None`` for that of its kind
    # whether it grows with the batch: added up in a blend of trials and scaled with a recipe; what does not
    # is averaged in a blend
    extensive: bool = False
    vary: bool = False  # whether ``strengths --vary`` sets it, as all that a slider moves or that grows so
    choices: Collection[str] = ()  # the words allowed; empty for any
    what: str = ""  # what a wrong choice is called; its name if left out
    watch: Watch | None = None  # what a stop watches; ``None`` for what is no such stop
    field: str = ""  # field of the dataclass that the table becomes
    needed: bool = False  # whether that must be given
    usual: Any = None  # what it is if not

    def __post_init__(self) -> None:
        self.unit = self.unit or UNITS.get(self.kind, "")
        self.label, self.what = self.label or self.name, self.what or self.name
        self.noun = self.noun or self.label[:1].lower() + self.label[1:]
        self.vary = self.vary or self.extensive or self.slider is not None

    def check(self, value: Any, table: str) -> None:
        """Refuse a value outside the range or the choices; ``None`` (not said) passes."""
        if value is None:
            return
        path = f"{table}.{self.name}"
        if self.low is not None:
            require(path, value, self.low, self.high, self.unit, open_low=self.open_low)
        elif self.kind == TEXT:
            require_sort(path, value, str, "str")
            if len(value) > LONGEST_LINE or not value.isprintable():
                raise RequestError.of("no_line", path, given=ascii(value[:60]), allowed=LONGEST_LINE)
        elif self.choices and value not in self.choices:
            raise UnknownNameError(self.what, value, self.choices, path=path)


def key(
    kind: str,
    low: float | None = None,
    high: float = math.inf,
    *,
    needed: bool = False,
    default: Any = None,
    **said: Any,
) -> Any:
    """Declare a field of a plan and the key that fills it; arguments as those of `Key`."""
    metadata = {"key": Key(kind, low, high, **said)}
    if needed:
        return dataclasses.field(metadata=metadata)
    if default is dict:
        return dataclasses.field(default_factory=dict, metadata=metadata)
    return dataclasses.field(default=default, metadata=metadata)


_KNOWN: dict[type[Any], Mapping[str, Key]] = {}


def keys_of(table: type[Any]) -> Mapping[str, Key]:
    """Return the keys that a dataclass declares, name to key in their order."""
    if table in _KNOWN:
        return _KNOWN[table]
    found: dict[str, Key] = {}
    for one in dataclasses.fields(table):
        known = one.metadata.get("key")
        if known is not None:
            known.field, known.name = one.name, known.name or name_of(one.name, known.kind)
            known.label, known.what = known.label or known.name, known.what or known.name
            made: Callable[[], Any] | Any = one.default_factory
            known.usual = one.default if made is dataclasses.MISSING else made()
            known.needed = known.usual is dataclasses.MISSING
            found[known.name] = known
    _KNOWN[table] = found
    return found


def name_of(field: str, kind: str) -> str:
    """Return what a field is called in a file, where its unit is typed: its name without that.

    Strengths and temperatures keep theirs, as in ``stream_abv`` and ``vapour_c``.
    """
    kept = kind in (ABV, ABV_DIFFERENCE, TEMPERATURE)
    endings = [] if kept else [one for one, unit in ENDINGS.items() if unit == UNITS.get(kind)]
    return field.removesuffix(endings[0]) if endings else field


def amounts_of(thing: Any) -> dict[str, Any]:
    """What a table says of how much: field to value, of what grows with the batch and is said."""
    fields = [known.field for known in keys_of(type(thing)).values() if known.extensive]
    return {name: value for name in fields if (value := getattr(thing, name)) is not None}


def check(thing: Any, table: str) -> None:
    """Refuse a dataclass with a field outside its range."""
    for known in keys_of(type(thing)).values():
        if known.low is not None or known.choices or known.kind == TEXT:
            known.check(getattr(thing, known.field), table)


# --- What a plan says of what goes in: spirits and water, jars left over, botanicals.


OIL_FACTORS = (0.1, 10.0)  # beyond, the botanical is another, or the number is a slip
State = Literal["dried", "fresh"]
Prepared = Literal["whole", "cracked", "ground", "sliced"]
Where = Literal["pot", "basket"]
STATES: tuple[State, ...] = ("dried", "fresh")
PREPARED: tuple[Prepared, ...] = ("whole", "cracked", "ground", "sliced")
WHERE: tuple[Where, ...] = ("pot", "basket")


@dataclass(frozen=True)
class Ingredient:
    """One base spirit, or water, that goes into the charge."""

    name: str = key(TEXT, needed=True, example="apple spirit", label="Name")  # what it is called
    # volume at 20 °C [L]
    volume_l: float = key(
        VOLUME, 0, 1e5, needed=True, open_low=True, example="0.9 L", label="Volume", extensive=True
    )
    # strength [% vol at 20 °C]; 0 for water
    abv: float = key(ABV, 0, 100, default=0.0, example="62 %", label="Strength", slider=(1, 96.5, 0.5))
    # kind of base spirit, whose own volatiles are then followed; see `potsim.planning.botanicals`
    kind: str | None = key(SPIRIT, example="fruit", label="Kind of spirit")
    # price of a litre, in whatever money the plan counts
    price_per_l: float | None = key(PRICE_PER_L, 0, name="price", example="12 per L", label="Price")

    def __post_init__(self) -> None:
        check(self, "charge")


@dataclass(frozen=True)
class LeftOver:
    """What came of an earlier run, or some jars of it, that goes into this charge."""

    name: str = key(TEXT, needed=True, example="tails of trial 1", label="Name")  # what it is called
    plan: Plan  # type: ignore[misc]  # the plan of the earlier run; `key` gives no default either
    # numbers of the jars taken; empty for all of it
    jars: tuple[int, ...] = key(JAR_NUMBERS, default=(), example="1,17-20", label="Jars", usually="all of it")
    # how often that run was done
    times: float = key(
        COUNT, 0, 1000, default=1.0, open_low=True, unit="times", example="4", label="Times", usually="once"
    )

    def __post_init__(self) -> None:
        check(self, "charge")


@dataclass(frozen=True)
class BotanicalDose:
    """One line of a bill, as the distiller says it."""

    name: str = key(
        TEXT, needed=True, example="juniper", label="Name"
    )  # any name that the library understands
    # mass as weighed [g]; or else ``pieces``
    mass_g: float | None = key(MASS, 0, 1e7, example="14 g", label="Mass", extensive=True)
    # number of usual pieces
    pieces: float | None = key(COUNT, 0, 1e7, unit="pieces", example="2", label="Pieces", extensive=True)
    # how the amount was said in place of mass or pieces: ``"g"``, the name of the piece, empty for a bare
    # number; ``None`` where it was not
    counted: str | None = key(
        AMOUNT, name="amount", example="3 pods", label="or amount", usually="mass or pieces"
    )
    # state weighed; ``None`` for that of the library
    state: State | None = key(
        CHOICE, example="fresh", label="State", choices=STATES, usually="that of the library"
    )
    # preparation; ``None`` for the usual one
    prepared: Prepared | None = key(
        CHOICE,
        example="cracked",
        label="Prepared",
        choices=PREPARED,
        what="preparation",
        usually="as is usual for it",
    )
    # hours in the charge at room temperature before the still is lit [h]
    macerated_h: float = key(
        DURATION_H, 0, 1e4, default=0.0, example="12 h", label="Macerated", vary=True, usually="not"
    )
    # strength it is macerated at [% vol]; ``None`` for that of the charge
    macerated_at_abv: float | None = key(
        *(ABV, 0, 96),
        name="macerated_at",
        example="60 %",
        label="Macerated at",
        noun="the strength it is macerated at",
        usually="the strength of the charge",
    )
    # what this lot gives against what was foretold: learnt, or the distiller's own
    oil_factor: float = key(RATIO, *OIL_FACTORS, default=1.0, example="1.3", label="Oil, times", usually="1")
    # botanical of the library that stands for one that the library lacks
    like: str | None = key(
        TEXT, example="juniper", label="Like", noun="what it is like", usually="the library knows it"
    )
    # in the pot, or in a basket in the rising vapour
    where: Where = key(CHOICE, default="pot", example="basket", label="Where", choices=WHERE, usually="pot")
    # oil found in this very lot, mass % in the state the library counts; ``None`` for the typical one
    oil_yield_pct: float | None = key(
        PERCENT, 0, 100, example="1.2 %", label="Oil", vary=True, usually="that of the library"
    )

    def __post_init__(self) -> None:
        for known in keys_of(type(self)).values():
            try:
                known.check(getattr(self, known.field), "botanical")
            except RequestError as error:
                error.path = f"botanical.{self.name}.{known.name}"
                raise
        path = f"botanical.{self.name}"
        if (self.mass_g is None) == (self.pieces is None):
            if self.mass_g is None:
                raise RequestError.of("no_amount", path)
            raise RequestError.of("conflict", f"{path}.mass", given=self.mass_g, other="pieces")
        if self.where == "basket" and self.macerated_h > 0:
            raise RequestError.of("macerated_in_basket", f"{path}.macerated", given=self.macerated_h)
        if self.macerated_at_abv is not None and not self.macerated_h:
            at = f"{path}.macerated_at"
            raise RequestError.of("alone", at, given=self.macerated_at_abv, lacks="macerated")


# --- What a plan says of the still: its size, heat, losses, and changes of power in mid-run.


MOST_STEPS = 50  # changes of power
METALS = ("stainless steel", "steel", "copper", "glass")
HEATS = ("element", "plate", "gas")
BUILT_OF = ("glass", "steel", "copper")


@dataclass(frozen=True)
class PowerStep:
    """A change of power in mid-run."""

    # pooled distillate at which it happens [L at 20 °C]
    from_collected_l: float = key(
        VOLUME, 0, 1e5, needed=True, open_low=True, example="400 mL", label="Once over", extensive=True
    )
    # power from there on [W]
    power_w: float = key(
        *(POWER, 0, 1e6),
        needed=True,
        open_low=True,
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
        *(VOLUME, 0, 1e5),
        open_low=True,
        example="4 L",
        label="Pot holds",
        noun="what the pot holds",
        vary=True,
        usually="a pot 70 % full",
    )
    # heat put in during the run [W]
    power_w: float | None = key(
        *(POWER, 0, 1e6),
        open_low=True,
        example="700 W",
        label="Power",
        noun="the power",
        vary=True,
        usually="by the size of the pot",
    )
    # heat put in until the first drop [W]
    heat_up_power_w: float | None = key(
        *(POWER, 0, 1e6),
        open_low=True,
        example="1200 W",
        label="Power to heat up",
        noun="the power to heat up",
        vary=True,
        usually="the power of the run",
    )
    # heat shed by the bare head and neck for each degree above the room [W/K]
    neck_loss_w_per_k: float | None = key(
        *(HEAT_LOSS, 0, 1e4),
        example="0.6 W/K",
        label="Neck sheds, per degree",
        noun="what the neck sheds",
        vary=True,
        usually="by the size of the pot",
    )
    # heat shed by the pot for each degree above the room [W/K]
    pot_loss_w_per_k: float | None = key(
        *(HEAT_LOSS, 0, 1e4),
        example="1.0 W/K",
        label="Pot sheds, per degree",
        noun="what the pot sheds",
        vary=True,
        usually="by the size of the pot",
    )
    # temperature of the room [°C]
    room_c: float | None = key(
        TEMPERATURE, 0, 45, name="room", example="20 °C", label="Room", vary=True, usually="20 °C"
    )
    # height above the sea [m] or the barometer's reading at the place [hPa]; not both
    altitude_m: float | None = key(
        HEIGHT, -430, 4200, example="60 m", label="Height above the sea", vary=True, usually="sea level"
    )
    # the barometer's reading at the place [hPa]
    pressure_hpa: float | None = key(
        PRESSURE, 600, 1100, example="1004 hPa", label="or barometer", vary=True, usually="by the height"
    )
    # hot liquid that must stay in the pot to cover the element [L]
    min_level_l: float | None = key(
        *(VOLUME, 0, 1e5),
        example="0.5 L",
        label="Least level in the pot",
        noun="the least level in the pot",
        vary=True,
        usually="nothing has to stay",
    )
    # mass of metal heated with the charge [kg]; counted in the heat-up only
    pot_mass_kg: float | None = key(
        *(MASS_KG, 0, 1e5),
        example="2.5 kg",
        label="Mass of the pot",
        noun="the mass of the pot",
        vary=True,
        usually="not heated",
    )
    # what it is made of
    pot_metal: str = key(
        CHOICE,
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
        CHOICE,
        example="plate",
        label="Heated by",
        noun="what heats it",
        choices=HEATS,
        what="kind of heat",
        usually="all of the power reaches the pot",
    )
    # share of the power printed on the plate that reaches the pot, 0 to 1
    heat_share: float | None = key(
        *(SHARE, 0, 1),
        open_low=True,
        unit="(0.6 is 60 %)",
        example="60 %",
        label="Heat that reaches the pot",
        noun="the share of the heat that reaches the pot",
        slider=(20, 100, 1),
        usually="by what heats it",
    )
    # what the parrot holds [L]
    parrot_l: float | None = key(
        *(VOLUME, 0, 1e3),
        open_low=True,
        example="80 mL",
        label="Parrot holds",
        noun="what the parrot holds",
        vary=True,
        usually="none",
    )
    # heat that the condenser can carry off [W]
    condenser_w: float | None = key(
        *(POWER, 0, 1e6),
        open_low=True,
        example="350 W",
        label="Condenser carries off",
        noun="what the condenser can carry off",
        vary=True,
        usually="not known",
    )
    # what pot and head are built of, which sets losses and metal that are not given
    built_of: str | None = key(
        CHOICE,
        example="copper",
        label="Built of",
        noun="what it is built of",
        choices=BUILT_OF,
        what="wall",
        usually="losses by the size alone",
    )
    # share of what leaves the neck that is lost at joints and outlets, 0 to 0.5
    lost: float | None = key(
        *(SHARE, 0, 0.5),
        unit=OF_WHAT_COMES,
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
