"""What readings are called and in which units: headers of a table, and single values typed at the still."""

from __future__ import annotations

import contextlib
import csv
import io
import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import field, replace
from pathlib import Path
from typing import Any

from potsim.data import read_table
from potsim.errors import (
    MOST_FAULTS,
    PotsimError,
    RequestError,
    UnknownNameError,
    Where,
    nearest,
    require_sort,
    together,
)
from potsim.interfaces import quantities
from potsim.interfaces.output import content_of
from potsim.interfaces.quantities import short, tidy
from potsim.liquid import strength
from potsim.liquid.equilibrium import ATMOSPHERE_PA
from potsim.planning.notes import Note, hint
from potsim.planning.readings import MOST_READINGS, SAMPLES, Entry, Reading, next_reading
from potsim.records import dataclass

Fields = dict[str, float | str]
HOURS = "h:min"


@dataclass(frozen=True)
class Quantity:
    """Something that is read off."""

    name: str  # what it is called here
    names: tuple[str, ...]  # what else it may be called
    read: Callable[[str], Fields]  # from a text with its unit to fields of an entry
    example: str  # a value with its unit
    implied: Mapping[str, str]  # names that tell the unit, and the unit
    has_unit: bool = True  # whether a value has a unit at all


def _number(field: str, reader: Callable[[str], float]) -> Callable[[str], Fields]:
    return lambda text: {field: reader(text)}


def _strength(text: str) -> Fields:
    """A hydrometer of proof is made for 60 °F; its mark is kept in % vol at that temperature."""
    abv = quantities.abv(text)
    if "proof" not in text.lower():
        return {"read_abv": abv}
    made_for = strength.US_REFERENCE_C
    return {"read_abv": float(strength.percent_at(abv, made_for)), "calibrated_c": made_for}


def _minutes(text: str) -> Fields:
    clock = re.fullmatch(rf"\s*(\d+):([0-5]?\d)(?::([0-5]?\d))?\s*{re.escape(HOURS)}\s*", text)
    if clock:
        return {"elapsed_min": 60.0 * int(clock[1]) + int(clock[2]) + int(clock[3] or 0) / 60.0}
    return {"elapsed_min": quantities.duration_min(text)}


SAMPLE_WORDS = {
    "stream": ("spout", "now", "the stream"),
    "pooled": ("pool", "all", "all so far", "so far", "together", "jug", "in the jug", "everything"),
    "jar": ("the jar", "this jar"),
}
"""What else the words for what a strength was read of may be."""


def _sample(text: str) -> Fields:
    """``"jar"``, ``"pooled"``, or ``"parrot 60 mL"`` with what it holds."""
    plain = text.strip().lower()
    for word, others in SAMPLE_WORDS.items():
        if plain in others:
            return {"of": word}
    word, _, rest = plain.partition(" ")
    if word not in SAMPLES:
        raise UnknownNameError("sample", text.strip(), SAMPLES)
    if not rest:
        return {"of": word}
    if word != "parrot":
        raise RequestError.of("sample_sized", given=short(text), allowed=list(SAMPLES))
    return {"of": word, "parrot_l": quantities.volume_l(rest)}


def _jar(text: str) -> Fields:
    if not re.fullmatch(r"\s*[0-9]{1,3}\s*", text):
        raise RequestError.of("no_jar_number", given=short(text))
    return {"of": "jar"}


def _words(text: str) -> Fields:
    return {"words": text.strip()[:500]}


HAZY = ("hazy", "haze", "cloudy")
YES, NO = ("yes", "y", "x", "true", "1", *HAZY), ("no", "n", "false", "0", "clear")


def _hazy(text: str) -> Fields:
    """Whether the stream was seen hazy."""
    said = text.strip().lower()
    if said not in YES + NO:
        raise RequestError.of("hazy_or_not", given=short(text))
    return {"hazy": True} if said in YES else {}


def _clock(text: str) -> float:
    """Minutes since midnight."""
    found = re.fullmatch(r"\s*([01]?\d|2[0-3])[:.h]([0-5]\d)(?:[:.]([0-5]\d))?\s*", text)
    if not found:
        raise RequestError.of("no_clock", given=short(text))
    return 60.0 * int(found[1]) + int(found[2]) + int(found[3] or 0) / 60.0


