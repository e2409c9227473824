"""The keys of a plan file: for each, the field it fills, how its text is read and how it is written back."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, fields
from typing import Any

from potsim.errors import UnknownNameError
from potsim.interfaces import units
from potsim.interfaces.numerals import LONGEST, refusal
from potsim.interfaces.wording import exact, format_numbers
from potsim.planning.plan import JarStock

METALS = ("stainless steel", "copper")


@dataclass(frozen=True)
class Key:
    """One key of a table of the plan file.

    Parameters
    ----------
    field : str
        Field of the dataclass that the table becomes.
    read : callable
        From what stands in the file to the value; refuses in words.
    write : callable
        Back again, exactly.
    example : str
        A value as it stands in a file.
    """

    field: str
    read: Callable[[Any], Any]
    write: Callable[[Any], Any]
    example: str


def text(given: object) -> str:
    """Read text that says something, such as a name.

    Parameters
    ----------
    given : object
        What stands in the file.

    Returns
    -------
    str
        The text without blanks at its ends.

    Raises
    ------
    RequestError
        If it is not text, empty, too long or of several lines.
    """
    if not isinstance(given, str):
        raise refusal(given, "is not text", 'text in quotes ("...")', "apple spirit")
    if not given.strip():
        raise refusal(given, "is empty", "text that says something", "apple spirit")
    if len(given) > LONGEST or not given.isprintable():
        raise refusal(given, "will not do", f"one line of up to {LONGEST} characters", "apple spirit")
    return given.strip()


def is_water(name: str) -> bool:
    """Whether a part of the charge is water by its name, and needs no strength."""
    return "water" in name.lower().split()


def _words(given: object) -> str:
    if not isinstance(given, str):
        raise refusal(given, "is not text", 'text in quotes ("...")', "more lemon next time")
    return given


def same(value: Any) -> Any:
    """Return the value as it is: what is read is what is written."""
    return value


def _yes(given: object) -> bool:
    if not isinstance(given, bool):
        raise refusal(given, "will not do", "true or false, without quotes", "true")
    return given


def _moment(given: object) -> object:
    if isinstance(given, (datetime.date, datetime.time)):
        return given
    return text(given)


def _said(given: object) -> object:
    """What a person notes of a result in words or figures; kept as it stands."""
    if isinstance(given, bool) or not isinstance(given, (str, int, float)):
        raise refusal(given, "will not do", "text in quotes, or a number", "3 bottles of 350 mL")
    return given


def _metal(given: object) -> str:
    name = text(given)
    if name not in METALS:
        raise UnknownNameError("metal", name, METALS)
    return name


def _kind(given: object) -> str:
    from potsim.planning.botanicals.spirits import composition

    composition(text(given))
    return text(given)


def _jar_numbers(given: object) -> tuple[int, ...]:
    if isinstance(given, list):
        return () if not given else units.numbers(",".join(str(item) for item in given))
    return units.numbers(given)  # type: ignore[arg-type]


def _jar_sizes(given: object) -> tuple[JarStock, ...]:
    if not isinstance(given, list):
        return units.jars(given)  # type: ignore[arg-type]
    for item in given:
        units.jars(item)
    return units.jars("; ".join(given)) if given else ()


def _write_sizes(stock: tuple[JarStock, ...]) -> list[str]:
    return [(f"{jar.count} x " if jar.count else "") + _write_volume(jar.size_l) for jar in stock]


def _shares_over(given: object) -> dict[str, float]:
    if not isinstance(given, dict):
        raise refusal(given, "will not do", "botanicals and shares", '{ "fennel seed" = "95 %" }')
    return {text(name): units.share(value) for name, value in given.items()}


def _write_volume(litres: float) -> str:
    return exact(litres, "L") if litres >= 1 else exact(litres, "mL", 1000)


def _write_share(share: float) -> str:
    return exact(share, "%", 100)


def write_number(number: float) -> int | float:
    """Return a plain number as a person writes it, without a needless ``.0``."""
    return int(number) if float(number).is_integer() else float(number)


def _volume(field: str, example: str = "250 mL") -> Key:
    return Key(field, units.volume_l, _write_volume, example)


def _abv(field: str, example: str = "62 %") -> Key:
    return Key(field, units.abv, lambda abv: exact(abv, "%"), example)


def _share(field: str, example: str = "90 %", most: float = 1.0) -> Key:
    return Key(field, lambda given: units.share(given, most), _write_share, example)


def measure(field: str, read: Callable[[str], float], unit: str, example: str) -> Key:
    """Return the key of a quantity that is kept in the unit it is written in."""
    return Key(field, read, lambda value: exact(value, unit), example)


def _text(field: str, example: str) -> Key:
    return Key(field, text, text, example)


INGREDIENT = {
    "name": _text("name", "apple spirit"),
    "volume": _volume("volume_l", "0.9 L"),
    "abv": _abv("abv"),
    "kind": Key("kind", _kind, same, "fruit"),
    "price": Key("price_per_l", units.price_per_l, lambda p: exact(p, "per L"), "12 per L"),
}
POWER_STEP = {
    "from_collected": _volume("from_collected_l", "400 mL"),
    "power": measure("power_w", units.power_w, "W", "500 W"),
}
STILL = {
    "capacity": _volume("capacity_l", "4 L"),
    "power": measure("power_w", units.power_w, "W", "700 W"),
    "heat_up_power": measure("heat_up_power_w", units.power_w, "W", "1200 W"),
    "neck_loss": measure("neck_loss_w_per_k", units.heat_loss_w_per_k, "W/K", "0.6 W/K"),
    "pot_loss": measure("pot_loss_w_per_k", units.heat_loss_w_per_k, "W/K", "1.0 W/K"),
    "room": measure("room_c", units.temperature_c, "°C", "20 °C"),
    "altitude": measure("altitude_m", units.length_m, "m", "60 m"),
    "pressure": measure("pressure_hpa", units.pressure_hpa, "hPa", "1004 hPa"),
    "min_level": _volume("min_level_l", "0.5 L"),
    "pot_mass": measure("pot_mass_kg", units.mass_kg, "kg", "2.5 kg"),
    "pot_metal": Key("pot_metal", _metal, same, "copper"),
}
BOTANICAL = {
    "name": _text("name", "juniper"),
    "mass": measure("mass_g", units.mass_g, "g", "14 g"),
    "pieces": Key("pieces", units.count, write_number, "2"),
    "state": _text("state", "fresh"),
    "prepared": _text("prepared", "cracked"),
    "macerated": measure("macerated_h", units.duration_h, "h", "12 h"),
    "where": _text("where", "basket"),
    "oil_yield": Key("oil_yield_pct", units.percent, lambda pct: exact(pct, "%"), "1.2 %"),
}
STOP = {
    "stream_abv": _abv("stream_abv", "55 %"),
    "pot_abv": _abv("pot_abv", "5 %"),
    "vapour_c": measure("vapour_c", units.temperature_c, "°C", "92 °C"),
    "collected": _volume("collected_l", "700 mL"),
    "recovered": _share("recovered"),
    "elapsed": measure("elapsed_min", units.duration_min, "min", "90 min"),
    "cloudy": Key("cloudy", _yes, same, "true"),
    "over": Key(
        "over",
        _shares_over,
        lambda over: {name: _write_share(share) for name, share in over.items()},
        '{ "fennel seed" = "95 %" }',
    ),
}
HEADS = {
    "volume": _volume("heads_l", "30 mL"),
    "share": _share("heads_share", "2 %"),
}
JARS = {
    "sizes": Key("sizes", _jar_sizes, _write_sizes, "12 x 60 mL"),
    "keep": Key("keep", _jar_numbers, format_numbers, "2-9,11"),
}
STRETCH = {
    "spirit": _volume("spirit_l", "1 L"),
    "abv": _abv("abv", "96 %"),
}
BOTTLING = {
    "abv": _abv("abv", "42 %"),
    "bottle": _volume("bottle_l", "350 mL"),
    "steps": Key("steps", lambda given: int(units.count(given, "additions", whole=True)), same, "2"),
    "bottle_price": Key("bottle_price", units.price, write_number, "0.80"),
}
UNCERTAINTY = {
    "abv": measure("abv", units.abv_difference, "%", "0.5 %"),
    "volume": _share("volume", "2 %", most=10),
    "neck_loss": _share("neck_loss", "30 %", most=10),
    "pot_loss": _share("pot_loss", "30 %", most=10),
    "room": measure("room_c", units.temperature_difference_k, "K", "3 K"),
}
LEFT_OVER = {
    "name": _text("name", "tails of trial 1"),
    "jars": Key("jars", _jar_numbers, format_numbers, "1,17-20"),
}
RESULT = {
    "date": Key("date", _moment, same, "2025-03-01"),
    "collected": _volume("collected", "640 mL"),
    "strength": _abv("strength", "71 %"),
    "jars_kept": Key("jars_kept", _jar_numbers, format_numbers, "2-9"),
    "bottled": Key("bottled", _said, same, "3 bottles of 350 mL"),
    "words": Key("words", _words, same, "clean, a little sweet"),
}
NOTE = {
    "botanical": _text("botanical", "coriander seed"),
    "verdict": _text("verdict", "a touch less"),
    "words": Key("words", _words, same, "soapy at the end"),
    "tasted_at": Key("tasted_at", _said, same, "20 %"),
}
TOP = {
    "title": _text("title", "Bench spirit, trial 1"),
    "parent": _text("parent", "trial-1.toml"),
}

PLAN_KEYS: Mapping[str, Mapping[str, Key]] = {
    "charge": INGREDIENT,
    "still": STILL,
    "still.power_step": POWER_STEP,
    "botanical": BOTANICAL,
    "cuts.stop": STOP,
    "cuts.tails_from": STOP,
    "jars": JARS,
    "bottling": BOTTLING,
    "bottling.stretch": STRETCH,
    "uncertainty": UNCERTAINTY,
    "result": RESULT,
    "note": NOTE,
}
"""The tables of a plan file and their keys."""


def table_of(thing: Any, known: Mapping[str, Key]) -> dict[str, Any]:
    """Return a dataclass as one table; fields that are as by default are left out.

    Parameters
    ----------
    thing : dataclass instance
        What to write.
    known : mapping of str to Key
        The keys of the table.

    Returns
    -------
    dict
        Key to value as typed.
    """
    usual = {
        field.name: field.default_factory() if field.default_factory is not MISSING else field.default
        for field in fields(thing)
    }
    return {
        name: key.write(getattr(thing, key.field))
        for name, key in known.items()
        if getattr(thing, key.field) != usual[key.field]
    }
