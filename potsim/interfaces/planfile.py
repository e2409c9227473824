"""Where in a plan file something stands, so that a refusal can say it; and reading one table by its keys."""

from __future__ import annotations

import dataclasses
import datetime
import os
import re
import tomllib
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import MISSING, field, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from potsim.data import read_table, read_text
from potsim.errors import PotsimError, RangeError, RequestError, UnknownNameError, nearest
from potsim.interfaces import output, quantities
from potsim.interfaces.quantities import LONGEST, as_typed, leading_number, refusal, shown
from potsim.interfaces.wording import exact, format_numbers
from potsim.planning.botanicals import Botanical, Piece, Share, Spread, UsualDose, spelling
from potsim.planning.plan import (
    Bottling,
    Cuts,
    Ingredient,
    JarPlan,
    JarStock,
    LeftOver,
    Plan,
    PowerStep,
    StillPlan,
    Stop,
    Stretch,
    Uncertainty,
)
from potsim.records import dataclass

if TYPE_CHECKING:
    from potsim.planning.forecast import Learnt, Loss

T = TypeVar("T")


@dataclass(frozen=True)
class Source:
    """The file being read."""

    name: str  # name of the file, for messages
    # folder from which other files are named; ``None`` if there is none, as in text from a form
    folder: Path | None = None
    chain: tuple[Path, ...] = ()  # the files that led here, each taking from the next


@dataclass(frozen=True)
class Place:
    """One table of a plan file."""

    source: Source  # the file
    # as it stands there, such as ``"[still]"`` or ``"[[charge]] 2"``; empty for the top of the file
    table: str
    prefix: str = ""  # what refusals of the dataclass put before its keys, such as ``"still."``
    # keys read so far with what was typed, which refusals then say
    typed: dict[str, object] = field(default_factory=dict, compare=False)

    def where(self, key: str = "") -> str:
        """Return file, table and key, for a message."""
        return f"{self.source.name}: {self.table} {key}".strip().replace("  ", " ")

    @contextmanager
    def blame(self, key: str = "") -> Iterator[None]:
        """Put file, table and key before any refusal that arises inside."""
        try:
            yield
        except RangeError as error:
            name = error.argument.removeprefix(self.prefix)
            given = as_typed(self.typed.get(key or name.partition(" ")[0]), error.given)
            if key and not name.startswith(key):
                name = f"{key}: {name}"
            raise RangeError(self.where(name), given, error.allowed, error.hint) from None
        except PotsimError as error:
            words = error.message
            if not key:  # from the dataclass, which names its keys in full
                words = re.sub(rf"\b{re.escape(self.prefix)}(?=\w)", "", words)
            error.message = f"{self.where(key).rstrip(':')}: {words}"
            error.args = (error.message,)
            raise

    def refuse(self, key: str, words: str, hint: str) -> RequestError:
        """Return a refusal of a key in this table."""
        return RequestError(f"{self.where(key)} {words}", hint)

    def table_of(self, value: object, example: str) -> dict[str, Any]:
        """Return the value if it is a table with keys."""
        if isinstance(value, dict):
            return value
        if isinstance(value, list):
            raise RequestError(f"{self.where()} is a list.", f"Write {self.table} once, in single brackets.")
        raise RequestError(
            f"{self.where()} is {shown(value)}; allowed: a table.", f"Write for example {example}"
        )

    def unknown(self, key: str, known: Collection[str]) -> PotsimError:
        """Return the refusal of a key that this table does not have."""
        homes = [table for table, keys in PLAN_KEYS.items() if key in keys]
        error = UnknownNameError("key", key[:LONGEST], known)
        error.message = f"{self.where().rstrip(':')} has the unknown key {shown(key)}."
        if homes and not error.near:
            error.hint = f"It belongs in [{homes[0]}]."
        error.args = (error.message,)
        return error


def read_fields(
    table: Mapping[str, Any], keys: Mapping[str, Key], place: Place, beside: Collection[str] = ()
) -> dict[str, Any]:
    """Read the keys of one table."""
    fields = {}
    for name, value in table.items():
        if name in beside:
            continue
        if name not in keys:
            raise place.unknown(name, (*keys, *beside))
        place.typed[name] = value
        with place.blame(name):
            fields[keys[name].field] = keys[name].read(value)
    return fields


def build(kind: type[T], fields: Mapping[str, Any], keys: Mapping[str, Key], place: Place) -> T:
    """Make the dataclass that a table describes, or say what is missing or out of range."""
    for needed in dataclasses.fields(kind):  # type: ignore[arg-type]
        bare = needed.default is dataclasses.MISSING and needed.default_factory is dataclasses.MISSING
        if bare and needed.name not in fields:
            missing = next(name for name, key in keys.items() if key.field == needed.name)
            raise RequestError(
                f"{place.where()} has no {missing}.",
                f'Add for example {missing} = "{keys[missing].example}".',
            )
    with place.blame():
        return kind(**fields)


