"""The events of a run as typed records, and the file of lines that they are kept in.

An event has an id made where it was typed, so that one told again is the same one, and the moment at which it
happened, so that one told late takes its place. Several writers add to a file, one at a time, each line on
disk before it counts.
"""

from __future__ import annotations

import contextlib
import errno
import importlib
import json
import os
import re
import stat
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, ClassVar, NamedTuple, get_args

from potsim.errors import VOL, PotsimError, RequestError, UnknownNameError, require
from potsim.planning.plan import MOST_JARS
from potsim.planning.readings import Entry
from potsim.records import dataclass, said

VERSION = 2
READ = (1, 2)
"""Versions of the file that are understood; those of version 1 have neither ids nor devices."""
LONGEST = 2_000_000
"""Characters that one event may have; a plan is the longest."""
LONGEST_WORDS = 500


@dataclass(frozen=True)
class Start:
    """The run begins; ``plan`` is the text of its plan file."""

    kind: ClassVar[str] = "start"
    plan: str
    journal: int = VERSION


@dataclass(frozen=True)
class Heat:
    """The heat goes on, or off; ``ticks`` are what was made sure of before."""

    kind: ClassVar[str] = "heat"
    on: bool
    ticks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Read:
    """A reading; ``jar`` is the number of the jar that it is of."""

    kind: ClassVar[str] = "reading"
    entry: Entry
    jar: int | None = None


@dataclass(frozen=True)
class Full:
    """A jar is taken away: what it holds [L at 20 °C], and whether it goes into the keep.

    ``saw`` is the last jar noted that whoever pressed had before them.
    """

    kind: ClassVar[str] = "full"
    jar: int
    volume_l: float | None = None
    kept: bool | None = None
    saw: int | None = None


@dataclass(frozen=True)
class Volume:
    """Another volume for a jar that was noted [L at 20 °C]."""

    kind: ClassVar[str] = "volume"
    jar: int
    volume_l: float


@dataclass(frozen=True)
class Taste:
    """A word of taste for a jar."""

    kind: ClassVar[str] = "taste"
    jar: int
    word: str


@dataclass(frozen=True)
class Undo:
    """An earlier event does not count; undone itself, that one counts again."""

    kind: ClassVar[str] = "undo"
    event: str


@dataclass(frozen=True)
class HoldUp:
    """What the condenser holds back [L]; ``None`` if that is to be learnt."""

    kind: ClassVar[str] = "hold_up"
    volume_l: float | None = None


@dataclass(frozen=True)
class Pool:
    """The jars that are poured together."""

    kind: ClassVar[str] = "pool"
    jars: tuple[int, ...]


@dataclass(frozen=True)
class Measured:
    """What is in the jug, as measured: mass [g] or volume [L], what the hydrometer shows, at which °C."""

    kind: ClassVar[str] = "measured"
    mass_g: float | None = None
    volume_l: float | None = None
    read_abv: float | None = None
    read_c: float | None = None


@dataclass(frozen=True)
class Water:
    """Water poured into the jug [g]."""

    kind: ClassVar[str] = "water"
    mass_g: float


@dataclass(frozen=True)
class Bottled:
    """Bottles filled."""

    kind: ClassVar[str] = "bottled"
    count: int


@dataclass(frozen=True)
class Clouded:
    """The strength [% vol] at which the keep clouded when it was let down, and how warm it was [°C]."""

    kind: ClassVar[str] = "clouded"
    abv: float | None = None
    at_c: float | None = None


@dataclass(frozen=True)
class Verdict:
    """What a taster says of one botanical; ``verdict`` is ``None`` if it is taken back or only talked of."""

    kind: ClassVar[str] = "verdict"
    botanical: str
    verdict: str | None = None
    words: str = ""
    tasted_in: str = ""


@dataclass(frozen=True)
class Remark:
    """Something that happened, in words."""

    kind: ClassVar[str] = "note"
    words: str


@dataclass(frozen=True)
class Titled:
    """The run is called otherwise."""

    kind: ClassVar[str] = "title"
    title: str


