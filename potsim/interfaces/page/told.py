"""What can be told on the page: the form of a plan, things told of a run, what is to be kept or renamed."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any

from potsim.errors import PotsimError, RequestError, UnknownNameError
from potsim.interfaces import quantities
from potsim.interfaces.ownfile import OWN_BOTANICAL
from potsim.interfaces.page.shelf import Shelf
from potsim.interfaces.readingsfile import column
from potsim.liquid.compounds import compounds
from potsim.planning import events
from potsim.planning import schema as of
from potsim.planning.botanicals import materials
from potsim.planning.events import (
    LONGEST_WORDS,
    Bottled,
    Clouded,
    Event,
    Full,
    Heat,
    HoldUp,
    Measured,
    Pool,
    Read,
    Remark,
    Taste,
    Titled,
    Undo,
    Verdict,
    Volume,
    Water,
    check,
)
from potsim.planning.journal import StaleError
from potsim.planning.plan import TABLES, VERDICTS, most_rows
from potsim.planning.readings import Entry
from potsim.planning.schema import PREPARED, Key

MOST_BOTTLES = 10_000
OLDEST = timedelta(days=30)  # that a thing may have waited on its device
MEASURED = {
    "collected": "collected",
    "mass": "mass",
    "strength": "strength",
    "read_at": "read at",
    "vapour": "vapour",
    "pot": "pot",
    "power": "power",
    "volume": "jar volume",
    "jar_mass": "jar mass",
    "time": "time",
}
"""What a reading may say, and the column of a table of readings that reads it."""
ALONE = ("read_at", "time")  # what says nothing by itself
SAMPLES = {"spout": "stream", "jar": "jar", "pool": "pooled", "parrot": "parrot"}


def word(sent: Mapping[str, Any], key: str, most: int = 64) -> str:
    """Return a short text of a request; empty if it is left out or something else."""
    given = sent.get(key)
    return "".join(c for c in given[:most] if c.isprintable()) if isinstance(given, str) else ""


def refused(error: PotsimError | OSError) -> dict[str, Any]:
    """Return a refusal as data: its first fault, and all of them under ``faults``."""
    if isinstance(error, OSError):
        return {"message": f"It could not be kept: {error.strerror or error}.", "hint": "", "path": ""}
    faults = [{**one.record, "message": message(one)} for one in error.faults]
    return {**faults[0], "faults": faults}


def message(error: PotsimError) -> str:
    """Say a fault as the form does, which shows its place: nobody sees the keys of a plan file there."""
    if not error.follows:
        return error.fault[:1].upper() + error.fault[1:]
    said = f"{noun(error.record['path']) or error.path or 'it'} {error.fault}"
    return said[:1].upper() + said[1:]


# The form of a plan: its parts, tables and keys -------------------------------------------------------------

# Kind of quantity to the kind of number that it is on the page, and the units in which it may be typed.
_KINDS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    of.VOLUME: ("volume", ("mL", "L", "US fl oz", "US gal")),
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
    >>> from potsim.interfaces.page.told import noun
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
        "names": {one.id: one.name for one in compounds()} if key.kind == of.COMPOSITION else None,
        "example": key.example,
        "default": key.usually or None,
        "choices": list(choices) or None,
        "help": None,
        "required": key.needed,
        "rare": name in _RARE,
    }


# Telling ----------------------------------------------------------------------------------------------------


def tell(shelf: Shelf, run: str, sent: Mapping[str, Any], most: int) -> dict[str, Any]:
    """Put what is told of a run into its journal.

    Each of the ``things`` has its id; ``sent_ms`` is the time of the device when they were sent. Those
    ``accepted`` are on disk even if it fails later; those that ask are written when they come again, sure.
    """
    things = sent.get("things")
    if not isinstance(things, list) or len(things) > most:
        raise RequestError.of("too_many_told", allowed=most)
    accepted: list[str] = []
    turned_down: list[dict[str, str]] = []
    asks: list[dict[str, Any]] = []
    new = 0
    try:
        with shelf.added_to(run) as journal:
            shelf.take_in(run, journal)
            for thing in things:
                name = word(thing, "id") if isinstance(thing, dict) else ""
                try:
                    if not name:
                        raise RequestError.of("no_id")
                    event = event_of(thing)
                    done = journal.append(
                        event,
                        event_id=name,
                        at=_moment(thing, sent),
                        device=word(thing, "device") or word(sent, "device"),
                        sure=thing.get("sure") is True,
                    )
                except StaleError as error:
                    asks.append({"id": name, "jar": error.jar, "device": error.by.device, "text": str(error)})
                except RequestError as error:
                    turned_down.append({"id": name, **refused(error)})
                else:
                    accepted.append(name)
                    new += not done.again
            version = len(journal.records)
    except RequestError as error:  # there is no such run
        turned_down += [{"id": word(t, "id"), **refused(error)} for t in things if isinstance(t, dict)]
        version = 0
    return {"accepted": accepted, "refused": turned_down, "asks": asks, "version": version, "new": new}


def _moment(thing: Mapping[str, Any], sent: Mapping[str, Any]) -> datetime:
    """When a thing happened: as long ago as the device's own clock says, whatever that clock shows."""
    now = events.now()
    at, sent_at = thing.get("at_ms"), sent.get("sent_ms")
    if not _number(at):
        return now
    reference = float(sent_at) if _number(sent_at) else now.timestamp() * 1000.0  # type: ignore[arg-type]
    ago = timedelta(milliseconds=max(reference - float(at), 0.0))  # type: ignore[arg-type]
    if ago > OLDEST:
        raise RequestError.of("told_late", given=ago.days, allowed=OLDEST.days)
    return now - ago