def several(document: Mapping[str, Any], name: str, source: Source) -> list[tuple[dict[str, Any], Place]]:
    """Return the tables of one ``[[name]]`` with their places."""
    tables = document.get(name.rpartition(".")[2], [])
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise RequestError(
            f"{source.name}: [[{name}]] is not a list of tables.",
            f"Write [[{name}]] in double brackets for each.",
        )
    return [(t, Place(source, f"[[{name}]] {i}", f"{name}.")) for i, t in enumerate(tables, start=1)]


# --- The keys of a plan file: for each, the field it fills, how its text is read and how it is written back.


METALS = ("stainless steel", "steel", "copper", "glass")


@dataclass(frozen=True)
class Key:
    """One key of a table of the plan file."""

    field: str  # field of the dataclass that the table becomes
    read: Callable[[Any], Any]  # from what stands in the file to the value; refuses in words
    write: Callable[[Any], Any]  # back again, exactly
    example: str  # a value as it stands in a file


def text(given: object) -> str:
    """Read text that says something, such as a name."""
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
    from potsim.planning.botanicals import composition

    composition(text(given))
    return text(given)


def _jar_numbers(given: object) -> tuple[int, ...]:
    if isinstance(given, list):
        return () if not given else quantities.numbers(",".join(str(item) for item in given))
    return quantities.numbers(given)  # type: ignore[arg-type]


def _jar_sizes(given: object) -> tuple[JarStock, ...]:
    if not isinstance(given, list):
        return quantities.jars(given)  # type: ignore[arg-type]
    for item in given:
        quantities.jars(item)
    return quantities.jars("; ".join(given)) if given else ()


def _write_sizes(stock: tuple[JarStock, ...]) -> list[str]:
    return [(f"{jar.count} x " if jar.count else "") + _write_volume(jar.size_l) for jar in stock]


def _shares_over(given: object) -> dict[str, float]:
    if not isinstance(given, dict):
        raise refusal(given, "will not do", "botanicals and shares", '{ "fennel seed" = "95 %" }')
    return {text(name): quantities.share(value) for name, value in given.items()}


def _write_volume(litres: float) -> str:
    return exact(litres, "L") if litres >= 1 else exact(litres, "mL", 1000)


def _write_share(share: float) -> str:
    return exact(share, "%", 100)


def write_number(number: float) -> int | float:
    """Return a plain number as a person writes it, without a needless ``.0``."""
    return int(number) if float(number).is_integer() else float(number)


def _volume(field: str, example: str = "250 mL") -> Key:
    return Key(field, quantities.volume_l, _write_volume, example)


def _abv(field: str, example: str = "62 %") -> Key:
    return Key(field, quantities.abv, lambda abv: exact(abv, "%"), example)


