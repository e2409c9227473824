"""The form of a plan as data for the page: its parts, tables and keys."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from potsim.interfaces.planfile import HEADS, METALS, OWN_BOTANICAL, PLAN_KEYS, Key
from potsim.planning.botanicals import PREPARED, STATES, WHERE

# Unit of an example to the kind of number that it is, and the units in which that may be typed.
_KINDS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "mL": ("volume", ("mL", "L", "fl oz", "US gal")),
    "L": ("volume", ("L", "mL", "US gal", "fl oz")),
    "%": ("abv", ("%", "proof")),
    "W": ("power", ("W", "kW")),
    "W/K": ("loss", ("W/K",)),
    "°C": ("temperature", ("°C", "°F")),
    "g": ("mass", ("g", "oz")),
    "kg": ("mass", ("kg", "lb")),
    "h": ("minutes", ("h", "min")),
    "min": ("minutes", ("min", "h")),
    "m": ("length", ("m", "ft")),
    "hPa": ("pressure", ("hPa", "inHg")),
    "K": ("difference", ("K",)),
}
_CHOICES: Mapping[tuple[str, str], tuple[str, ...]] = {
    ("still", "pot_metal"): tuple(METALS),
    ("botanical", "prepared"): tuple(PREPARED),
    ("botanical", "where"): tuple(WHERE),
    ("botanical", "state"): tuple(STATES),
}
_RARE = {"kind", "price", "neck_loss", "pot_loss", "room", "altitude", "pressure", "pot_mass", "pot_metal"}
_RARE |= {"oil_yield", "steps", "bottle_price"}
_NEEDED = {("charge", "name"), ("charge", "volume"), ("botanical", "name")}
_NEW: Mapping[str, dict[str, Any]] = {
    "charge": {"name": "spirit", "volume": "500 mL", "abv": "50 %"},
    "botanical": {},
    "still.power_step": {"from_collected": "400 mL", "power": "500 W"},
    "own_botanical": {
        "name": "my own",
        "part": "herb",
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
MOST_ROWS = 40


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
        "fields": [_field(name, *one) for one in keys.items()],
    }
    return {**found, "new": _NEW[name], "most": MOST_ROWS} if many else found


def _keys(name: str) -> Mapping[str, Key]:
    if name == "cuts":
        return {"heads": HEADS["volume"]}
    if name == "own_botanical":
        return OWN_BOTANICAL
    return PLAN_KEYS[name]


def _field(table: str, name: str, key: Key) -> dict[str, Any]:
    kind, units = _kind(key.example)
    choices = _CHOICES.get((table, name))
    if choices:
        kind, units = "choice", ()
    if kind == "abv" and "abv" not in name:
        kind, units = "share", ("%",)
    return {
        "key": name,
        "label": name.replace("_", " "),
        "kind": kind,
        "units": list(units),
        "low": None,
        "high": None,
        "ticks": None,
        "example": key.example,
        "default": None,
        "choices": list(choices) if choices else None,
        "help": None,
        "required": (table, name) in _NEEDED,
        "rare": name in _RARE,
    }


def _kind(example: str) -> tuple[str, tuple[str, ...]]:
    """The kind of a key by its example, and the units in which it may be typed."""
    if example == "true":
        return "yes", ()
    if example.startswith("{"):
        return "map", ()
    if example.startswith("["):
        return "list", ()
    found = re.fullmatch(r"[0-9.]+ (\S+)", example)
    if found and found[1] in _KINDS:
        return _KINDS[found[1]]
    return ("count", ()) if re.fullmatch(r"[0-9.]+", example) else ("text", ())