def _number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < 1e15


def event_of(thing: Mapping[str, Any]) -> Event:
    """Return the event that a thing told is."""
    kind = str(thing.get("kind"))
    if kind not in _EVENTS:
        raise RequestError.of("unknown_thing", given=kind)
    return check(_EVENTS[kind](thing))


def _said(thing: Mapping[str, Any], key: str, *, needed: bool = True) -> str:
    given = thing.get(key)
    if not isinstance(given, str) or not given.strip():
        if needed:
            raise RequestError.of("nothing_told", of="note")
        return ""
    if len(given) > LONGEST_WORDS:
        raise RequestError.of("too_long", "words", given=len(given), allowed=LONGEST_WORDS)
    return " ".join(given.split())


def _jar(thing: Mapping[str, Any], key: str = "n") -> int:
    given = thing.get(key)
    if type(given) is not int:
        raise RequestError.of("no_jar_told")
    return given


def bottles(given: object) -> int:
    """Return a number of bottles, if it is one."""
    if type(given) is not int or not 0 <= given <= MOST_BOTTLES:
        raise RequestError.of("no_bottles", given=given, allowed=MOST_BOTTLES)
    return given


def _read(thing: Mapping[str, Any], key: str, reader: Callable[[str], float]) -> float | None:
    given = thing.get(key)
    if given in (None, ""):
        return None
    with_path = str(given)
    try:
        return reader(with_path)
    except PotsimError as error:
        error.path = key
        raise


def _full(thing: Mapping[str, Any]) -> Event:
    out = thing.get("left_out")
    kept = None if out is None else not out
    saw = thing.get("saw")
    volume_l = _read(thing, "volume", quantities.volume_l)
    return Full(_jar(thing), volume_l, kept, saw if type(saw) is int else None)


def _volume(thing: Mapping[str, Any]) -> Event:
    volume = _read(thing, "volume", quantities.volume_l)
    if volume is None:
        raise RequestError.of("nothing_told", of="volume")
    return Volume(_jar(thing), volume)


def _reading(thing: Mapping[str, Any]) -> Event:
    fields: dict[str, Any] = {}
    for key, name in MEASURED.items():
        if thing.get(key) not in (None, ""):
            try:
                fields |= column(name).quantity.read(str(thing[key]))
            except PotsimError as error:
                error.path = key
                raise
    if thing.get("hazy") is True:
        fields["hazy"] = True
    elif not any(thing.get(key) for key in MEASURED if key not in ALONE):
        raise RequestError.of("nothing_told", of="reading")
    jar = None if thing.get("of") is None else _jar(thing, "of")
    where = str(thing.get("where") or ("jar" if jar is not None else "spout"))
    if thing.get("pooled") is True:
        where = "pool"
    fields["of"] = SAMPLES.get(where, where)
    if where == "parrot" and thing.get("parrot"):
        fields["parrot_l"] = _read(thing, "parrot", quantities.volume_l)
    words = _said(thing, "words", needed=False)
    if words:
        fields["words"] = words
    return Read(Entry.from_dict(fields), jar)


