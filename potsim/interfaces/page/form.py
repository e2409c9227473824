"""The form of a plan as data for the page: its parts, tables and keys."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from potsim.interfaces.ownfile import OWN_BOTANICAL
from potsim.liquid.compounds import compounds
from potsim.planning import schema as of
from potsim.planning.botanicals import materials
from potsim.planning.ingredients import PREPARED
from potsim.planning.plan import TABLES, most_rows
from potsim.planning.schema import Key

# Kind of quantity to the kind of number that it is on the page, and the units in which it may be typed.
_KINDS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    of.VOLUME: ("volume", ("mL", "L", "fl oz", "US gal")),
    of.ABV: ("abv", ("%", "proof")),
    of.ABV_DIFFERENCE: ("abv", ("%", "proof")),
    of.SHARE: ("share", ("%",)),
    of.RELATIVE: ("share", ("%",)),
    of.PERCENT: ("share", ("%",)),
    of.SPREAD: ("share", ("%",)),
    of.POWER: ("power", ("W", "kW")),
    of.HEAT_LOSS: ("loss", ("W/K",)),
    of.TEMPERATURE: ("temperature", ("°C", "°F")),
    of.TEMPERATURE_DIFFERENCE: ("difference", ("K",)),
    of.MASS: ("mass", ("g", "oz")),
    of.MASS_KG: ("mass", ("kg", "lb")),
    of.DURATION: ("minutes", ("min", "h")),
    of.DURATION_H: ("minutes", ("h", "min")),
    of.HEIGHT: ("length", ("m", "ft")),
    of.PRESSURE: ("pressure", ("hPa", "inHg")),
    of.COUNT: ("count", ()),
    of.ADDITIONS: ("count", ()),
    of.PRICE: ("count", ()),
    of.YES: ("yes", ()),
    of.SHARES_OVER: ("map", ()),
    of.COMPOSITION: ("map", ()),
    of.USUAL_DOSE: ("list", ()),
}
# Kinds whose range is a scale to stand on, and how many of what the page shows is one of the key.
_SCALED: Mapping[str, float] = {
    of.ABV: 1.0,
    of.ABV_DIFFERENCE: 1.0,
    of.SHARE: 100.0,
    of.RELATIVE: 100.0,
    of.PERCENT: 1.0,
    of.TEMPERATURE: 1.0,
    of.TEMPERATURE_DIFFERENCE: 1.0,
    of.HEIGHT: 1.0,
    of.PRESSURE: 1.0,
}
_RARE = {"kind", "price", "neck_loss", "pot_loss", "room", "altitude", "pressure", "pot_mass", "pot_metal"}
_RARE |= {"oil_yield", "steps", "bottle_price"}
_NEW: Mapping[str, dict[str, Any]] = {
    "charge": {"name": "spirit", "volume": "500 mL", "abv": "50 %"},
    "botanical": {},
    "still.power_step": {"from_collected": "400 mL", "power": "500 W"},
    "own_botanical": {
        "name": "my own",
        "category": "leaf",
        "part": "leaf",
        "oil_yield": "1 %",
        "composition": {"linalool": "50 %"},
    },
}
# The parts of the form and their tables.
_SECTIONS: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...] = (
    (
        "pot",
        "Pot",
        (("charge", "spirit or water"), ("still", "still"), ("still.power_step", "change of power")),
    ),
    ("botanicals", "Botanicals", (("botanical", "botanical"), ("own_botanical", "botanical of your own"))),
    ("cuts", "Cuts", (("cuts", "heads"), ("cuts.stop", "stop"), ("cuts.tails_from", "tails from"))),
    ("jars", "Jars", (("jars", "jars"),)),
    ("bottle", "Bottle", (("bottling", "bottle"), ("bottling.stretch", "neutral spirit"))),
    ("sure", "How sure", (("uncertainty", "doubt"),)),
)


def schema() -> list[dict[str, Any]]:
    """Return the parts of the form with their tables and fields."""
    return [
        {"section": section, "label": label, "tables": [_table(name, words) for name, words in tables]}
        for section, label, tables in _SECTIONS
    ]


def _table(name: str, label: str) -> dict[str, Any]:
    keys = _keys(name)
    many = name in _NEW
    found = {
        "table": name,
        "label": label,
        "many": many,
        "fields": [_field(*one) for one in keys.items()],
    }
    return {**found, "new": _NEW[name], "most": most_rows(name)} if many else found


def _keys(name: str) -> Mapping[str, Key]:
    if name == "cuts":
        return {"heads": TABLES["cuts"].keys["heads"]}
    return OWN_BOTANICAL if name == "own_botanical" else TABLES[name].keys


def noun(path: str) -> str:
    """Return what a sentence calls the key at a path of the plan's tables; empty for no one key.

    Examples
    --------
    >>> from potsim.interfaces.page.form import noun
    >>> noun("still.power_step.0.power")
    'the power after a change'
    """
    *tables, key = [step for step in path.split(".") if not step.isdecimal()] or [""]
    table = ".".join(tables)
    if table not in (*TABLES, "own_botanical"):
        return ""
    found = _keys(table).get(key) if table != "cuts" else TABLES["cuts"].keys.get(key)
    return "" if found is None else found.noun


# Fields of one's own botanicals whose words are those of the library.
_CHOICES: Mapping[str, Callable[[], tuple[str, ...]]] = {
    "category": lambda: tuple(materials()),
    "prepared_usually": lambda: tuple(PREPARED),
}


def _ticks(key: Key) -> list[float] | None:
    """Return the ends of a scale for a key, in the first of its units."""
    if key.slider is not None:
        return list(key.slider[:2])
    if key.kind not in _SCALED or key.low is None or math.isinf(key.high):
        return None
    return [key.low * _SCALED[key.kind], key.high * _SCALED[key.kind]]


def _field(name: str, key: Key) -> dict[str, Any]:
    choices = _CHOICES[key.field]() if key.field in _CHOICES else tuple(key.choices)
    kind, units = ("choice", ()) if choices else _KINDS.get(key.kind, ("text", ()))
    return {
        "key": name,
        "label": key.label.replace("_", " "),
        "kind": kind,
        "units": list(units),
        "low": key.low,
        "high": None if math.isinf(key.high) else key.high,
        "ticks": _ticks(key),
        "names": [one.id for one in compounds()] if key.kind == of.COMPOSITION else None,
        "example": key.example,
        "default": key.usually or None,
        "choices": list(choices) or None,
        "help": None,
        "required": key.needed,
        "rare": name in _RARE,
    }
