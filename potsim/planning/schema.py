"""How a key of the plan file is declared, beside the field that it fills; all else is derived from it."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Collection, Mapping
from typing import Any, NamedTuple

from potsim.errors import UnknownNameError, require

# Kinds of quantity. How each is read, written and told: `potsim.interfaces.kinds`.
VOLUME, ABV, SHARE, RELATIVE, PERCENT = "volume", "abv", "share", "relative", "percent"
MASS, MASS_KG, DURATION, DURATION_H = "mass", "mass_kg", "duration", "duration_h"
TEMPERATURE, HEIGHT, PRESSURE, POWER, HEAT_LOSS = "temperature", "height", "pressure", "power", "heat_loss"
ABV_DIFFERENCE, TEMPERATURE_DIFFERENCE = "abv_difference", "temperature_difference"
COUNT, ADDITIONS, PRICE, PRICE_PER_L = "count", "additions", "price", "price_per_l"
AMOUNT = "amount"
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

MEASURED = (*UNITS, AMOUNT)
"""Kinds that are typed with a unit."""


class Watch(NamedTuple):
    """A stop that watches one quantity of a run."""

    quantity: str  # a field of `potsim.planning.stops.Profile`
    rises: bool  # which way that moves along a run


class Key:
    """One key of a table of the plan file."""

    __slots__ = (
        *("choices", "example", "extensive", "field", "high", "kind", "label", "low", "name", "noun"),
        *("needed", "open_low", "slider", "step", "unit", "usual", "usually", "vary", "watch", "what"),
    )

    def __init__(
        self,
        kind: str,
        low: float | None = None,
        high: float = math.inf,
        *,
        example: str,
        name: str = "",
        open_low: bool = False,
        unit: str | None = None,
        label: str = "",
        noun: str = "",
        usually: str = "",
        slider: tuple[float, float, float] | None = None,
        step: float | None = None,
        vary: bool = False,
        extensive: bool = False,
        choices: Collection[str] = (),
        what: str = "",
        watch: Watch | None = None,
    ) -> None:
        self.kind = kind  # kind of quantity
        self.low, self.high, self.open_low = (
            low,
            high,
            open_low,
        )  # its range; ``low`` is ``None`` for no range
        self.example = example  # a value as it stands in a file
        self.name = name  # as it stands in a file; the field's own if it is called so
        self.field = ""  # field of the dataclass that the table becomes
        self.unit = UNITS.get(kind, "") if unit is None else unit  # of the plain number, as refusals say it
        self.label = label or name  # what forms call it
        self.noun = noun or (label[:1].lower() + label[1:])  # what a sentence calls it
        self.usually = usually  # what is taken where the plan does not say
        self.slider = slider  # least, most and step of a slider, in the unit that it shows
        self.step = step  # to which it can be measured; ``None`` for that of its kind
        self.vary = vary  # whether ``strengths --vary`` sets it
        # Whether it grows with the batch: added up in a blend of trials and scaled with a recipe. What does
        # not is averaged in a blend.
        self.extensive = extensive
        self.choices = tuple(choices)  # the words allowed; empty for any
        self.what = what or name  # what a wrong choice is called
        self.watch = watch  # what a stop watches; ``None`` for what is no such stop
        self.needed = False  # whether the field must be given
        self.usual: Any = None  # what it is if not

    def check(self, value: Any, table: str) -> None:
        """Refuse a value outside the range or the choices; ``None`` (not said) passes."""
        if value is None:
            return
        path = f"{table}.{self.name}"
        if self.low is not None:
            require(path, value, self.low, self.high, self.unit, open_low=self.open_low)
        elif self.choices and value not in self.choices:
            raise UnknownNameError(self.what, value, self.choices, path=path)


def key(kind: str, *range_: float, default: Any = dataclasses.MISSING, **said: Any) -> Any:
    """Declare a field of a plan and the key that fills it; arguments as those of `Key`."""
    metadata = {"key": Key(kind, *range_, **said)}
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
            known.field, known.name = one.name, known.name or one.name
            known.label, known.what = known.label or known.name, known.what or known.name
            made: Callable[[], Any] | Any = one.default_factory
            known.usual = one.default if made is dataclasses.MISSING else made()
            known.needed = known.usual is dataclasses.MISSING
            found[known.name] = known
    _KNOWN[table] = found
    return found


def check(thing: Any, table: str) -> None:
    """Refuse a dataclass with a field outside its range."""
    for known in keys_of(type(thing)).values():
        if known.low is not None or known.choices:
            known.check(getattr(thing, known.field), table)
