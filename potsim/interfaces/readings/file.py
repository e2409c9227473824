"""A file of readings: text with a header line, to readings in the order of the run."""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from potsim.errors import PotsimError, RequestError, nearest
from potsim.interfaces.numerals import shown
from potsim.interfaces.readings.columns import Column, Fields, column
from potsim.liquid.equilibrium import ATMOSPHERE_PA
from potsim.planning.following.readings import MOST_READINGS, Entry, Reading, next_reading

LARGEST = 2_000_000
"""Bytes that a file of readings may have."""
DAY_MIN = 24 * 60.0
LONG_NIGHT_MIN = 12 * 60.0


@dataclass(frozen=True)
class Readings:
    """What a file of readings says.

    Parameters
    ----------
    name : str
        Name of the file.
    readings : tuple of Reading
        In the order of the run.
    notes : tuple of str
        How it was read, where that is not plain.
    """

    name: str
    readings: tuple[Reading, ...]
    notes: tuple[str, ...]


def load_readings(path: str | os.PathLike[str], *, pressure_pa: float = ATMOSPHERE_PA) -> Readings:
    """Read a file of readings.

    Parameters
    ----------
    path : path-like
        A table in text: a header line, then a line for each reading; cells separated by commas, semicolons
        or tabs.
    pressure_pa : float
        Pressure of the air [Pa], which decides the azeotrope.

    Returns
    -------
    Readings
        What it says.

    Raises
    ------
    RequestError
        If the file or a line cannot be read; the message names the line.
    """
    named = Path(path)
    text, notes = _decoded(_content(named), named.name)
    read = read_readings(text, named.name, pressure_pa=pressure_pa)
    return Readings(read.name, read.readings, (*notes, *read.notes))


def read_readings(text: str, name: str = "readings", *, pressure_pa: float = ATMOSPHERE_PA) -> Readings:
    r"""Read the text of a file of readings.

    Parameters
    ----------
    text : str
        As `load_readings`.
    name : str
        What to call it in refusals.
    pressure_pa : float
        Pressure of the air [Pa].

    Returns
    -------
    Readings
        What it says.

    Raises
    ------
    RequestError
        If a line cannot be read; the message names it.

    Examples
    --------
    >>> table = read_readings("collected (mL),strength,read at\n220,71 %,24 °C")
    >>> round(table.readings[0].abv, 1)
    69.6
    """
    table = _Table(name)
    found: list[Reading] = []
    lines = _rows(text, table)
    line, header = next(lines, (0, []))
    if not header:
        raise RequestError(
            f"{name} is empty.", 'Its first line names the columns: "collected (mL),strength (%)".'
        )
    table.head(line, header)
    for line, cells in lines:
        with_units = table.entry(line, cells)
        if with_units is not None:
            if len(found) >= MOST_READINGS:
                raise table.refuse(line, f"more than {MOST_READINGS} readings.", "Keep one a minute.")
            try:
                found.append(next_reading(found, with_units, line=line, pressure_pa=pressure_pa))
            except RequestError as error:
                raise table.refuse(line, error.message, error.hint) from None
    if not found:
        raise RequestError(f"{name} has a header, but no reading below it.", "Add a line for each reading.")
    if any(r.abv is not None and r.entry.read_c is None for r in found):
        table.note("A strength without its temperature is taken as read at the hydrometer's own.")
    return Readings(name, tuple(found), tuple(table.notes))