def _share(field: str, example: str = "90 %", most: float = 1.0) -> Key:
    return Key(field, lambda given: quantities.share(given, most), _write_share, example)


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
    "price": Key("price_per_l", quantities.price_per_l, lambda p: exact(p, "per L"), "12 per L"),
}
POWER_STEP = {
    "from_collected": _volume("from_collected_l", "400 mL"),
    "power": measure("power_w", quantities.power_w, "W", "500 W"),
}
STILL = {
    "capacity": _volume("capacity_l", "4 L"),
    "power": measure("power_w", quantities.power_w, "W", "700 W"),
    "heat_up_power": measure("heat_up_power_w", quantities.power_w, "W", "1200 W"),
    "neck_loss": measure("neck_loss_w_per_k", quantities.heat_loss_w_per_k, "W/K", "0.6 W/K"),
    "pot_loss": measure("pot_loss_w_per_k", quantities.heat_loss_w_per_k, "W/K", "1.0 W/K"),
    "room": measure("room_c", quantities.temperature_c, "°C", "20 °C"),
    "altitude": measure("altitude_m", quantities.length_m, "m", "60 m"),
    "pressure": measure("pressure_hpa", quantities.pressure_hpa, "hPa", "1004 hPa"),
    "min_level": _volume("min_level_l", "0.5 L"),
    "pot_mass": measure("pot_mass_kg", quantities.mass_kg, "kg", "2.5 kg"),
    "pot_metal": Key("pot_metal", _metal, same, "copper"),
}
BOTANICAL = {
    "name": _text("name", "juniper"),
    "mass": measure("mass_g", quantities.mass_g, "g", "14 g"),
    "pieces": Key("pieces", quantities.count, write_number, "2"),
    "state": _text("state", "fresh"),
    "prepared": _text("prepared", "cracked"),
    "macerated": measure("macerated_h", quantities.duration_h, "h", "12 h"),
    "macerated_at": _abv("macerated_at_abv", "60 %"),
    "where": _text("where", "basket"),
    "oil_yield": Key("oil_yield_pct", quantities.percent, lambda pct: exact(pct, "%"), "1.2 %"),
    "oil_factor": Key("oil_factor", quantities.count, write_number, "1.3"),
}
STOP = {
    "stream_abv": _abv("stream_abv", "55 %"),
    "pot_abv": _abv("pot_abv", "5 %"),
    "vapour_c": measure("vapour_c", quantities.temperature_c, "°C", "92 °C"),
    "collected": _volume("collected_l", "700 mL"),
    "recovered": _share("recovered"),
    "elapsed": measure("elapsed_min", quantities.duration_min, "min", "90 min"),
    "cloudy": Key("cloudy", _yes, same, "true"),
    "faded": Key("faded", _yes, same, "true"),
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
    "steps": Key("steps", lambda given: int(quantities.count(given, "additions", whole=True)), same, "2"),
    "bottle_price": Key("bottle_price", quantities.price, write_number, "0.80"),
}
UNCERTAINTY = {
    "abv": measure("abv", quantities.abv_difference, "%", "0.5 %"),
    "volume": _share("volume", "2 %", most=10),
    "neck_loss": _share("neck_loss", "30 %", most=10),
    "pot_loss": _share("pot_loss", "30 %", most=10),
    "room": measure("room_c", quantities.temperature_difference_k, "K", "3 K"),
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
    "tasted_in": Key("tasted_in", _jar_numbers, format_numbers, "2-5"),
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
    """Return a dataclass as one table; fields that are as by default are left out."""
    usual = {
        field.name: field.default_factory() if field.default_factory is not MISSING else field.default
        for field in fields(thing)
    }
    return {
        name: key.write(getattr(thing, key.field))
        for name, key in known.items()
        if getattr(thing, key.field) != usual[key.field]
    }


# --- The files of plans: bytes to text, text to tables, and one file that names another.


LARGEST = 1_000_000
"""Bytes that a plan file may have."""
_FAULTS = {
    "Cannot overwrite a value": "this key is there already",
    "Cannot declare": "this table is there already",
    "Cannot mutate": "this table is there already",
    "Exceeds the limit": "a number has thousands of digits",
}
DEEPEST = 12
"""Files that may follow one another, each taking from the next."""


def parse(text: str, name: str) -> dict[str, Any]:
    """Return the tables of TOML text; a fault in the writing is refused with its line."""
    if len(text) > LARGEST:
        raise RequestError(f"{name} has more than {LARGEST} characters; a plan is a page or two.", "")
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except RecursionError:
        raise RequestError(f"{name}: tables or lists are nested too deeply.", "") from None
    except ValueError as error:
        found = re.search(r"\(at (line \d+), column \d+\)|\(at end of document\)", str(error))
        fault = str(error).partition(" (at ")[0]
        for words, plain in _FAULTS.items():
            fault = plain if fault.startswith(words) else fault
        line = f", {found[1] or 'at the end'}" if found else ""
        raise RequestError(
            f"{name}{line}: not written as TOML wants it: {fault}.",
            'A line is  key = "value"  with text in quotes; each table and key comes once.',
        ) from None


def read_file(path: Path) -> str:
    """Return the text of a file, or refuse it in words."""
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST + 1)
    except FileNotFoundError:
        raise RequestError(f"There is no file {shown(str(path))}.", _near_file(path)) from None
    except IsADirectoryError:
        raise RequestError(f"{shown(str(path))} is a folder.", "Name a plan file in it.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise RequestError(f"{shown(str(path))} cannot be read: {why}.", "") from None
    if len(content) > LARGEST:
        raise RequestError(f"{path.name} is larger than 1 MB; a plan is a page or two.", "Is it a plan file?")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise RequestError(
            f"{path.name}, line {line}: not UTF-8 text.", "Save it as UTF-8 (plain text), and try again."
        ) from None


def _near_file(path: Path) -> str:
    try:
        near = nearest(path.name, [p.name for p in path.parent.glob("*.toml")][:1000], most=1)
    except OSError:
        near = ()
    return f"Did you mean {shown(near[0])}?" if near else "Check the name and the folder."


def not_too_deep(place: Place) -> None:
    """Refuse one more file, or one more plan inside a plan, when they follow each other on and on."""
    if len(place.source.chain) >= DEEPEST:
        raise RequestError(f"more than {DEEPEST} plans take from each other.", "Start from a later run.")


def other_file(name: object, place: Place, key: str) -> Path:
    """Return the path of another file that a plan names."""
    with place.blame(key):
        named = Path(text(name))
        if place.source.folder is None:
            raise RequestError(
                f"{shown(name)} is sought in the folder of the plan; this has none.", "Save it first."
            )
        path = place.source.folder / named
        not_too_deep(place)
        if Path(os.path.realpath(path)) in place.source.chain:
            raise RequestError(f"{shown(name)} leads back to itself.", "A run cannot take from itself.")
        return path


# --- The tables [[own_botanical]] and [[own_compound]]: what the distiller adds to the library.


OWN = ("own_botanical", "own_compound")
_STATES = ("dried", "fresh")


def _spread(given: object) -> Spread:
    """Read ``"1.2 %"``, or low, typical and high in a list."""
    if not isinstance(given, list):
        typical = quantities.percent(given)  # type: ignore[arg-type]
        return Spread(typical, typical, typical)
    if len(given) != 3:
        raise refusal(given, "has not three figures", "low, typical and high", "0.8 %, 1.2 %, 2 %")
    return Spread(*(quantities.percent(item) for item in given))


def _write_spread(spread: Spread) -> str | list[str]:
    figures = [exact(pct, "%") for pct in (spread.low, spread.typical, spread.high)]
    return figures[0] if len(set(figures)) == 1 else figures


def _composition(given: object) -> tuple[Share, ...]:
    if not isinstance(given, dict):
        raise refusal(given, "will not do", "compounds and shares of the oil", '{ limonene = "70 %" }')
    return tuple(Share(text(name), _spread(share)) for name, share in given.items())


def _names(given: object) -> tuple[str, ...]:
    return tuple(text(item) for item in (given if isinstance(given, list) else [given]))


def _state(given: object) -> str:
    state = text(given)
    if state not in _STATES:
        raise UnknownNameError("state", state, _STATES)
    return state


def _usual(given: object) -> UsualDose:
    if not isinstance(given, list) or len(given) != 2:
        raise refusal(given, "will not do", "the least and the most for a litre of charge", '["2 g", "8 g"]')
    low, high = (quantities.mass_g(item) for item in given)
    if low > high:
        raise refusal(given, "falls", "the least and the most for a litre of charge", '["2 g", "8 g"]')
    return UsualDose(low, high)


def _molar_mass(given: object) -> float:
    allowed = "a molar mass in g/mol"
    number, unit = leading_number(given, allowed, "154.3 g/mol")
    if unit.replace(" ", "") != "g/mol":
        raise refusal(given, "has no unit" if not unit else "will not do", allowed, "154.3 g/mol")
    return float(number)


def _groups(given: object) -> dict[int, int]:
    allowed = "numbers of subgroups and how many of each"
    if not isinstance(given, dict) or not all(name.isascii() and name.isdigit() for name in given):
        raise refusal(given, "will not do", allowed, '{ "1" = 2, "2" = 3 }')
    return {int(name[:9]): int(quantities.count(n, "groups", whole=True)) for name, n in given.items()}


def _number(given: object) -> float:
    return quantities.count(given, "a ratio")  # type: ignore[arg-type]


OWN_BOTANICAL = {
    "name": Key("common_name", text, same, "spruce tips"),
    "category": Key("category", text, same, "leaf"),
    "oil_yield": Key("oil_yield_pct", _spread, _write_spread, "0.8 %"),
    "composition": Key(
        "composition",
        _composition,
        lambda shares: {share.compound_id: _write_spread(share.pct) for share in shares},
        '{ limonene = "70 %" }',
    ),
    "latin_names": Key("latin_names", _names, list, "Picea abies"),
    "aliases": Key("aliases", _names, list, "spruce shoots"),
    "part": Key("part", text, same, "young shoots"),
    "yield_state": Key("yield_state", _state, same, "dried"),
    "fresh_water": Key(
        "fresh_water_fraction", quantities.share, lambda share: exact(share, "%", 100), "70 %"
    ),
    "prepared": Key("prepared_usually", text, same, "whole"),
    "usual_dose_per_l": Key(
        "usual_dose",
        _usual,
        lambda dose: [exact(dose.low_g_per_l, "g"), exact(dose.high_g_per_l, "g")],
        '["2 g", "8 g"]',
    ),
    "remarks": Key("remarks", text, same, "picked in May"),
}
PIECE = {
    "mass": measure("mass_g", quantities.mass_g, "g", "1.5 g"),
    "name": Key("name", text, same, "shoot"),
    "state": Key("state", _state, same, "fresh"),
}
OWN_COMPOUND = {
    "name": Key("name", text, same, "pentanal"),
    "molar_mass": Key("molar_mass_g", _molar_mass, lambda m: exact(m, "g/mol"), "86.13 g/mol"),
    "groups": Key(
        "groups",
        _groups,
        lambda groups: {str(group): n for group, n in dict(groups).items()},
        '{ "1" = 1, "2" = 3, "20" = 1 }',
    ),
    "boils": measure("tb_k", quantities.temperature_k, "K", "103 °C"),
    "relative_to_ethanol": Key("relative_to_ethanol", _number, write_number, "0.4"),
}


def read_own(document: Mapping[str, Any], source: Source) -> dict[str, Any]:
    """Read what a plan adds to the library."""
    compounds: dict[str, Any] = {}
    for table, place in several(document, "own_compound", source):
        compound = _compound(read_fields(table, OWN_COMPOUND, place), place)
        _once(compound.id, compounds, place)
        compounds[compound.id] = compound
    known = {row["id"] for row in read_table("compounds.csv")} | set(compounds)
    botanicals: dict[str, Botanical] = {}
    for table, place in several(document, "own_botanical", source):
        botanical = _botanical(table, known, place)
        _once(botanical.id, botanicals, place)
        botanicals[botanical.id] = botanical
    return {"own_botanicals": botanicals, "own_compounds": compounds}


def _once(name: str, earlier: Mapping[str, Any], place: Place) -> None:
    if name in earlier:
        raise RequestError(f"{place.where('name')}: {shown(name)} is there already.", "Name each once.")


def _compound(fields: dict[str, Any], place: Place) -> Any:
    from potsim.liquid.compounds import Compound

    for needed, example in (("name", "pentanal"), ("molar_mass_g", "86.13 g/mol")):
        if needed not in fields:
            key = needed.removesuffix("_g")
            raise RequestError(f"{place.where()} has no {key}.", f'Add for example {key} = "{example}".')
    if ("relative_to_ethanol" in fields) == ("groups" in fields and "tb_k" in fields):
        raise RequestError(
            f"{place.where()} does not tell how volatile it is.",
            "Give either groups and boils, or relative_to_ethanol.",
        )
    try:
        return Compound.own(**fields)
    except RangeError as error:
        key = next((k for k, known in OWN_COMPOUND.items() if known.field == error.argument), error.argument)
        raise RangeError(place.where(key), error.given, error.allowed, error.hint) from None


def _botanical(table: dict[str, Any], known: set[str], place: Place) -> Botanical:
    fields = read_fields(table, OWN_BOTANICAL, place, beside=["piece"])
    if "piece" in table:
        at = Place(place.source, f"{place.table} piece")
        inner = at.table_of(table["piece"], 'piece = { mass = "1.5 g", state = "fresh" }')
        fields["piece"] = build(Piece, read_fields(inner, PIECE, at), PIECE, at)
    for share in fields.get("composition", ()):
        if share.compound_id not in known:
            with place.blame("composition"):
                raise UnknownNameError("compound", share.compound_id, known)
    name = fields.get("common_name", "")
    fields["id"] = re.sub(r"\W+", "_", name.lower()).strip("_")
    botanical: Botanical = build(Botanical, fields, OWN_BOTANICAL, place)
    return botanical


def write_own(botanicals: Mapping[str, Botanical], compounds: Mapping[str, Any]) -> dict[str, Any]:
    """Return the tables of what a plan adds to the library; sources and cautions are not kept."""
    tables: dict[str, Any] = {}
    for botanical in botanicals.values():
        table = table_of(botanical, OWN_BOTANICAL)
        if botanical.piece is not None:
            table["piece"] = table_of(botanical.piece, PIECE)
        tables.setdefault("own_botanical", []).append(table)
    for compound in compounds.values():
        keys = {
            name: key for name, key in OWN_COMPOUND.items() if getattr(compound, key.field) not in (None, ())
        }
        tables.setdefault("own_compound", []).append(
            {name: key.write(getattr(compound, key.field)) for name, key in keys.items()}
        )
    return tables


# --- The tables of a plan file made into a `Plan`.


TABLES = ("charge", "still", "botanical", "cuts", "jars", "bottling", "uncertainty", "result", "note")


def load(path: Path, chain: tuple[Path, ...] = ()) -> Plan:
    """Return the plan in a file."""
    text = read_file(path)
    source = Source(path.name, path.parent, (*chain, Path(os.path.realpath(path))))
    return plan_of(parse(text, source.name), source)


def plan_of(document: Mapping[str, Any], source: Source) -> Plan:
    """Return the plan that the tables of a file describe."""
    top = Place(source, "")
    given = read_fields(document, TOP, top, beside=(*TABLES, *OWN))
    given.pop("parent", None)
    own = read_own(document, source)
    for name in ("result", "note"):
        _ignored(document, name, source)
    fields = dict(
        given,
        charge=tuple(_ingredient(table, place) for table, place in several(document, "charge", source)),
        still=_still(document.get("still", {}), source),
        cuts=_read_cuts(document.get("cuts", {}), source),
        jars=_simple(JarPlan, document, "jars", source),
        bottling=_bottling(document.get("bottling", {}), source),
        uncertainty=_simple(Uncertainty, document, "uncertainty", source),
        botanicals=_bill(document, source, own),
        **own,
    )
    _over_in_bill(fields, top)
    with top.blame():
        return Plan(**fields)


def _simple(kind: type[Any], document: Mapping[str, Any], name: str, source: Source) -> Any:
    """Make the dataclass of a table without tables inside."""
    place = Place(source, f"[{name}]", f"{name}.")
    allowed = PLAN_KEYS[name]
    table = place.table_of(document.get(name, {}), f"[{name}]")
    return build(kind, read_fields(table, allowed, place), allowed, place)


def _ignored(document: Mapping[str, Any], name: str, source: Source) -> None:
    """Check a table that belongs to trials and says nothing of the run."""
    place = Place(source, f"[{name}]")
    if name == "result" and name in document:
        read_fields(place.table_of(document[name], "[result]"), RESULT, place)
    elif name == "note":
        for table, at in several(document, name, source):
            read_fields(table, NOTE, at)


def _ingredient(table: dict[str, Any], place: Place) -> Ingredient | LeftOver:
    if "from_run" in table:
        return _left_over(table, place)
    fields = read_fields(table, INGREDIENT, place, beside=["from_run"])
    if "abv" not in fields and not is_water(fields.get("name", "")):
        raise RequestError(
            f"{place.where()} ({shown(fields.get('name', 'without a name'))}) has no abv.",
            'Add for example abv = "62 %"; for what holds no alcohol abv = "0 %".',
        )
    fields.setdefault("name", fields.get("kind") or ("spirit" if fields.get("abv") else "water"))
    return build(Ingredient, fields, INGREDIENT, place)


def _left_over(table: dict[str, Any], place: Place) -> LeftOver:
    """Jars of an earlier run: of a plan file, or of a plan written out in place of its name."""
    for name in table:
        if name in INGREDIENT and name not in LEFT_OVER:
            raise place.refuse(name, "does not go with from_run.", "The jars tell volume and strength.")
    fields = read_fields(table, LEFT_OVER, place, beside=["from_run"])
    run = table["from_run"]
    if isinstance(run, dict):
        with place.blame("from_run"):
            not_too_deep(place)
            inside = replace(place.source, chain=(*place.source.chain, Path()))
            fields["plan"] = plan_of(run, inside)
        fields.setdefault("name", f"jars of {fields['plan'].title}")
    else:
        path = other_file(run, place, "from_run")
        with place.blame("from_run"):
            fields["plan"] = load(path, place.source.chain)
        fields.setdefault("name", f"jars of {path.stem}")
    return build(LeftOver, fields, LEFT_OVER, place)


def _still(value: object, source: Source) -> StillPlan:
    place = Place(source, "[still]", "still.")
    return build(StillPlan, _still_fields(value, place), STILL, place)


def _still_fields(value: object, place: Place) -> dict[str, Any]:
    """Read [still]; what it does not say is taken from the file it names."""
    source = place.source
    table = place.table_of(value, "[still]")
    fields = read_fields(table, STILL, place, beside=["power_step", "from_file"])
    if "power_step" in table:
        fields["power_steps"] = tuple(
            build(PowerStep, read_fields(step, POWER_STEP, at), POWER_STEP, at)
            for step, at in several(table, "still.power_step", source)
        )
    if "from_file" not in table:
        return fields
    path = other_file(table["from_file"], place, "from_file")
    with place.blame("from_file"):
        text = read_file(path)
        other = Source(path.name, path.parent, (*source.chain, Path(os.path.realpath(path))))
        document = parse(text, other.name)
        if "still" not in document:
            raise RequestError(f"{other.name} has no table [still].", "Name a file that describes a still.")
        taken = _still_fields(document["still"], Place(other, "[still]", "still."))
    if {"altitude_m", "pressure_hpa"} & set(fields):
        taken.pop("altitude_m", None)
        taken.pop("pressure_hpa", None)
    return {**taken, **fields}


def _bill(document: Mapping[str, Any], source: Source, own: Mapping[str, Any]) -> tuple[Any, ...]:
    """Read the bill, each name checked against the library and the plan's own botanicals."""
    if "botanical" not in document:
        return ()
    from potsim.planning.botanicals import BotanicalDose, extend, find, library

    with Place(source, "[[own_botanical]]").blame():
        among = extend(library(), own["own_botanicals"])
    bill = []
    for table, place in several(document, "botanical", source):
        dose = build(BotanicalDose, read_fields(table, BOTANICAL, place), BOTANICAL, place)
        with place.blame("name"):
            find(dose.name, among, dose.state)
        bill.append(dose)
    return tuple(bill)


def _over_in_bill(fields: Mapping[str, Any], place: Place) -> None:
    """Refuse a stop that waits for a botanical that is not there."""
    doses = [dose.name for dose in fields["botanicals"]]
    for name in ("stop", "tails_from"):
        stop = getattr(fields["cuts"], name)
        for waited in stop.over if stop else ():
            if spelling(waited) not in {spelling(dose) for dose in doses}:
                with place.blame(f"[cuts] {name} over"):
                    if not doses:
                        raise RequestError(f"{shown(waited)} is not in the bill.", "Add a [[botanical]].")
                    raise UnknownNameError("botanical of this bill", waited, doses)


def _read_cuts(value: object, source: Source) -> Cuts:
    place = Place(source, "[cuts]", "cuts.")
    table = place.table_of(value, "[cuts]")
    fields = read_fields(table, {}, place, beside=["heads", "stop", "tails_from"])
    if "heads" in table:
        heads = place.typed["heads"] = table["heads"]
        size = HEADS["share" if isinstance(heads, str) and heads.strip().endswith("%") else "volume"]
        with place.blame("heads"):
            try:
                fields[size.field] = size.read(heads)
            except RequestError as error:
                error.hint = 'Write for example "30 mL", or "2 %" of the charge.'
                raise
    for name in ("stop", "tails_from"):
        if name in table:
            fields[name] = _stop(table[name], Place(source, f"[cuts] {name}", "cuts.stop."), name)
    return build(Cuts, fields, {}, place)


def _stop(value: object, place: Place, name: str) -> Stop:
    example = f'{name} = {{ stream_abv = "55 %" }}'
    table = place.table_of(value, example)
    stop: Stop = build(Stop, read_fields(table, STOP, place), STOP, place)
    if not stop.named:
        raise RequestError(
            f"{place.where()} has no condition.", f"Write for example {example}, or leave it out."
        )
    return stop


def _bottling(value: object, source: Source) -> Bottling:
    place = Place(source, "[bottling]", "bottling.")
    table = place.table_of(value, "[bottling]")
    fields = read_fields(table, BOTTLING, place, beside=["stretch"])
    if "stretch" in table:
        at = Place(source, "[bottling] stretch", "bottling.stretch.")
        inner = at.table_of(table["stretch"], 'stretch = { spirit = "1 L", abv = "96 %" }')
        fields["stretch"] = build(Stretch, read_fields(inner, STRETCH, at), STRETCH, at)
    return build(Bottling, fields, BOTTLING, place)


# --- A `Plan` written as TOML that reads back to an equal plan.


def write_plan(plan: Plan) -> str:
    """Return a plan as the text of a plan file."""
    import tomlkit

    return tomlkit.dumps(inlined(tables_of(plan)))


def tables_of(plan: Plan) -> dict[str, Any]:
    """Return a plan as the tables of a plan file, key to value as typed."""
    still = table_of(plan.still, STILL)
    if plan.still.power_steps:
        still["power_step"] = [table_of(step, POWER_STEP) for step in plan.still.power_steps]
    bottling = table_of(plan.bottling, BOTTLING)
    if plan.bottling.stretch is not None:
        bottling["stretch"] = table_of(plan.bottling.stretch, STRETCH)
    tables = {
        "title": TOP["title"].write(plan.title),
        "charge": [_part(part) for part in plan.charge],
        "still": still,
        "botanical": [table_of(dose, BOTANICAL) for dose in plan.botanicals],
        "cuts": _cuts_tables(plan.cuts),
        "jars": table_of(plan.jars, JARS),
        "bottling": bottling,
        "uncertainty": table_of(plan.uncertainty, UNCERTAINTY),
        **write_own(plan.own_botanicals, plan.own_compounds),
    }
    return {name: table for name, table in tables.items() if table}


def _part(part: Ingredient | LeftOver) -> dict[str, Any]:
    if isinstance(part, LeftOver):
        return {**table_of(part, LEFT_OVER), "from_run": tables_of(part.plan)}
    table = table_of(part, INGREDIENT)
    if "abv" not in table and not is_water(part.name):
        table["abv"] = "0 %"
    return table


def _cuts_tables(cuts: Cuts) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for key in HEADS.values():
        size = getattr(cuts, key.field)
        if size is not None:
            table["heads"] = key.write(size)
    for name in ("stop", "tails_from"):
        stop = getattr(cuts, name)
        if stop is not None and stop.named:
            table[name] = table_of(stop, STOP)
    return table


def inlined(tables: dict[str, Any]) -> Any:
    """Put the small tables of conditions on one line, as a person would."""
    import tomlkit

    def one_line(table: Mapping[str, Any]) -> Any:
        line = tomlkit.inline_table()
        line.update({key: one_line(v) if isinstance(v, dict) else v for key, v in table.items()})
        return line

    def written(name: str, value: Any) -> Any:
        if name in ("stop", "tails_from", "stretch", "composition", "groups", "piece"):
            return one_line(value)
        if isinstance(value, dict):
            return {key: written(key, inner) for key, inner in value.items()}
        if isinstance(value, list) and value and isinstance(value[0], dict):
            return [written("", inner) for inner in value]
        return value

    return written("", tables)


# --- The plan file: TOML text to a `Plan`, and back.


def load_plan(path: str | os.PathLike[str]) -> Plan:
    """Read a plan file.

    Parameters
    ----------
    path : path-like
        A TOML file; files that it names are looked for from its folder.

    Returns
    -------
    Plan
        What it says.

    Raises
    ------
    RequestError
        If the file cannot be read, or says something that cannot be; the message names file, table and key.
    """
    return load(Path(path))


def read_plan(text: str, name: str = "plan", folder: Path | None = None) -> Plan:
    r"""Read the text of a plan file."""
    return plan_of(parse(text, name), Source(name, folder))


def example_plan() -> Plan:
    """Return the built-in example: seven botanicals in two base spirits, in a 4 L still."""
    return read_plan(read_text("example_plan.toml"), "example plan")


def new_plan_text() -> str:
    """Return the text of a starter plan with comments, ready to be changed."""
    return read_text("starter_plan.toml")


# --- The file of a still remembered: a table that plans name, and how sure it is.


STILL_HEADER = """\
# A still learnt from readings. A plan takes it over by  from_file = {name}  in its [still];
# what that table says itself counts before what is here.
"""


def still_text(learnt: Learnt, name: str) -> str:
    """Write what is remembered of a still as the text of its file."""
    losses = [(key, loss) for key, loss in (("neck", learnt.neck), ("pot", learnt.pot)) if loss is not None]
    import json  # start-up: a plain run remembers no still

    lines = [STILL_HEADER.format(name=json.dumps(name, ensure_ascii=False)), "[still]"]
    lines += [f'{key}_loss = "{_loss_text(loss.w_per_k)}"' for key, loss in losses]
    lines += [
        "",
        "# Standard errors, and how many runs they come from; the next run is weighed against them.",
        "[learnt]",
    ]
    for key, loss in losses:
        lines += [f'{key}_loss_error = "{_loss_text(loss.error_w_per_k)}"', f"{key}_runs = {loss.runs}"]
    lines.append(f"runs = [{', '.join(json.dumps(mark) for mark in learnt.runs)}]")
    return "\n".join(lines) + "\n"


def _loss_text(w_per_k: float) -> str:
    return exact(float(f"{w_per_k:.4g}"), "W/K")


def read_still(path: Path) -> Learnt:
    """Read the file of a still remembered."""
    document = parse(read_file(path), path.name)
    still, errors = document.get("still"), document.get("learnt")
    if not isinstance(still, dict) or not isinstance(errors, dict):
        raise RequestError(
            f"'{path.name}' is not a still that was learnt: it needs [still] and [learnt].",
            "Name another file.",
        )
    try:
        from potsim.planning.forecast import Learnt  # start-up: a plain run learns nothing

        return Learnt(_loss(still, errors, "neck"), _loss(still, errors, "pot"), _runs(errors))
    except PotsimError as error:
        raise RequestError(f"{path.name}: {error.message}", error.hint) from None


def _runs(errors: dict[str, Any]) -> tuple[str, ...]:
    runs = errors.get("runs", [])
    if not isinstance(runs, list) or not all(isinstance(mark, str) for mark in runs):
        raise RequestError('[learnt] runs is to be a list of marks such as ["5f2a"].', "Correct it.")
    return tuple(runs)


def _loss(still: dict[str, Any], errors: dict[str, Any], key: str) -> Loss | None:
    if f"{key}_loss" not in still:
        return None
    runs = errors.get(f"{key}_runs", 1)
    error = quantities.heat_loss_w_per_k(errors.get(f"{key}_loss_error", ""))
    if isinstance(runs, bool) or not isinstance(runs, int) or runs < 1 or error <= 0.0:
        raise RequestError(
            f"[learnt] {key}_runs and {key}_loss_error are to be a whole number from 1 and an error above 0.",
            "Correct them, or save the still to a new file.",
        )
    from potsim.planning.forecast import Loss  # start-up, as above

    return Loss(quantities.heat_loss_w_per_k(still[f"{key}_loss"]), error, runs)


# --- The plan that a command line names.


def the_plan(name: str | None) -> Plan:
    """Return the plan that a command line names."""
    path = the_plan_file(name)
    if path is not None:
        return load_plan(path)
    output.words("No plan is named: this is the built-in example (`potsim new FILE` starts one of yours).")
    return example_plan()


def the_plan_file(name: str | None) -> Path | None:
    """Return the path of the plan file named, if one is."""
    if name is None:
        return None
    if not name.strip() or "\0" in name:
        raise RequestError("PLAN is empty.", "Name a plan file, or leave it out for the built-in example.")
    return Path(name)