READERS: Mapping[str, Callable[[str], Fields]] = {
    "time": _minutes,
    "collected": _number("collected_l", quantities.volume_l),
    "mass": _number("mass_g", quantities.mass_g),
    "jar volume": _number("jar_l", quantities.volume_l),
    "jar mass": _number("jar_g", quantities.mass_g),
    "jar": _jar,
    "strength": _strength,
    "read at": _number("read_c", quantities.temperature_c),
    "vapour": _number("vapour_c", quantities.temperature_c),
    "pot": _number("pot_c", quantities.temperature_c),
    "power": _number("power_w", quantities.power_w),
    "hazy": _hazy,
    "of": _sample,
    "parrot": _number("parrot_l", quantities.volume_l),
    "clock": lambda text: {"clock": _clock(text)},
    "words": _words,
}
QUANTITIES = tuple(
    Quantity(
        row["name"],
        tuple(row["names"].split("; ")),
        READERS[row["name"]],
        row["example"],
        dict(pair.split("=") for pair in row["implied"].split("; ") if pair),
        not row["has_unit"],
    )
    for row in read_table("reading_columns.csv")
)
_NAMES = {word: q for q in QUANTITIES for word in (q.name, *q.names, *q.implied)}


@dataclass(frozen=True)
class Column:
    """A column of a table of readings."""

    header: str  # as it stands in the file
    quantity: Quantity  # what is in it
    unit: str  # unit that the header names; empty for none

    def read(self, cell: str) -> tuple[Fields, str]:
        """Read one cell that is not blank."""
        quantity = self.quantity
        if not quantity.has_unit:
            return quantity.read(cell), ""
        own = unit_of(cell)
        if not own and not self.unit and ":" in cell:
            raise RequestError.of("two_clocks", given=short(cell), column=f"{quantity.name} ({HOURS})")
        if not own and not self.unit:
            header = f"{quantity.name} ({unit_of(quantity.example)})"
            raise RequestError.of("cell_no_unit", given=short(cell), column=header, example=quantity.example)
        return quantity.read(cell if own else f"{cell} {self.unit}"), own


def unit_of(text: str) -> str:
    """Return what follows the last digit of a value: its unit, or nothing."""
    clean = tidy(text)
    digits = [k for k, letter in enumerate(clean) if letter.isdigit()]
    return clean[digits[-1] + 1 :].strip(" .,:") if digits else ""


def column(header: str) -> Column:
    """Match the header of a column."""
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
        raise RequestError.of("temperature_of_what", given=short(header))
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
    error = UnknownNameError(what, short(header), [q.name for q in QUANTITIES])
    near = [_NAMES[word].name for word in nearest(name, _NAMES)]
    if near:
        error.near = tuple(dict.fromkeys(near))
    return error


def read_entry_fields(text: str) -> Fields:
    """Read what is typed at the still, such as ``"42 min, 220 mL, 71 % at 24 °C, vapour 84.5 °C"``."""
    fields: Fields = {}
    spaced = re.search(r"(?<![\d.,:/])\d{1,3}(?: \d{3})+(?![\d.,:/])", tidy(text))
    if spaced and not re.search(r"\b(?:note|words)\b", text[: spaced.start()], re.IGNORECASE):
        raise RequestError.of("one_number_or_two", given=spaced[0])
    for part in re.split(r"\s*(?:;|,(?!\d)|,(?=\s))\s*", tidy(text)):
        if part:
            fields = _joined(text, fields, _part(part))
    return fields


def _joined(text: str, fields: Fields, more: Fields) -> Fields:
    if any(name in fields and fields[name] != value for name, value in more.items()):
        raise RequestError.of("two_things", given=short(text))
    return {**fields, **more}


def _part(part: str) -> Fields:
    """What stands between two commas: one value, or several where each has its unit or its name."""
    try:
        return _one(part)
    except RequestError as error:
        cuts = [cut for cut in _cuts(part) if any(letter.isdigit() for letter in part[:cut])]
        for cut in reversed(cuts):
            with contextlib.suppress(RequestError):
                return _joined(part, _one(part[:cut]), _part(part[cut:].lstrip()))
        if cuts:
            error.values["instead"] = "typed"
        raise


def _cuts(part: str) -> list[int]:
    """Where a value may end: before the next number, or the name of the next."""
    names = "|".join(re.escape(word) for word in (*_NAMES, *SAMPLES))
    return [m.start() for m in re.finditer(rf"(?<![\d.,/])\s+(?=\d)|\s+(?=(?:{names})\b)", part)]


