"""What readings are called and in which units: headers of a table, and single values typed at the still."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from potsim.errors import RequestError, UnknownNameError, nearest
from potsim.interfaces import units
from potsim.interfaces.numerals import shown, tidy
from potsim.liquid import strength
from potsim.planning.following.readings import SAMPLES

Fields = dict[str, float | str]
HOURS = "h:min"


@dataclass(frozen=True)
class Quantity:
    """Something that is read off.

    Parameters
    ----------
    name : str
        What it is called here.
    names : tuple of str
        What else it may be called.
    read : callable
        From a text with its unit to fields of an entry.
    example : str
        A value with its unit.
    implied : mapping of str to str
        Names that tell the unit, and the unit.
    has_unit : bool
        Whether a value has a unit at all.
    """

    name: str
    names: tuple[str, ...]
    read: Callable[[str], Fields]
    example: str
    implied: Mapping[str, str]
    has_unit: bool = True


def _number(field: str, reader: Callable[[str], float]) -> Callable[[str], Fields]:
    return lambda text: {field: reader(text)}


def _strength(text: str) -> Fields:
    """A hydrometer of proof is made for 60 °F; its mark is kept in % vol at that temperature."""
    abv = units.abv(text)
    if "proof" not in text.lower():
        return {"read_abv": abv}
    made_for = strength.US_REFERENCE_C
    return {"read_abv": float(strength.percent_at(abv, made_for)), "calibrated_c": made_for}


def _minutes(text: str) -> Fields:
    clock = re.fullmatch(rf"\s*(\d+):([0-5]?\d)(?::([0-5]?\d))?\s*{re.escape(HOURS)}\s*", text)
    if clock:
        return {"elapsed_min": 60.0 * int(clock[1]) + int(clock[2]) + int(clock[3] or 0) / 60.0}
    return {"elapsed_min": units.duration_min(text)}


def _sample(text: str) -> Fields:
    """``"jar"``, or ``"parrot 60 mL"`` with what it holds."""
    word, _, rest = text.strip().lower().partition(" ")
    if word in {"spout", "now"}:
        word = "stream"
    if word not in SAMPLES:
        raise UnknownNameError("sample", text.strip(), SAMPLES)
    if not rest:
        return {"of": word}
    if word != "parrot":
        raise RequestError(f"{shown(text)} will not do; allowed: {', '.join(SAMPLES)}.", "")
    return {"of": word, "parrot_l": units.volume_l(rest)}


def _jar(text: str) -> Fields:
    if not re.fullmatch(r"\s*[0-9]{1,3}\s*", text):
        raise RequestError(
            f"{shown(text)} is no number of a jar.", 'What a jar holds goes under "jar volume" or "jar mass".'
        )
    return {"of": "jar"}


def _words(text: str) -> Fields:
    return {"words": text.strip()[:500]}


QUANTITIES = (
    Quantity(
        "time",
        ("elapsed", "elapsed time", "time since switch-on", "since switch-on", "time elapsed", "duration"),
        _minutes,
        "42 min",
        {"minutes": "min", "minute": "min", "min": "min", "mins": "min", "hours": "h"},
    ),
    Quantity(
        "collected",
        ("volume", "total", "collected volume", "volume collected", "total volume", "distillate", "pooled"),
        _number("collected_l", units.volume_l),
        "220 mL",
        {"ml": "mL", "litres": "L", "liters": "L"},
    ),
    Quantity(
        "mass",
        ("weight", "collected mass", "mass collected", "total mass", "collected weight", "total weight"),
        _number("mass_g", units.mass_g),
        "190 g",
        {"grams": "g", "gram": "g", "g": "g"},
    ),
    Quantity(
        "jar volume",
        ("in jar", "in the jar", "volume of jar", "volume in jar", "this jar", "jar contents"),
        _number("jar_l", units.volume_l),
        "60 mL",
        {},
    ),
    Quantity(
        "jar mass",
        ("jar weight", "mass of jar", "mass in jar", "weight in jar"),
        _number("jar_g", units.mass_g),
        "52 g",
        {},
    ),
    Quantity("jar", ("jar number", "jar no"), _jar, "3", {}, has_unit=False),
    Quantity(
        "strength",
        ("alcohol", "hydrometer", "alcoholmeter", "hydrometer reading", "stream strength", "alcohol content"),
        _strength,
        "71 %",
        {"abv": "%", "stream abv": "%", "% vol": "%", "vol %": "%", "%": "%", "proof": "proof"},
    ),
    Quantity(
        "read at",
        (
            *("at", "strength at", "measured at", "hydrometer temperature", "sample temperature"),
            *("spirit temperature", "temperature of the spirit", "temperature of the sample"),
        ),
        _number("read_c", units.temperature_c),
        "24 °C",
        {},
    ),
    Quantity(
        "vapour",
        ("vapor", "vapour temperature", "vapor temperature", "head", "head temperature", "neck temperature"),
        _number("vapour_c", units.temperature_c),
        "84.5 °C",
        {},
    ),
    Quantity(
        "pot",
        ("pot temperature", "kettle", "kettle temperature", "boiler", "boiler temperature"),
        _number("pot_c", units.temperature_c),
        "87.5 °C",
        {},
    ),
    Quantity(
        "power",
        ("heat", "heating", "heating power", "element"),
        _number("power_w", units.power_w),
        "700 W",
        {"watts": "W", "watt": "W"},
    ),
    Quantity("of", ("sample", "read of", "measured in", "kind"), _sample, "parrot 60 mL", {}, has_unit=False),
    Quantity("parrot", ("parrot volume",), _number("parrot_l", units.volume_l), "60 mL", {}),
    Quantity(
        "clock",
        ("clock time", "time of day", "o'clock"),
        lambda text: {"clock": _clock(text)},
        "14:05",
        {},
        has_unit=False,
    ),
    Quantity(
        "words",
        ("note", "notes", "remark", "remarks", "comment", "comments", "taste"),
        _words,
        "clean",
        {},
        has_unit=False,
    ),
)
_NAMES = {word: q for q in QUANTITIES for word in (q.name, *q.names, *q.implied)}


def _clock(text: str) -> float:
    """Minutes since midnight."""
    found = re.fullmatch(r"\s*([01]?\d|2[0-3])[:.h]([0-5]\d)(?:[:.]([0-5]\d))?\s*", text)
    if not found:
        raise RequestError(f"{shown(text)} is no time of day.", 'Write for example "14:05".')
    return 60.0 * int(found[1]) + int(found[2]) + int(found[3] or 0) / 60.0


@dataclass(frozen=True)
class Column:
    """A column of a table of readings.

    Parameters
    ----------
    header : str
        As it stands in the file.
    quantity : Quantity
        What is in it.
    unit : str
        Unit that the header names; empty for none.
    """

    header: str
    quantity: Quantity
    unit: str

    def read(self, cell: str) -> tuple[Fields, str]:
        """Read one cell that is not blank.

        Parameters
        ----------
        cell : str
            What stands in it, with or without a unit of its own.

        Returns
        -------
        fields : dict
            Of an entry.
        unit : str
            The cell's own unit, empty for none.

        Raises
        ------
        RequestError
            If it will not be read.
        """
        quantity = self.quantity
        if not quantity.has_unit:
            return quantity.read(cell), ""
        own = unit_of(cell)
        if not own and not self.unit and ":" in cell:
            raise RequestError(
                f"{self.header} is {shown(cell)}, which can be hours and minutes or minutes and seconds.",
                f'Call the column "{quantity.name} ({HOURS})", or write "1 h 5 min".',
            )
        if not own and not self.unit:
            raise RequestError(
                f"{self.header} is {shown(cell)}, without a unit.",
                f'Write the unit in the header, "{quantity.name} ({unit_of(quantity.example)})", '
                f'or in the cell, "{quantity.example}".',
            )
        try:
            return quantity.read(cell if own else f"{cell} {self.unit}"), own
        except RequestError as error:
            raise RequestError(f"{self.header}: {error.message}", error.hint) from None


def unit_of(text: str) -> str:
    """Return what follows the last digit of a value: its unit, or nothing."""
    clean = tidy(text)
    digits = [k for k, letter in enumerate(clean) if letter.isdigit()]
    return clean[digits[-1] + 1 :].strip(" .,:") if digits else ""


def column(header: str) -> Column:
    """Match the header of a column.

    Parameters
    ----------
    header : str
        As it stands: ``"Collected (mL)"``, ``"vapour_c"``, ``"abv"``.

    Returns
    -------
    Column
        What is in it.

    Raises
    ------
    UnknownNameError
        If nothing that is read off is called so; the nearest names are suggested.
    RequestError
        If it is a temperature that does not say of what.
    """
    plain = tidy(header.replace("_", " "))
    bracket = re.fullmatch(r"([^(\[/]*?)\s*[(\[]\s*([^)\]]+?)\s*[)\]]", plain)
    name, unit = (bracket[1].lower(), bracket[2]) if bracket else (plain.lower(), "")
    found = _named(name)
    if found is not None:
        return Column(header, found, unit or found.implied.get(name, ""))
    if not unit:
        for cut in [m.start() for m in re.finditer(r"[ ,/]", plain)][::-1]:
            found, unit = _named(plain[:cut].rstrip(" ,").lower()), plain[cut + 1 :].strip(" ,/")
            if found is not None and _is_unit(found, unit):
                return Column(header, found, unit)
    if name.split(" ")[0] in {"temperature", "temp", "temp.", "t"}:
        raise RequestError(
            f"the column {shown(header)} does not say of what.",
            'Call it "vapour temperature", "pot temperature", or "read at" for the hydrometer\'s.',
        )
    raise _unknown("column", header, name)


def _named(name: str) -> Quantity | None:
    short = name.replace("temp.", "temperature").replace(" temp", " temperature")
    return _NAMES.get(name) or _NAMES.get(short.replace("temperatureerature", "temperature"))


def _is_unit(quantity: Quantity, unit: str) -> bool:
    if quantity.name == "time" and unit == HOURS:
        return True
    try:
        quantity.read(f"1 {unit}")
    except RequestError:
        return False
    return True


def _unknown(what: str, header: str, name: str) -> UnknownNameError:
    error = UnknownNameError(what, shown(header).strip("'"), [q.name for q in QUANTITIES])
    near = [_NAMES[word].name for word in nearest(name, _NAMES)]
    if near:
        words = " or ".join(f"'{word}'" for word in dict.fromkeys(near))
        error.hint = f"Did you mean {words}?"
    return error


def read_entry_fields(text: str) -> Fields:
    """Read what is typed at the still, such as ``"42 min, 220 mL, 71 % at 24 °C, vapour 84.5 °C"``.

    Parameters
    ----------
    text : str
        Values with commas or semicolons between, each with its unit; what a unit does not tell by itself has
        its name before it.

    Returns
    -------
    dict
        Fields of an entry.

    Raises
    ------
    RequestError
        If a part will not be read, or two say the same.
    """
    fields: Fields = {}
    for part in re.split(r"\s*(?:;|,(?!\d)|,(?=\s))\s*", tidy(text)):
        if part:
            for name, value in _part(part).items():
                if name in fields and fields[name] != value:
                    raise RequestError(f"{shown(text)} says two things of one.", "Type one at a time.")
                fields[name] = value
    return fields


def _part(part: str) -> Fields:
    """One value: named, or known by its unit; a strength may say at which temperature it was read."""
    strong, _, at = part.partition(" at ")
    if at:
        return {**_part(strong), **_quantity("read at").read(at)}
    head, _, rest = part.partition(" ")
    sized = re.fullmatch(r"(jar|parrot|stream) ?([\d.,/]+ ?(?:mL|L|cL|g)\b)?(.*)", part, re.IGNORECASE)
    if sized and not rest.lower().startswith(("volume", "mass")):
        more = _part(sized[3].strip()) if sized[3].strip() else {}
        return {"of": sized[1].lower(), **(_sized(sized[1].lower(), sized[2]) if sized[2] else {}), **more}
    if head.lower() in {"note", "words"}:
        return _words(rest)
    for word in sorted(_NAMES, key=len, reverse=True):
        if part.lower().startswith(word) and part[len(word) :].lstrip(" :=")[:1].isdigit():
            return _NAMES[word].read(part[len(word) :].lstrip(" :="))
    if not part[:1].isdigit():
        raise _unknown("quantity", part, head.lower())
    for name in ("strength", "collected", "mass", "time", "power"):
        if _is_unit(_quantity(name), unit_of(part)):
            return _quantity(name).read(part)
    raise RequestError(
        f"{shown(part)} does not say what it is.",
        'Type for example "42 min, 220 mL, 71 % at 24 °C, vapour 84.5 °C".',
    )


def _sized(sample: str, size: str) -> Fields:
    """What a jar or a parrot holds."""
    if sample == "parrot":
        return _quantity("parrot").read(size)
    if sample == "jar":
        return _quantity("jar mass" if unit_of(size).lower() == "g" else "jar volume").read(size)
    raise RequestError("A stream has no size.", 'What is collected goes by itself: "220 mL, 71 %".')


def _quantity(name: str) -> Quantity:
    return _NAMES[name]
