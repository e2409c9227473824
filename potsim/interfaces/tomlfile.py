"""Files that people write in TOML: bytes to tables, tables to values, and where in the file a fault lies."""

from __future__ import annotations

import datetime
import os
import re
import tomllib
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import field
from functools import cached_property, partial
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from potsim.errors import (
    MOST_FAULTS,
    PotsimError,
    RangeError,
    RequestError,
    UnknownNameError,
    Where,
    require_sort,
    together,
)
from potsim.interfaces import quantities
from potsim.interfaces.output import content_of
from potsim.interfaces.quantities import LONGEST, as_typed, leading_number, refusal, shown
from potsim.interfaces.wording import exact, format_numbers
from potsim.planning import schema
from potsim.planning.botanicals import Share, Spread, UsualDose, composition
from potsim.planning.plan import TABLES, JarStock, most_rows
from potsim.planning.schema import Key
from potsim.records import dataclass

T = TypeVar("T")

LARGEST = 200_000
"""Bytes that a plan file may have."""
DEEPEST = 12
"""Files that may follow one another, each taking from the next."""
MOST_PARTS = 2 * DEEPEST + 8
"""Parts that one dotted key may have."""
_FAULTS = {
    "Cannot overwrite a value": "key_twice",
    "Cannot declare": "table_twice",
    "Cannot mutate": "table_twice",
    "Exceeds the limit": "many_digits",
}  # what Python says, and what is wrong
_PART = re.compile(r"""[ \t]*("(?:\\.|[^"\\])*"|'[^']*'|[A-Za-z0-9_-]+)[ \t]*(\.?)""")
_TOKEN = re.compile(r'''"""|\'\'\'|"(?:\\.|[^"\\])*"|'[^']*'|[\[\]{}#]''')
_DOTTED = re.compile(rf"(?:[\w\"'-]+[ \t]*\.[ \t]*){{{MOST_PARTS},}}")


# --- Bytes to tables.


def parse(text: str, name: str) -> dict[str, Any]:
    """Return the tables of TOML text; a fault in the writing is refused with its line."""
    if len(text) > LARGEST:
        raise RequestError.of("file_long", allowed=LARGEST).at(Where(name))
    deep = _DOTTED.search(text)
    if deep is not None:  # each part costs as much as all before it
        line = text.count("\n", 0, deep.start()) + 1
        raise RequestError.of("nested", allowed=MOST_PARTS).at(Where(name, line))
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except RecursionError:
        raise RequestError.of("nested").at(Where(name)) from None
    except ValueError as error:
        found = re.search(r"\(at line (\d+), column \d+\)", str(error))
        fault = str(error).partition(" (at ")[0]
        why = next((kind for words, kind in _FAULTS.items() if fault.startswith(words)), fault)
        ended = found is None and "at end of document" in str(error)
        at = int(found[1]) if found else text.count("\n") + 1 if ended else None
        raise RequestError.of("syntax", why=why, ended=ended).at(Where(name, at)) from None


def read_file(path: Path) -> str:
    """Return the text of a file, or refuse it in words."""
    content = content_of(path, LARGEST, "plan file", "*.toml")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise RequestError.of("not_utf8").at(Where(path.name, line)) from None


# --- How each kind of quantity stands in a file: read from what is typed, and written back exactly.


class Form(NamedTuple):
    """How a kind of quantity stands in a file."""

    read: Callable[[Any], Any]  # from what stands there to the value; refuses
    write: Callable[[Any], Any]  # back again, exactly


def read_value(key: Key, given: object) -> Any:
    """Return the value of a key from what is typed; range and choices are not looked at."""
    return KINDS[key.kind].read(given)


def write_value(key: Key, value: Any) -> Any:
    """Return a value of a key as it is typed."""
    return KINDS[key.kind].write(value)


def text(given: object) -> str:
    """Read text that says something, such as a name."""
    if not isinstance(given, str):
        raise refusal(given, "not_text", 'text in quotes ("...")', "apple spirit")
    if not given.strip():
        raise refusal(given, "empty", "text that says something", "apple spirit")
    if len(given) > LONGEST or not given.isprintable():
        raise refusal(given, "unfit", f"one line of up to {LONGEST} characters", "apple spirit")
    return given.strip()


def same(value: Any) -> Any:
    """Return the value as it is: what is read is what is written."""
    return value


def _words(given: object) -> str:
    if not isinstance(given, str):
        raise refusal(given, "not_text", 'text in quotes ("...")', "more lemon next time")
    return given