def _one(part: str) -> Fields:
    """One value: named, or known by its unit; a strength may say at which temperature it was read."""
    part = re.sub(r"^and |^it is ", "", re.sub(r"^and ", "", part))
    strong, _, at = part.partition(" at ")
    if at:
        return {**_part(strong), **(_part(at) if _is_unit(_quantity("strength"), unit_of(at)) else _warm(at))}
    head, _, rest = part.partition(" ")
    pooled = re.fullmatch(r"(?:pooled|so far|all so far|all together)[: ]+(.+)", part, re.IGNORECASE)
    if pooled:
        amount = re.fullmatch(r"([\d.,/]+ ?(?:mL|L|cL|g))(?: of)? (.+)", pooled[1], re.IGNORECASE)
        found = [_part(one) for one in (amount.groups() if amount else pooled.groups())]
        return {"of": "pooled", **{name: value for one in found for name, value in one.items()}}
    if part.lower().endswith(" pooled"):
        return {"of": "pooled", **_part(part[: -len(" pooled")])}
    sized = re.fullmatch(r"(jar|parrot|stream|pooled) ?([\d.,/]+ ?(?:mL|L|cL|g)\b)?(.*)", part, re.IGNORECASE)
    if sized and not rest.lower().startswith(("volume", "mass")):
        more = _part(sized[3].strip()) if sized[3].strip() else {}
        return {"of": sized[1].lower(), **(_sized(sized[1].lower(), sized[2]) if sized[2] else {}), **more}
    if head.lower() in {"note", "words"}:
        return _words(rest)
    if part.lower().split()[-1] in HAZY:
        before = part[: -len(part.split()[-1])].strip()
        return {**(_part(before) if before else {}), "hazy": True}
    for word in sorted(_NAMES, key=len, reverse=True):
        if part.lower().startswith(word) and part[len(word) :].lstrip(" :=")[:1].isdigit():
            return _NAMES[word].read(part[len(word) :].lstrip(" :="))
    if not part[:1].isdigit():
        raise _unknown("quantity", part, head.lower())
    for name in ("strength", "collected", "mass", "time", "power"):
        if _is_unit(_quantity(name), unit_of(part)):
            return _quantity(name).read(part)
    if _is_unit(_quantity("read at"), unit_of(part)):
        return _warm(part)
    raise RequestError.of("unsaid", given=short(part))


def _warm(text: str) -> Fields:
    """The temperature of what the hydrometer floats in."""
    return _quantity("read at").read(text)


def _sized(sample: str, size: str) -> Fields:
    """What a jar or a parrot holds."""
    if sample == "parrot":
        return _quantity("parrot").read(size)
    if sample == "jar":
        return _quantity("jar mass" if unit_of(size).lower() == "g" else "jar volume").read(size)
    raise RequestError.of("sized_stream", given=size)


def _quantity(name: str) -> Quantity:
    return _NAMES[name]


# --- A file of readings: text with a header line, to readings in the order of the run.


LARGEST = 2_000_000
"""Bytes that a file of readings may have."""
DAY_MIN = 24 * 60.0
LONG_NIGHT_MIN = 12 * 60.0


@dataclass(frozen=True)
class Readings:
    """What a file of readings says."""

    name: str  # name of the file
    readings: tuple[Reading, ...]  # in the order of the run
    notes: tuple[Note, ...]  # how it was read, where that is not plain


def load_readings(
    path: str | os.PathLike[str],
    *,
    pressure_pa: float = ATMOSPHERE_PA,
    parrot_l: float | None = None,
    hydrometer_c: float | None = None,
    fits: Callable[[Reading], None] | None = None,
) -> Readings:
    """Read a file of readings; ``fits`` refuses one that cannot be of the run."""
    named = Path(path)
    content = content_of(named, LARGEST, "file of readings", "*.csv")
    text, notes = _decoded(content, named.name)
    read = read_readings(
        text, named.name, pressure_pa=pressure_pa, parrot_l=parrot_l, hydrometer_c=hydrometer_c, fits=fits
    )
    return Readings(read.name, read.readings, (*notes, *read.notes))