Event = (
    Start
    | Heat
    | Read
    | Full
    | Volume
    | Taste
    | Undo
    | HoldUp
    | Pool
    | Measured
    | Water
    | Bottled
    | Clouded
    | Verdict
    | Remark
    | Titled
)
KINDS: Mapping[str, type[Event]] = {cls.kind: cls for cls in get_args(Event)}
_RANGES: Mapping[str, tuple[float, float, str]] = {
    "jar": (1, MOST_JARS, ""),
    "saw": (0, MOST_JARS, ""),
    "volume_l": (0, 1e5, "L"),
    "mass_g": (0, 1e8, "g"),
    "read_abv": (0, 100, VOL),
    "abv": (0, 100, VOL),
    "read_c": (-20, 40, "°C"),
    "at_c": (-40, 60, "°C"),
    "count": (0, 100_000, ""),
}
_TYPES: Mapping[str, tuple[type, ...]] = {
    "int": (int,),
    "float": (int, float),
    "str": (str,),
    "bool": (bool,),
    "tuple[int, ...]": (list, tuple),
    "tuple[str, ...]": (list, tuple),
    "Entry": (dict, Entry),
}


def now() -> datetime:
    """Return the time of this computer; all that is told is put on this clock."""
    return datetime.now(UTC)


class Record(NamedTuple):
    """One line of a journal: an event, its id, when it happened, on which device it was told."""

    id: str
    at: datetime
    device: str
    line: int
    event: Event


class Damaged(NamedTuple):
    """A line that could not be read and is left out; ``torn`` if it is the last, torn off while written."""

    line: int
    torn: bool
    text: str


def check(event: Event) -> Event:
    """Refuse an event with a number out of range, words too long, or a list that cannot be."""
    for item in fields(event):
        value = getattr(event, item.name)
        if item.name in _RANGES:
            low, high, unit = _RANGES[item.name]
            require(item.name, value, low, high, unit)
        elif isinstance(value, str) and not isinstance(event, Start) and len(value) > LONGEST_WORDS:
            raise RequestError.of("too_long", item.name, given=len(value), allowed=LONGEST_WORDS)
    if isinstance(event, Pool):
        if not event.jars:
            raise RequestError.of("no_jar_poured", "jars")
        for jar in event.jars:
            require("jars", jar, 1, MOST_JARS)
    if isinstance(event, Measured) and event.mass_g is None and event.volume_l is None:
        raise RequestError.of("how_much", of="jug")
    if isinstance(event, Start) and event.journal not in READ:
        raise RequestError.of("journal_version", "journal", given=event.journal, allowed=VERSION)
    return event


def event_of(kind: object, content: Mapping[str, Any]) -> Event:
    """Return the event that a line or a browser tells."""
    if not isinstance(kind, str) or kind not in KINDS:
        raise UnknownNameError("record", str(kind), KINDS)
    cls = KINDS[kind]
    known = {item.name: item for item in fields(cls)}
    for name in content:
        if name not in known:
            raise UnknownNameError("field", str(name), known, path=kind)
    values: dict[str, Any] = {}
    for name, item in known.items():
        wanted, _, optional = str(item.type).partition(" | ")
        if name not in content and item.default is not MISSING:
            continue
        value = content.get(name)
        if value is None and optional:
            values[name] = None
            continue
        if not isinstance(value, _TYPES[wanted]) or (isinstance(value, bool) and wanted != "bool"):
            raise RequestError.of("wrong_type", f"{kind}.{name}", given=repr(value), allowed=wanted)
        if isinstance(value, (list, tuple)):
            inner = int if "int" in wanted else str
            if not all(type(one) is inner for one in value):
                raise RequestError.of("wrong_type", f"{kind}.{name}", given=repr(value), allowed=wanted)
            value = tuple(value)
        elif isinstance(value, dict):
            value = Entry.from_dict(value)
        values[name] = value
    return check(cls(**values))


def content_of(event: Event) -> dict[str, Any]:
    """Return the fields of an event that say something, as plain data for its line."""
    content = said(event)
    if isinstance(event, Read):
        content["entry"] = event.entry.to_dict()
    if isinstance(event, Start):
        content = {"journal": event.journal, **content}
    return content


# Lines of a journal ---------------------------------------------------------------------------------------


