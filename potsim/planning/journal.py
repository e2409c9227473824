"""Readings, jars and events of a run in progress, each on disk as soon as it is told.

A file of lines, each a record in JSON, only ever added to. What a crash tears off is at most the line that
was being written; it is left out on reopening, and told of.
"""

from __future__ import annotations

import contextlib
import errno
import importlib
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from potsim.errors import PotsimError, RequestError, UnknownNameError, require
from potsim.liquid.equilibrium import ATMOSPHERE_PA
from potsim.planning.plan import MOST_JARS
from potsim.planning.readings import Entry, Reading, next_reading


@dataclass(frozen=True)
class FilledJar:
    """A jar taken away from the spout."""

    number: int  # from 1, in the order of the run
    volume_l: float | None = None  # what is in it [L at 20 °C]
    word: str = ""  # how it tastes

    def __post_init__(self) -> None:
        require("jar", self.number, 1, MOST_JARS)
        require("jar volume", self.volume_l, 0, 1e5, "L")


def reading_record(entry: Entry) -> dict[str, Any]:
    """Return the record of a reading."""
    return {"record": "reading", "entry": entry.to_dict()}


def jar_record(jar: FilledJar) -> dict[str, Any]:
    """Return the record of a jar filled, or of what it tastes of."""
    return {"record": "jar", "number": jar.number, "volume_l": jar.volume_l, "word": jar.word}


def event_record(words: str) -> dict[str, Any]:
    """Return the record of something that happened; `Journal.append` takes it."""
    return {"record": "event", "words": words}


def strike_record(number: int) -> dict[str, Any]:
    """Return the record that strikes out a reading by its number; `Journal.append` takes it."""
    return {"record": "strike", "reading": number}