def readings_of(
    rows: Any, pressure_pa: float = ATMOSPHERE_PA, parrot_l: float | None = None
) -> tuple[Reading, ...]:
    """Return readings from rows of a program: mappings, a DataFrame, or readings as they are."""
    records = rows.to_dict("records") if hasattr(rows, "columns") else rows
    require_sort("readings", records, Iterable, "readings")
    records = list(records)
    if all(isinstance(row, Reading) for row in records):
        return tuple(records)
    for row in records:
        if not isinstance(row, Mapping):
            raise RequestError.of("no_row", given=type(row).__name__)
    names = list(dict.fromkeys(name for row in records for name in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, names, restval="")
    writer.writeheader()
    # An empty cell of a DataFrame is a number that is none.
    writer.writerows([{k: "" if v is None or v != v else v for k, v in row.items()} for row in records])
    try:
        made = read_readings(text.getvalue(), pressure_pa=pressure_pa, parrot_l=parrot_l).readings
    except PotsimError as error:
        for fault in error.faults:  # rows are counted from 1, and have no header
            first = fault.where[0] if fault.where else Where("")
            if first.line is not None and first.line > 1:
                fault.where = (first._replace(file=f"reading {first.line - 1}", line=None),)
        raise
    return tuple(replace(reading, line=0) for reading in made)


def read_readings(
    text: str,
    name: str = "readings",
    *,
    pressure_pa: float = ATMOSPHERE_PA,
    parrot_l: float | None = None,
    hydrometer_c: float | None = None,
    fits: Callable[[Reading], None] | None = None,
) -> Readings:
    r"""Read the text of a file of readings."""
    table = _Table(name, hydrometer_c)
    found: list[Reading] = []
    lines = _rows(text, table)
    line, header = next(lines, (0, []))
    if not header:
        raise RequestError.of("no_readings").at(Where(name))
    table.head(line, header)
    for line, cells in lines:
        if len(found) >= MOST_READINGS:
            table.faults.append(table.at(line, RequestError.of("too_many_readings", allowed=MOST_READINGS)))
        if len(table.faults) >= MOST_FAULTS or len(found) >= MOST_READINGS:
            break
        with table.noting(line):
            with_units = table.entry(line, cells)
            if with_units is not None:
                made = next_reading(found, with_units, line=line, pressure_pa=pressure_pa, parrot_l=parrot_l)
                if fits is not None:
                    fits(made)
                found.append(made)
    if table.faults:
        raise together(table.faults)
    if not found:
        raise RequestError.of("header_alone").at(Where(name))
    if any(r.abv is not None and r.entry.read_c is None for r in found):
        table.note(hint("temperature_not_read"))
    return Readings(name, tuple(found), tuple(table.notes))


@dataclass
class _Table:
    """The table as it is being read."""

    name: str
    hydrometer_c: float | None = None  # what hydrometers of % vol are made for [°C]; ``None`` for 20 °C
    columns: list[Column] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    units: dict[int, tuple[str, int]] = field(default_factory=dict)  # own unit of cells, and its first line
    clock: float | None = None
    days: float = 0.0
    start: float | None = None
    faults: list[PotsimError] = field(default_factory=list)  # what is wrong with it

    def note(self, note: Note) -> None:
        if note not in self.notes:
            self.notes.append(note)

    def at(self, line: int, error: PotsimError) -> PotsimError:
        return error.at(Where(self.name, line))

    @contextlib.contextmanager
    def noting(self, line: int, column: str = "") -> Iterator[None]:
        """Note any refusal that arises inside, with its line and column, and go on."""
        try:
            yield
        except PotsimError as error:
            self.faults.append(error if error.where else error.at(Where(self.name, line, column, column)))

    def head(self, line: int, cells: list[str]) -> None:
        while cells and not cells[-1].strip():
            cells = cells[:-1]
        for cell in cells:
            if not cell.strip():
                raise self.at(line, RequestError.of("no_column_name"))
            with self.noting(line):
                found = column(cell)
            if self.faults:
                continue
            twice = [c.header for c in self.columns if c.quantity is found.quantity]
            if twice:
                both = {"given": short(cell), "first": short(twice[0]), "quantity": found.quantity.name}
                raise self.at(line, RequestError.of("columns_alike", **both))
            self.columns.append(found)
        if self.faults:
            raise together(self.faults)

    def entry(self, line: int, cells: list[str]) -> Entry | None:
        """One line as an entry; None where all cells are blank."""
        filled = [cell.strip() for cell in cells]
        if not any(filled):
            return None
        width = len(self.columns)
        if len(filled) != width and (len(filled) < width or any(filled[width:])):
            raise self.at(line, RequestError.of("cells_differ", given=len(filled), allowed=width))
        fields: Fields = {}
        before = len(self.faults)
        for k, (found, cell) in enumerate(zip(self.columns, filled, strict=False)):
            if cell:
                with self.noting(line, found.header):
                    values, own = found.read(cell)
                    self._same_units(k, line, found, cell, own)
                    fields.update(values)
        return None if len(self.faults) > before else self._entry(fields, line)

    def _same_units(self, k: int, line: int, found: Column, cell: str, own: str) -> None:
        """Refuse a column in which some cells have a unit; say where units change."""
        if not found.quantity.has_unit:
            return
        if own and found.unit and own.lower() != found.unit.lower():
            self.note(hint("own_unit", found.header, line=line, given=short(cell)))
        if own:
            before, first = self.units.setdefault(k, (own, line))
            if not found.unit and before.lower() != own.lower():
                units = {"unit": before, "line": first, "then_unit": own, "then_line": line}
                self.note(hint("units_change", found.header, **units))

    def _entry(self, fields: Fields, line: int) -> Entry:
        clock = fields.pop("clock", None)
        if isinstance(clock, float):
            fields["elapsed_min"] = self._since(clock, line)
        if ("jar_l" in fields or "jar_g" in fields) and "of" not in fields:
            fields["of"] = "jar"
        if "parrot_l" in fields and "of" not in fields:
            fields["of"] = "parrot"
        if self.hydrometer_c is not None and "read_abv" in fields:
            fields.setdefault("calibrated_c", self.hydrometer_c)
        return Entry(**fields)  # type: ignore[arg-type]

    def _since(self, clock: float, line: int) -> float:
        """Minutes since the first time of day, over midnight if need be."""
        if self.start is None:
            self.start = clock
            self.note(hint("clock_at_switch_on", line=line))
        elif self.clock is not None and clock < self.clock - LONG_NIGHT_MIN:
            self.days += DAY_MIN
        self.clock = clock
        return clock + self.days - self.start


def _rows(text: str, table: _Table) -> Iterator[tuple[int, list[str]]]:
    """Lines with something on them, split into cells."""
    text = text.removeprefix("\ufeff")
    mark, skipped = _separator(text)
    if mark != ",":
        text = _decimal_points(text, table)
        table.note(hint("cells_apart", by="semicolons" if mark == ";" else "tabs"))
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, skipinitialspace=True)
    before = 0
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise table.at(reader.line_num, RequestError.of("not_csv", why=str(error))) from None
        line, before = before + 1, reader.line_num
        if "\0" in "".join(cells):
            raise table.at(line, RequestError.of("not_text"))
        if line > skipped and any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#"):
            yield line, cells