def line_of(record: Record) -> bytes:
    """Write a record as its line: JSON and a line feed, in ASCII."""
    told = {"record": record.event.kind, "id": record.id, "at": record.at.isoformat(timespec="milliseconds")}
    if record.device:
        told["device"] = record.device
    try:
        text = json.dumps({**told, **content_of(record.event)}, allow_nan=False)
    except (TypeError, ValueError, RecursionError) as error:
        raise RequestError.of("no_record", given=str(error)) from None
    if len(text) > LONGEST:
        raise RequestError.of("too_long", record.event.kind, given=len(text), allowed=LONGEST)
    return f"{text}\n".encode("ascii")


def records_of(told: object, line: int) -> list[Record]:
    """Check what a line tells; one of version 1 may tell two things."""
    if not isinstance(told, dict):
        raise RequestError.of("no_record", given=type(told).__name__)
    content = dict(told)
    kind, at = content.pop("record", None), moment_of(content.pop("at", ""))
    name, device = str(content.pop("id", f"line-{line}")), str(content.pop("device", ""))
    heat = _OLD_HEAT.fullmatch(str(content.get("words"))) if kind == "event" else None
    if heat is not None:  # told later than it happened
        return [Record(name, moment_of(heat["at"]), device, line, Heat(True))]
    entry = content.get("entry")
    if kind == "reading" and "hazy" in content and isinstance(entry, dict):  # stood beside the entry once
        content["entry"] = {**entry, "hazy": content.pop("hazy")}
    old = _OLD.get(str(kind))
    events = old(content) if old is not None else [event_of(kind, content)]
    return [Record(name if not k else f"{name}.{k}", at, device, line, e) for k, e in enumerate(events)]


def moment_of(text: object) -> datetime:
    """Return a moment from its text; 1970 for one that is none."""
    try:
        at = datetime.fromisoformat(str(text))
    except ValueError:
        return datetime.fromtimestamp(0.0, UTC)
    return at if at.tzinfo is not None else at.replace(tzinfo=UTC)


def _old_jar(content: Mapping[str, Any]) -> list[Event]:
    """Version 1: a jar filled, or a word for it, in one record."""
    jar, volume, word = content.get("number"), content.get("volume_l"), content.get("word") or ""
    found: list[Event] = []
    if volume is not None or not word:
        found.append(event_of("full", {"jar": jar, "volume_l": volume}))
    return [*found, event_of("taste", {"jar": jar, "word": word})] if word else found


_OLD_HEAT = re.compile(r"heat on at (?P<at>\S+)")
_OLD_WORDS = re.compile(
    r"condenser holds back: (?P<held>.+)|jars pooled: (?P<jars>[0-9,-]+)"
    r"|verdict of (?P<botanical>.+?): (?P<verdict>[a-z ]+?)(?:; (?P<words>.*))?"
)


def _old_event(content: Mapping[str, Any]) -> list[Event]:
    """Version 1: words, in which the page hid what it had no record for."""
    words = content.get("words")
    found = _OLD_WORDS.fullmatch(words) if isinstance(words, str) else None
    if found is None:
        return [event_of("note", content)]
    if found["jars"]:
        spans = [part.partition("-") for part in found["jars"].split(",")]
        return [Pool(tuple(n for a, _, b in spans for n in range(int(a), int(b or a) + 1)))]
    if found["botanical"]:
        verdict = None if found["verdict"] == "none" else found["verdict"]
        return [Verdict(found["botanical"], verdict, found["words"] or "")]
    number, _, unit = found["held"].partition(" ")
    per = {"mL": 0.001, "cL": 0.01, "L": 1.0}.get(unit.strip())
    return [HoldUp(float(number) * per)] if per else [Remark(str(words))]


def _old_strike(content: Mapping[str, Any]) -> list[Event]:
    """Version 1: a reading struck out by its number then; `_by_id` finds it."""
    if type(content.get("reading")) is not int:
        raise RequestError.of(
            "wrong_type", "strike.reading", given=repr(content.get("reading")), allowed="int"
        )
    return [Undo(f"#{content['reading']}")]


_OLD = {"jar": _old_jar, "event": _old_event, "strike": _old_strike}


# --- A file of lines that several writers add to: one at a time, each line on disk before it counts.