def _yes(given: object) -> bool:
    if not isinstance(given, bool):
        raise refusal(given, "unfit", "true or false, without quotes", "true")
    return given


def _day(given: object) -> object:
    if isinstance(given, (datetime.date, datetime.time)):
        return given
    return text(given)


def _said(given: object) -> object:
    """What a person notes of a result in words or figures; kept as it stands."""
    if isinstance(given, bool) or not isinstance(given, (str, int, float)):
        raise refusal(given, "unfit", "text in quotes, or a number", "3 bottles of 350 mL")
    return given


def _spirit(given: object) -> str:
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
    return [(f"{jar.count} x " if jar.count else "") + write_volume(jar.size_l) for jar in stock]


def _write_amount(amount: quantities.Amount) -> str:
    return exact(amount.size, "g") if amount.of == "g" else f"{exact(amount.size, amount.of)}".rstrip()


def _shares_over(given: object) -> dict[str, float]:
    if not isinstance(given, dict):
        raise refusal(given, "unfit", "botanicals and shares", '{ "fennel seed" = "95 %" }')
    return {text(name): quantities.share(value) for name, value in given.items()}


def write_volume(litres: float) -> str:
    """Return a volume as it is typed: in litres from one litre on."""
    return exact(litres, "L") if litres >= 1 else exact(litres, "mL", 1000)


def write_share(share: float) -> str:
    """Return a share in per cent."""
    return exact(share, "%", 100)


def write_number(number: float) -> int | float:
    """Return a plain number as a person writes it, without a needless ``.0``."""
    return int(number) if float(number).is_integer() else float(number)


def measure(read: Callable[[str], float], unit: str) -> Form:
    """Return the form of a quantity that is kept in the unit it is written in."""
    return Form(read, lambda value: exact(value, unit))


def _spread(given: object) -> Spread:
    """Read ``"1.2 %"``, or low, typical and high in a list."""
    if not isinstance(given, list):
        typical = quantities.percent(given)  # type: ignore[arg-type]
        return Spread(typical, typical, typical)
    if len(given) != 3:
        raise refusal(given, "not_three", "low, typical and high", "0.8 %, 1.2 %, 2 %")
    return Spread(*(quantities.percent(item) for item in given))


def _write_spread(spread: Spread) -> str | list[str]:
    figures = [exact(pct, "%") for pct in (spread.low, spread.typical, spread.high)]
    return figures[0] if len(set(figures)) == 1 else figures


def _composition(given: object) -> tuple[Share, ...]:
    if not isinstance(given, dict):
        raise refusal(given, "unfit", "compounds and shares of the oil", '{ limonene = "70 %" }')
    return tuple(Share(text(name), _spread(share)) for name, share in given.items())


def _names(given: object) -> tuple[str, ...]:
    return tuple(text(item) for item in (given if isinstance(given, list) else [given]))


def _usual(given: object) -> UsualDose:
    if not isinstance(given, list) or len(given) != 2:
        raise refusal(given, "unfit", "the least and the most for a litre of charge", '["2 g", "8 g"]')
    low, high = (quantities.mass_g(item) for item in given)
    if low > high:
        raise refusal(given, "falls", "the least and the most for a litre of charge", '["2 g", "8 g"]')
    return UsualDose(low, high)


def _molar_mass(given: object) -> float:
    allowed = "a molar mass in g/mol"
    number, unit = leading_number(given, allowed, "154.3 g/mol")
    if unit.replace(" ", "") != "g/mol":
        raise refusal(given, "no_unit" if not unit else "unfit", allowed, "154.3 g/mol")
    return float(number)


def _groups(given: object) -> dict[int, int]:
    allowed = "numbers of subgroups and how many of each"
    if not isinstance(given, dict) or not all(name.isascii() and name.isdigit() for name in given):
        raise refusal(given, "unfit", allowed, '{ "1" = 2, "2" = 3 }')
    return {int(name[:9]): int(quantities.count(n, "groups", whole=True)) for name, n in given.items()}