def _separator(text: str) -> tuple[str, int]:
    """What stands between cells, and how many lines come before the header."""
    for number, line in enumerate(text.splitlines()[:100], start=1):
        said = re.fullmatch(r"\s*sep=(.)\s*", line)
        if said and said[1] in ",;\t":
            return said[1], number
        if line.strip() and not line.lstrip().startswith("#"):
            for mark in (";", "\t"):
                if mark in line:
                    return mark, number - 1
            return ",", number - 1
    return ",", 0


def _decimal_points(text: str, table: _Table) -> str:
    """Turn decimal commas into points, once it is plain that commas are decimal."""
    if not re.search(r"(?<![\d.,])(?:0,\d+|\d+,(?:\d{1,2}|\d{4,}))(?![\d,])", text):
        return text
    table.note(hint("decimal_commas"))
    return re.sub(r"(?<=\d),(?=\d)", ".", text)


def _decoded(content: bytes, name: str) -> tuple[str, list[Note]]:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return content.decode("utf-16"), [hint("encoding", encoding="UTF-16")]
        except UnicodeDecodeError:
            raise RequestError.of("not_text").at(Where(name)) from None
    try:
        return content.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        text = content.decode("cp1252", errors="replace")
    if "\ufffd" in text or "\0" in text:
        raise RequestError.of("not_text").at(Where(name, line))
    return text, [hint("encoding", encoding="Windows-1252", line=line)]


def entry_of(fields: Mapping[str, float | str], hydrometer_c: float | None = None) -> Entry:
    """Return an entry from fields typed at the still; a jar or a parrot that has a size is one."""
    return _Table("", hydrometer_c)._entry(dict(fields), 0)