@dataclass
class _Table:
    """The table as it is being read."""

    name: str
    columns: list[Column] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    units: dict[int, tuple[str, int]] = field(default_factory=dict)  # own unit of cells, and its first line
    clock: float | None = None
    days: float = 0.0
    start: float | None = None

    def note(self, words: str) -> None:
        if words not in self.notes:
            self.notes.append(words)

    def refuse(self, line: int, message: str, hint: str) -> RequestError:
        return RequestError(f"{self.name}, line {line}: {message}", hint)

    def head(self, line: int, cells: list[str]) -> None:
        while cells and not cells[-1].strip():
            cells = cells[:-1]
        for cell in cells:
            if not cell.strip():
                raise self.refuse(line, "a column has no name.", "Name it, or take it out.")
            try:
                found = column(cell)
            except PotsimError as error:
                raise self.refuse(line, _small(error.message), error.hint) from None
            twice = [c.header for c in self.columns if c.quantity is found.quantity]
            if twice:
                raise self.refuse(
                    line, f"{shown(twice[0])} and {shown(cell)} are both {found.quantity.name}.", "Keep one."
                )
            self.columns.append(found)

    def entry(self, line: int, cells: list[str]) -> Entry | None:
        """One line as an entry; None where all cells are blank."""
        filled = [cell.strip() for cell in cells]
        if not any(filled):
            return None
        width = len(self.columns)
        if len(filled) != width and (len(filled) < width or any(filled[width:])):
            raise self.refuse(
                line,
                f"{len(filled)} cells, but the header has {width}.",
                "A blank cell still needs its separator; with decimal commas separate cells by semicolons.",
            )
        fields: Fields = {}
        for k, (found, cell) in enumerate(zip(self.columns, filled, strict=False)):
            if cell:
                try:
                    values, own = found.read(cell)
                except PotsimError as error:
                    raise self.refuse(line, _small(error.message), error.hint) from None
                self._same_units(k, line, found, cell, own)
                fields.update(values)
        try:
            return self._entry(fields, line)
        except PotsimError as error:
            raise self.refuse(line, error.message, error.hint) from None

    def _same_units(self, k: int, line: int, found: Column, cell: str, own: str) -> None:
        """Refuse a column in which some cells have a unit; say where units change."""
        if not found.quantity.has_unit:
            return
        if own and found.unit and own.lower() != found.unit.lower():
            self.note(f"Line {line}: {shown(cell)} under {shown(found.header)} is read with its own unit.")
        if own:
            before, first = self.units.setdefault(k, (own, line))
            if not found.unit and before.lower() != own.lower():
                self.note(
                    f"{found.header} is in {before} on line {first} and in {own} on line {line}; "
                    "each is read as it says."
                )

    def _entry(self, fields: Fields, line: int) -> Entry:
        clock = fields.pop("clock", None)
        if isinstance(clock, float):
            fields["elapsed_min"] = self._since(clock, line)
        if ("jar_l" in fields or "jar_g" in fields) and "of" not in fields:
            fields["of"] = "jar"
        if "parrot_l" in fields and "of" not in fields:
            fields["of"] = "parrot"
        return Entry(**fields)  # type: ignore[arg-type]

    def _since(self, clock: float, line: int) -> float:
        """Minutes since the first time of day, over midnight if need be."""
        if self.start is None:
            self.start = clock
            self.note(f"The time of day on line {line} is taken as the switch-on.")
        elif self.clock is not None and clock < self.clock - LONG_NIGHT_MIN:
            self.days += DAY_MIN
        self.clock = clock
        return clock + self.days - self.start


def _small(message: str) -> str:
    return message[:1].lower() + message[1:]


def _rows(text: str, table: _Table) -> Iterator[tuple[int, list[str]]]:
    """Lines with something on them, split into cells."""
    text = text.removeprefix("\ufeff")
    mark, skipped = _separator(text)
    if mark != ",":
        text = _decimal_points(text, table)
        table.note(f"Cells are separated by {'semicolons' if mark == ';' else 'tabs'}.")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, skipinitialspace=True)
    before = 0
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise table.refuse(reader.line_num, f"it is no table ({error}).", "Save it as CSV.") from None
        line, before = before + 1, reader.line_num
        if "\0" in "".join(cells):
            raise table.refuse(line, "it is not text.", "Save the table as CSV.")
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
    table.note("Commas in numbers are read as decimal commas.")
    return re.sub(r"(?<=\d),(?=\d)", ".", text)


def _content(path: Path) -> bytes:
    try:
        if path.is_file() and path.stat().st_size > LARGEST:
            raise _too_large(path)
        with path.open("rb") as file:
            content = file.read(LARGEST + 1)
    except FileNotFoundError:
        near = nearest(path.name, [p.name for p in path.parent.glob("*.csv")][:1000], most=1)
        hint = f"Did you mean {shown(near[0])}?" if near else "Check the name and the folder."
        raise RequestError(f"There is no file {shown(str(path))}.", hint) from None
    except IsADirectoryError:
        raise RequestError(f"{shown(str(path))} is a folder.", "Name a file of readings in it.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise RequestError(f"{shown(str(path))} cannot be read: {why}.", "") from None
    if len(content) > LARGEST:
        raise _too_large(path)
    return content


def _too_large(path: Path) -> RequestError:
    return RequestError(
        f"{path.name} is larger than {LARGEST // 1_000_000} MB; the readings of a run are a page or two.",
        "Is it a file of readings? Keep the columns that are needed, and a line a minute.",
    )


def _decoded(content: bytes, name: str) -> tuple[str, list[str]]:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return content.decode("utf-16"), ["The file is UTF-16."]
        except UnicodeDecodeError:
            raise RequestError(f"{name} is not text.", "Save the table as CSV.") from None
    try:
        return content.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        text = content.decode("cp1252", errors="replace")
    if "\ufffd" in text or "\0" in text:
        raise RequestError(f"{name}, line {line}: it is not text.", "Save the table as CSV in UTF-8.")
    return text, [f"Line {line} is not UTF-8; the file is read as Windows-1252."]


def entry_of(fields: Mapping[str, float | str]) -> Entry:
    """Return an entry from fields typed at the still; a jar or a parrot that has a size is one."""
    return _Table("")._entry(dict(fields), 0)