KINDS: dict[str, Form] = {
    schema.VOLUME: Form(quantities.volume_l, write_volume),
    schema.ABV: measure(quantities.abv, "%"),
    schema.SHARE: Form(quantities.share, write_share),
    schema.RELATIVE: Form(partial(quantities.share, most=10.0), write_share),
    schema.PERCENT: measure(quantities.percent, "%"),
    schema.MASS: measure(quantities.mass_g, "g"),
    schema.MASS_KG: measure(quantities.mass_kg, "kg"),
    schema.DURATION: measure(quantities.duration_min, "min"),
    schema.DURATION_H: measure(quantities.duration_h, "h"),
    schema.TEMPERATURE: measure(quantities.temperature_c, "°C"),
    schema.HEIGHT: measure(quantities.length_m, "m"),
    schema.PRESSURE: measure(quantities.pressure_hpa, "hPa"),
    schema.POWER: measure(quantities.power_w, "W"),
    schema.HEAT_LOSS: measure(quantities.heat_loss_w_per_k, "W/K"),
    schema.ABV_DIFFERENCE: measure(quantities.abv_difference, "%"),
    schema.TEMPERATURE_DIFFERENCE: measure(quantities.temperature_difference_k, "K"),
    schema.AMOUNT: Form(quantities.amount, _write_amount),
    schema.COUNT: Form(quantities.count, write_number),
    schema.ADDITIONS: Form(lambda given: int(quantities.count(given, "additions", whole=True)), same),
    schema.PRICE: Form(quantities.price, write_number),
    schema.PRICE_PER_L: measure(quantities.price_per_l, "per L"),
    schema.TEXT: Form(text, text),
    schema.WORDS: Form(_words, same),
    schema.SAID: Form(_said, same),
    schema.DAY: Form(_day, same),
    schema.YES: Form(_yes, same),
    schema.CHOICE: Form(text, same),
    schema.SPIRIT: Form(_spirit, same),
    schema.JAR_NUMBERS: Form(_jar_numbers, format_numbers),
    schema.JAR_SIZES: Form(_jar_sizes, _write_sizes),
    schema.SHARES_OVER: Form(
        _shares_over, lambda over: {name: write_share(share) for name, share in over.items()}
    ),
    schema.SPREAD: Form(_spread, _write_spread),
    schema.COMPOSITION: Form(
        _composition, lambda shares: {share.compound_id: _write_spread(share.pct) for share in shares}
    ),
    schema.NAMES: Form(_names, list),
    schema.USUAL_DOSE: Form(
        _usual, lambda dose: [exact(dose.low_g_per_l, "g"), exact(dose.high_g_per_l, "g")]
    ),
    schema.MOLAR_MASS: measure(_molar_mass, "g/mol"),
    schema.GROUPS: Form(_groups, lambda groups: {str(group): n for group, n in dict(groups).items()}),
    schema.KELVIN: measure(quantities.temperature_k, "K"),
    schema.RATIO: Form(partial(quantities.count, what="a ratio"), write_number),
    schema.DECADES: Form(quantities.decades, write_number),
}
"""Kind of quantity to how it is read and written."""


# --- Where in a file something stands.


def lines_of(text: str) -> dict[str, int]:
    """Return the line of every table and key of TOML text, dotted path with rows counted from 0 to line."""
    found: dict[str, int] = {}
    rows: dict[str, int] = {}
    table, closing, depth = "", "", 0
    for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), start=1):
        rest = line
        if not closing and depth == 0:
            bare = line.strip()
            if not bare or bare.startswith("#"):
                continue
            if bare.startswith("["):
                several = bare.startswith("[[")
                table = _header(_dotted(bare.lstrip("["))[0], rows, several=several)
                found.setdefault(table, number)
                continue
            parts, end = _dotted(bare)
            found.setdefault(".".join([table, *parts] if table else parts), number)
            rest = bare[end:]
        closing, depth = _open_at_end(rest, closing, depth)
    return found


def _dotted(text: str) -> tuple[list[str], int]:
    """Parts of the dotted key that a text begins with, and where it ends."""
    parts: list[str] = []
    at = 0
    while found := _PART.match(text, at):
        parts.append(found[1].strip("\"'"))
        at = found.end()
        if not found[2]:
            break
    return parts, at


def _header(parts: list[str], rows: dict[str, int], *, several: bool) -> str:
    """Path of a header; of tables that stand several times the last one is meant."""
    path = ""
    for k, part in enumerate(parts):
        path = f"{path}.{part}" if path else part
        if several and k == len(parts) - 1:
            rows[path] = rows.get(path, -1) + 1
        if path in rows:
            path = f"{path}.{rows[path]}"
    return path