class Journal:
    """The journal of one run; made by `open` and `read`."""

    def __init__(
        self,
        path: Path,
        handle: int | None,
        records: list[Record],
        torn: tuple[str, ...],
        pressure_pa: float,
    ) -> None:
        self.path, self.torn, self.pressure_pa = path, torn, pressure_pa
        self._handle, self._records = handle, records
        self._readings: list[Reading] = []
        for record in records:
            try:
                self._readings = self._with(record)
            except RequestError as error:
                raise RequestError(f"'{path}', line {record.line}: {error.message}", error.hint) from None

    @classmethod
    def open(
        cls, path: str | os.PathLike[str], plan_text: str, *, pressure_pa: float = ATMOSPHERE_PA
    ) -> Journal:
        """Begin a journal, or go on with one that is there."""
        named = Path(path)
        handle, content = open_file(named)
        try:
            records, torn, good = parse(content, named)
            if good < len(content):
                with blame(named):
                    os.ftruncate(handle, good)
            journal = cls(named, handle, records, torn, pressure_pa)
            if not records:
                journal.append({"record": "start", "journal": VERSION, "plan": plan_text})
                sync_folder(named)
            elif journal.plan_text != plan_text:
                raise RequestError(
                    f"'{named}' is the journal of another plan.",
                    "Name another file for this run, or the plan as it was when the run began.",
                )
        except BaseException:
            os.close(handle)
            raise
        return journal

    @classmethod
    def read(cls, path: str | os.PathLike[str], *, pressure_pa: float = ATMOSPHERE_PA) -> Journal:
        """Read a journal that is there, also while it is being added to."""
        named = Path(path)
        records, torn, _ = parse(read_file(named), named)
        if not records:
            raise RequestError(f"'{named}' holds no run.", "Begin one: potsim follow PLAN --enter")
        return cls(named, None, records, torn, pressure_pa)

    @property
    def records(self) -> tuple[Record, ...]:
        """All records, in order."""
        return tuple(self._records)

    @property
    def plan_text(self) -> str:
        """The plan that the run was begun with."""
        return str(self._records[0].content["plan"])

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings that stand, in the order of the run."""
        return tuple(self._readings)

    @property
    def jars(self) -> tuple[FilledJar, ...]:
        """The jars by number; of each what was told last."""
        last: dict[int, FilledJar] = {}
        for record in self._records:
            if record.kind == "jar":
                jar = FilledJar(**record.content)
                before = last.get(jar.number, jar)
                volume = before.volume_l if jar.volume_l is None else jar.volume_l
                last[jar.number] = FilledJar(jar.number, volume, jar.word or before.word)
        return tuple(last[number] for number in sorted(last))

    def append(self, record: Mapping[str, Any]) -> Record:
        """Check a record and put it on disk; when this returns, it is there."""
        if self._handle is None:
            raise RequestError(f"'{self.path}' is only read here.", "Open it to add to it.")
        text = line_of({**record, "at": datetime.now(UTC).isoformat(timespec="seconds")})
        line = 1 + (self._records[-1].line if self._records else 0)
        checked = record_of(json.loads(text), line)
        readings = self._with(checked)
        with blame(self.path):
            write_line(self._handle, text.encode("ascii"))
        self._records.append(checked)
        self._readings = readings
        return checked

    def _with(self, record: Record) -> list[Reading]:
        """Return the readings once a record is taken in; refuses what cannot be."""
        content, readings = record.content, self._readings
        if record.kind == "start" and record.line > 1:
            raise RequestError("a run cannot begin twice.", "Use another file.")
        if record.kind == "jar":
            FilledJar(**content)
        elif record.kind == "reading":
            entry = Entry.from_dict(content["entry"])
            return [*readings, self._next(readings, entry, record.line)]
        elif record.kind == "strike":
            number = content["reading"]
            if not 1 <= number <= len(readings):
                raise RequestError(
                    f"there is no reading {number}.", f"There are {len(readings)}, numbered from 1."
                )
            kept: list[Reading] = []
            for old in readings:
                if old.number != number:
                    kept.append(self._next(kept, old.entry, old.line))
            return kept
        return readings

    def _next(self, before: list[Reading], entry: Entry, line: int) -> Reading:
        return next_reading(before, entry, line=line, pressure_pa=self.pressure_pa)

    def close(self) -> None:
        """Close the file; all that was told is in it."""
        if self._handle is not None:
            os.close(self._handle)
            self._handle = None

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


# --- The file under a journal: lines of JSON added one by one, each on disk before the next.


VERSION = 1
LARGEST = 20_000_000
"""Bytes that a journal may have."""
LONGEST = 2_000_000
"""Characters that one record may have; a plan is the longest."""
FIELDS: Mapping[str, Mapping[str, tuple[type, ...]]] = {
    "start": {"journal": (int,), "plan": (str,)},
    "reading": {"entry": (dict,)},
    "jar": {"number": (int,), "volume_l": (int, float, type(None)), "word": (str,)},
    "event": {"words": (str,)},
    "strike": {"reading": (int,)},
}
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_BINARY = getattr(os, "O_BINARY", 0)


@dataclass(frozen=True)
class Record:
    """One line of a journal."""

    kind: str  # what it tells
    at: str  # when it was told, ISO 8601 in UTC
    content: Mapping[str, Any]  # the rest of it
    line: int  # where it stands in the file


def line_of(told: Mapping[str, Any]) -> str:
    """Write a record as its line."""
    try:
        text = json.dumps(told, allow_nan=False)
    except (TypeError, ValueError, RecursionError) as error:
        raise RequestError(f"this is no record of a journal: {error}.", "Give plain data.") from None
    if len(text) > LONGEST:
        raise RequestError(f"a record has {len(text)} characters; at most {LONGEST} are kept.", "Say less.")
    return f"{text}\n"


def record_of(told: object, line: int) -> Record:
    """Check what a line tells."""
    if not isinstance(told, dict):
        raise RequestError("a record is to be a JSON object.", "")
    kind = told.get("record")
    if not isinstance(kind, str) or kind not in FIELDS:
        raise UnknownNameError("record", str(kind), FIELDS)
    fields = FIELDS[kind]
    content = {name: value for name, value in told.items() if name not in ("record", "at")}
    for name in content:
        if name not in fields:
            raise UnknownNameError(f"field of the record '{kind}'", name, fields)
    for name, types in fields.items():
        value = content.get(name)
        if not isinstance(value, types) or isinstance(value, bool):
            raise RequestError(f"the record '{kind}' has {name} = {value!r}.", "Is it of another kind?")
    return Record(kind, str(told.get("at", "")), content, line)


def parse(content: bytes, path: Path) -> tuple[list[Record], tuple[str, ...], int]:
    """Read the lines of a journal."""
    records: list[Record] = []
    lines = content.split(b"\n")
    tail = lines.pop()
    good = len(content) - len(tail)
    for number, text in enumerate(lines, start=1):
        try:
            records.append(record_of(json.loads(text.decode("utf-8")), number))
        except (ValueError, RecursionError, PotsimError) as error:
            if number == 1:
                raise _other(path) from None
            why = error.message if isinstance(error, PotsimError) else "it is not JSON."
            raise RequestError(
                f"'{path}', line {number} is damaged: {why}",
                "Correct the line, or take it out.",
            ) from None
    if records and records[0].kind != "start":
        raise _other(path)
    if not records and tail and not tail.startswith(b'{"record": "start"'[: len(tail)]):
        raise _other(path)
    torn: tuple[str, ...] = ()
    if tail:
        said = tail[:60].decode("utf-8", errors="replace")
        torn = (f"The last line was torn off while it was written, and is left out: {said!r}.",)
    return records, torn, good


def _other(path: Path) -> RequestError:
    return RequestError(f"'{path}' is not a journal of readings.", "Name another file.")


def open_file(path: Path) -> tuple[int, bytes]:
    """Open a journal to add to, alone; make it if it is not there."""
    with blame(path):
        flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | _BINARY
        handle = os.open(path, flags, 0o666)
        try:
            _lock(handle, path)
            return handle, whole(handle, path)
        except BaseException:
            os.close(handle)
            raise


def whole(handle: int, path: Path) -> bytes:
    """Return all that is in a file, refusing one that no run fills."""
    parts, size = [], 0
    while part := os.read(handle, 1 << 20):
        parts.append(part)
        size += len(part)
        if size > LARGEST:
            raise RequestError(
                f"'{path}' is larger than {LARGEST // 1_000_000} MB; no run's journal is.",
                "Name another file.",
            )
    return b"".join(parts)


def read_file(path: Path) -> bytes:
    """Return what is in a journal that someone may be adding to."""
    with blame(path):
        handle = os.open(path, os.O_RDONLY | _BINARY)
        try:
            return whole(handle, path)
        finally:
            os.close(handle)


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


def _lock(handle: int, path: Path) -> None:
    """Let nobody else add to the file; the lock goes with the process."""
    try:
        fcntl = importlib.import_module("fcntl")
    except ImportError:  # Windows
        return
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise RequestError(
            f"'{path}' is being added to by another session.", "Close that one first, or go on there."
        ) from None
    except OSError:  # a file system without locks
        return


@contextlib.contextmanager
def blame(path: Path) -> Iterator[None]:
    """Say which file could not be read or written."""
    try:
        yield
    except FileNotFoundError:
        raise RequestError(f"There is no '{path}'.", "Check the name and the folder.") from None
    except IsADirectoryError:
        raise RequestError(f"'{path}' is a folder.", "Name a file in it.") from None
    except (OSError, ValueError) as error:
        if isinstance(error, RequestError):
            raise
        why = getattr(error, "strerror", None) or str(error)
        number = getattr(error, "errno", None)
        hint = "Make room, and enter it once more." if number in _FULL else "Choose another place."
        raise PotsimError(f"'{path}' cannot be used: {why.lower()}.", hint) from error