def _measured(thing: Mapping[str, Any]) -> Event:
    strength = thing.get("strength")
    fields = column("strength").quantity.read(str(strength)) if strength else {}
    return Measured(
        mass_g=_read(thing, "mass", quantities.mass_g),
        volume_l=_read(thing, "volume", quantities.volume_l),
        read_abv=fields.get("read_abv"),  # type: ignore[arg-type]
        read_c=_read(thing, "temperature", quantities.temperature_c),
    )


def _water(thing: Mapping[str, Any]) -> Event:
    mass = _read(thing, "mass", quantities.mass_g)
    if mass is None:
        raise RequestError.of("nothing_told", of="water")
    return Water(mass)


def _bottled(thing: Mapping[str, Any]) -> Event:
    return Bottled(bottles(thing.get("count")))


def _verdict(thing: Mapping[str, Any]) -> Event:
    verdict = thing.get("verdict") or None
    if verdict is not None and verdict not in VERDICTS:
        raise UnknownNameError("verdict", str(verdict), VERDICTS)
    tasted_in = _said(thing, "tasted_in", needed=False)
    if tasted_in:
        quantities.numbers(tasted_in)  # refused before it is on disk
    words = _said(thing, "words", needed=False)
    return Verdict(_said(thing, "botanical"), verdict, words, tasted_in)


def _pool(thing: Mapping[str, Any]) -> Event:
    jars = thing.get("jars")
    if not isinstance(jars, list) or not all(type(n) is int for n in jars):
        raise RequestError.of("no_jar_list", "jars")
    return Pool(tuple(sorted(set(jars))))


def _heat(thing: Mapping[str, Any]) -> Event:
    ticks = thing.get("ticks")
    names = [word({"tick": t}, "tick", 20) for t in ticks[:10]] if isinstance(ticks, list) else []
    return Heat(True, tuple(name for name in names if re.fullmatch(r"[a-z_]+", name)))


_EVENTS: Mapping[str, Callable[[Mapping[str, Any]], Event]] = {
    "heat": _heat,
    "off": lambda thing: Heat(False),
    "jar": _full,
    "volume": _volume,
    "reading": _reading,
    "word": lambda thing: Taste(_jar(thing), _said(thing, "text", needed=False)),
    "strike": lambda thing: Undo(word(thing, "of")),
    "pool": _pool,
    "measured": _measured,
    "water": _water,
    "bottled": _bottled,
    "verdict": _verdict,
    "clouded": lambda thing: Clouded(
        _read(thing, "at", quantities.abv), _read(thing, "at_c", quantities.temperature_c)
    ),
    "hold_up": lambda thing: HoldUp(_read(thing, "volume", quantities.volume_l)),
    "note": lambda thing: Remark(_said(thing, "text")),
    "title": lambda thing: Titled(_said(thing, "title")),
}


# Keeping ----------------------------------------------------------------------------------------------------


def _tables(sent: Mapping[str, Any], key: str) -> dict[str, Any]:
    tables = sent.get(key)
    if not isinstance(tables, dict):
        raise RequestError.of("no_tables_sent")
    return tables


def keep_plan(shelf: Shelf, sent: Mapping[str, Any]) -> dict[str, Any]:
    """Keep a plan as it was typed, even one that cannot be run yet."""
    name = word(sent, "id", 200) or None
    if name is not None and shelf.has_run(name):
        raise RequestError.of("plan_of_run", given=name)
    return {"id": shelf.keep_plan(_tables(sent, "plan"), name, word(sent, "thing"))}


def keep_still(shelf: Shelf, sent: Mapping[str, Any]) -> dict[str, Any]:
    """Keep a still under a title."""
    return {"id": shelf.keep_still(_said(sent, "title"), _tables(sent, "still"), word(sent, "thing"))}


def rename(shelf: Shelf, sent: Mapping[str, Any]) -> dict[str, Any]:
    """Call something on the shelf otherwise."""
    event = {"event_id": word(sent, "thing"), "device": word(sent, "device")}
    shelf.rename(word(sent, "id", 200), _said(sent, "title"), event)
    return {"id": word(sent, "id", 200)}


def delete(shelf: Shelf, sent: Mapping[str, Any]) -> dict[str, Any]:
    """Take something off the shelf."""
    shelf.delete(word(sent, "id", 200))
    return {"id": word(sent, "id", 200)}