def _open_at_end(rest: str, closing: str, depth: int) -> tuple[str, int]:
    """What is open where a line ends: the quotes of a long text, and how many brackets."""
    for token in _TOKEN.finditer(rest):
        if closing:
            closing = "" if token[0] == closing else closing
        elif token[0] in ('"""', "'''"):
            closing = token[0]
        elif token[0] in ("[", "{"):
            depth += 1
        elif token[0] in ("]", "}"):
            depth -= 1
        elif token[0] == "#":
            break
    return closing, max(depth, 0)


@dataclass
class Source:
    """The file being read, and the faults found in it so far."""

    name: str  # name of the file, for messages
    # folder from which other files are named; ``None`` if there is none, as in text from a form
    folder: Path | None = None
    chain: tuple[Path, ...] = ()  # the files that led here, each taking from the next
    text: str = ""  # what the file holds; empty where there is no text
    root: str = ""  # path of the tables in the file; not empty for a plan inside a plan
    faults: list[PotsimError] = field(default_factory=list)  # what is wrong with it
    # the systems of units of all that was typed
    systems: list[quantities.System] = field(default_factory=list)

    @cached_property
    def _lines(self) -> dict[str, int]:
        return lines_of(self.text)

    def where(self, path: str, spot: str) -> Where:
        """Return a place in the file by its path; of what stands inside a line, the line."""
        full = ".".join(part for part in (self.root, path) if part)
        at = full
        while at and at not in self._lines:
            at = at.rpartition(".")[0]
        return Where(self.name, self._lines.get(at), spot, full)

    def refuse_faults(self) -> None:
        """Refuse the file if anything is wrong with it."""
        if self.faults:
            raise together(self.faults)


OTHER_WORDS: Mapping[str, Mapping[str, str]] = {
    "": {"run": "cuts", "pot": "still", "spirit": "charge", "recipe": "botanical", "botanicals": "botanical"},
    "charge": {"spirit": "name", "strength": "abv", "proof": "abv", "amount": "volume"},
    "still": {"pot": "capacity", "size": "capacity", "volume": "capacity", "watts": "power"},
    "botanical": {"weight": "mass", "quantity": "amount", "count": "pieces", "number": "pieces"},
    "bottling": {"strength": "abv", "size": "bottle", "bottles": "bottle"},
    "cuts": {"foreshots": "heads", "tails": "tails_from"},
}
"""What people write in place of a key, where its spelling would lead astray."""


@dataclass
class Place:
    """One table of a file."""

    source: Source  # the file
    table: str  # name of the table in the schema, such as ``"still.power_step"``; empty for the top
    spot: str = ""  # as a reader finds it, such as ``"[still]"`` or ``"[[charge]] 'water'"``
    path: str = ""  # as a program finds it, such as ``"charge.1"``
    typed: dict[str, object] = field(default_factory=dict)  # keys read so far with what was typed
    faulty: bool = False  # whether anything in it was refused

    def where(self, key: str = "") -> Where:
        """Return the place of a key of the table; of the table for none."""
        path = ".".join(part for part in (self.path, key) if part)
        return self.source.where(path, f"{self.spot} {key}".strip())

    @contextmanager
    def noting(self, key: str = "") -> Iterator[None]:
        """Note any refusal that arises inside, with its place, and go on."""
        try:
            yield
        except PotsimError as error:
            self.faulty = True
            self.source.faults.append(self.placed(error, key))
            if len(self.source.faults) >= MOST_FAULTS:
                self.source.refuse_faults()

    def placed(self, error: PotsimError, key: str = "") -> PotsimError:
        """Return a refusal with its place in this table, and what was given as it was typed."""
        inner = error.path.removeprefix(f"{self.table}.") if self.table else f" {error.path}"
        inner = "" if inner == error.path or error.where else inner
        known = inner.split(".")[0]
        if not key and (known in self.typed or known in _inside(self.table)):
            key = inner
        elif not key and inner.rpartition(".")[2] in self.typed:
            key = inner.rpartition(".")[2]
        if isinstance(error, RangeError) and not error.where:
            error = error.typed(as_typed(self.typed.get(key), error))
        of = TABLES.get(self.table)
        lacking = error.kind == "missing" and known and (of is None or known in of.keys)
        if lacking or error.kind == "unknown_key":
            return error.at(self.where(inner.strip())._replace(spot=self.spot))
        return error.at(self.where(key))

    def value(self, name: str, key: Key, given: object, *, ranged: bool = True) -> Any:
        """Return the value of a key, within its range."""
        self.typed[name] = given
        value = read_value(key, given)
        system = quantities.system_of(given) if key.kind in schema.MEASURED else None
        self.source.systems += [] if system is None else [system]
        if ranged:
            key.check(value, self.table)
        return value

    def table_of(self, value: object, example: str) -> dict[str, Any]:
        """Return the value if it is a table with keys; an empty one, noted as a fault, if not."""
        if isinstance(value, dict):
            return value
        with self.noting():
            if isinstance(value, list):
                raise RequestError.of("a_list", table=self.spot)
            raise RequestError.of("no_table", given=shown(value), example=example)
        return {}

    def unknown(self, key: str, known: Collection[str]) -> PotsimError:
        """Return the refusal of a key that this table does not have."""
        homes = [table for table, of in TABLES.items() if key in of.keys]
        meant = OTHER_WORDS.get(self.table.partition(".")[0], {}).get(key.casefold())
        meant = meant if meant in known else None
        error = UnknownNameError(
            "key",
            key[:LONGEST],
            known,
            kind="unknown_key",
            path=f"{self.table}.{key}" if self.table else key,
        )
        if meant is not None:
            error.near = (meant,)
        error.values["home"] = homes[0] if homes else ""
        return error