LARGEST = 20_000_000
"""Bytes that a journal may have."""
WAIT_S = 2.0  # for another writer, who needs a few milliseconds
_HELD = {errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK}  # by another writer
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_BINARY = getattr(os, "O_BINARY", 0)
_AT_ONCE = getattr(os, "O_NONBLOCK", 0)  # a pipe is refused, not waited for


@contextlib.contextmanager
def blame(path: Path) -> Iterator[None]:
    """Say which file could not be read or written."""
    try:
        yield
    except FileNotFoundError:
        if path.is_symlink():
            raise RequestError.of("file_gone", given=str(path)) from None
        if not path.parent.is_dir():
            folder = str(path.parent)
            raise RequestError.of("no_folder", given=path.name, folder=folder, near="") from None
        raise RequestError.of("file_missing", given=str(path)) from None
    except IsADirectoryError:
        raise RequestError.of("file_is_folder", given=str(path), sort="file") from None
    except (OSError, ValueError) as error:
        if isinstance(error, RequestError):
            raise
        why = getattr(error, "strerror", None) or str(error)
        full = getattr(error, "errno", None) in _FULL
        raise PotsimError.of("file_unusable", given=str(path), why=why.lower(), full=full) from error


class BusyError(PotsimError):
    """Another writer has held the journal for too long."""


@contextlib.contextmanager
def alone(handle: int, path: Path) -> Iterator[None]:
    """Be the only writer for a moment; the lock goes with the process."""
    lock, unlock = _locks()
    until = time.monotonic() + WAIT_S
    while True:
        try:
            lock(handle)
            break
        except OSError as error:
            if error.errno not in _HELD:  # a file system without locks
                yield
                return
            if time.monotonic() > until:
                raise BusyError.of("file_held", given=str(path)) from None
            time.sleep(0.005)
    try:
        yield
    finally:
        unlock(handle)


def _locks() -> tuple[Callable[[int], object], Callable[[int], object]]:
    """How this system locks an open file without waiting, and lets it go."""
    try:
        fcntl: Any = importlib.import_module("fcntl")
    except ImportError:
        msvcrt: Any = importlib.import_module("msvcrt")

        def byte(handle: int, how: int) -> None:  # one far behind the end of any journal: reading goes on
            here = os.lseek(handle, 0, os.SEEK_CUR)
            os.lseek(handle, LARGEST * 2, os.SEEK_SET)
            try:
                msvcrt.locking(handle, how, 1)
            finally:
                os.lseek(handle, here, os.SEEK_SET)

        return lambda handle: byte(handle, msvcrt.LK_NBLCK), lambda handle: byte(handle, msvcrt.LK_UNLCK)
    return (
        lambda handle: fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB),
        lambda handle: fcntl.flock(handle, fcntl.LOCK_UN),
    )


def write_line(handle: int, line: bytes) -> None:
    """Add one line and wait for the disk; whatever goes wrong, no part of it stays."""
    size = os.fstat(handle).st_size
    try:
        if os.write(handle, line) != len(line):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(handle)
    except OSError:
        with contextlib.suppress(OSError):
            os.ftruncate(handle, size)
        raise


def sync_folder(path: Path) -> None:
    """Put the name of a new file on disk too, where the system lets one."""
    with contextlib.suppress(OSError):
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def whole(handle: int, path: Path, start: int = 0) -> bytes:
    """Return what is in a file from a place on, refusing one that no run fills."""
    state = os.fstat(handle)
    if not stat.S_ISREG(state.st_mode):
        raise RequestError.of("file_not_plain", given=str(path))
    if state.st_size > LARGEST:
        raise RequestError.of("file_too_large", given=str(path), allowed=LARGEST // 1_000_000)
    os.lseek(handle, start, os.SEEK_SET)
    parts = []
    while part := os.read(handle, 1 << 20):
        parts.append(part)
    return b"".join(parts)


def opened(path: Path, *, add: bool, make: bool = False) -> int:
    """Open one to be read, or added to; a pipe is refused later, not waited for."""
    to_add = os.O_RDWR | os.O_APPEND | (os.O_CREAT if make else 0)
    with blame(path):
        return os.open(path, (to_add if add else os.O_RDONLY) | _BINARY | _AT_ONCE, 0o666)