def _inside(table: str) -> set[str]:
    """Tables that stand inside a table."""
    return {name[len(table) + 1 :] for name in TABLES if name.startswith(f"{table}.")}


def read_fields(
    table: Mapping[str, Any],
    keys: Mapping[str, Key],
    place: Place,
    beside: Collection[str] = (),
    *,
    ranged: bool = True,
) -> dict[str, Any]:
    """Read the keys of one table; each fault is noted."""
    fields = {}
    for name, value in table.items():
        require_sort("key", name, str, "str")
        if name in beside:
            continue
        if name not in keys:
            with place.noting():
                raise place.unknown(name, (*keys, *beside))
            continue
        with place.noting(name):
            fields[keys[name].field] = place.value(name, keys[name], value, ranged=ranged)
    return fields


def missing(name: str, example: str, path: str) -> RequestError:
    """Return the refusal of a table that lacks a key."""
    return RequestError.of("missing", path, allowed=f'"{example}"', name=name)


def build(kind: type[T], fields: Mapping[str, Any], keys: Mapping[str, Key], place: Place) -> T | None:
    """Make the dataclass that a table describes; what is missing or does not go together is noted."""
    for name, key in keys.items():
        if key.needed and key.field not in fields and name not in place.typed:
            with place.noting():
                raise missing(name, key.example, f"{place.table}.{name}")
    if not place.faulty:
        with place.noting():
            return kind(**fields)
    return None


def several(document: Mapping[str, Any], name: str, outer: Place) -> list[tuple[dict[str, Any], Place]]:
    """Return the tables of one ``[[name]]`` with their places."""
    last = name.rpartition(".")[2]
    tables = document.get(last, [])
    path = f"{outer.path}.{last}" if outer.path else last
    place = Place(outer.source, name, f"[[{name}]]", path)
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        with place.noting():
            raise RequestError.of("no_tables", table=f"[[{name}]]")
        outer.faulty = True
        return []
    most = most_rows(name)
    if len(tables) > most:
        outer.faulty = True
        with place.noting():
            raise RequestError.of("too_many", name, given=len(tables), allowed=most)
        return []
    return [
        (row, Place(outer.source, name, f"[[{name}]] {row_name(row, k)}", f"{path}.{k}"))
        for k, row in enumerate(tables)
    ]


def row_name(row: Mapping[str, Any], k: int) -> str:
    """Return what a row of a table is called: its name, else its number."""
    for key in ("name", "botanical"):
        called = row.get(key)
        if isinstance(called, str) and called.strip():
            return shown(called.strip())
    return str(k + 1)


def not_too_deep(source: Source) -> None:
    """Refuse one more file, or one more plan inside a plan, when they follow each other on and on."""
    if len(source.chain) >= DEEPEST:
        raise RequestError.of("too_deep", allowed=DEEPEST)


def other_file(name: object, source: Source) -> Path:
    """Return the path of another file that a plan names."""
    named = Path(text(name))
    if source.folder is None:
        raise RequestError.of("file_beside_none", given=str(named))
    path = source.folder / named
    not_too_deep(source)
    if Path(os.path.realpath(path)) in source.chain:
        raise RequestError.of("circle", given=str(named))
    return path
