"""The journal of a run: events, each on disk as soon as it is told, and the state that they add up to.

A file of lines, each an event in JSON, only ever added to, by several writers at a time. What a crash tears
off is at most the line that was being written.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple

from potsim.errors import PotsimError, RequestError
from potsim.liquid.equilibrium import ATMOSPHERE_PA
from potsim.planning import events
from potsim.planning.events import (
    Damaged,
    Event,
    Full,
    Heat,
    Read,
    Record,
    Start,
    Taste,
    Undo,
    Volume,
    alone,
    blame,
    check,
    line_of,
    opened,
    records_of,
    sync_folder,
    whole,
    write_line,
)
from potsim.planning.readings import Entry, Reading, next_reading
from potsim.records import dataclass

_ID = re.compile(r"[A-Za-z0-9_.:-]{1,64}")


@dataclass(frozen=True)
class JarState:
    """A jar that was filled."""

    number: int  # from 1, in the order of the run
    at: datetime  # when it was taken away
    volume_l: float | None = None  # what is in it [L at 20 °C]
    kept: bool | None = None  # whether it went into the keep; ``None`` if that is for later to say
    word: str = ""  # how it tastes


class Told(NamedTuple):
    """What became of an event: its record, and whether it was there already."""

    record: Record
    again: bool


class StaleError(RequestError):
    """A jar was noted meanwhile that whoever told of it had not seen; ``by`` is that record."""

    def __init__(self, jar: int, by: Record) -> None:
        super().__init__(kind="noted_already", given=jar)
        self.values = {"device": by.device}
        self.jar, self.by = jar, by


class _Placed(NamedTuple):
    """An entry at its minute; ``told`` is what a person typed of it, not inferred from a full jar."""

    record: Record
    minute: float | None
    entry: Entry
    told: bool


class Journal:
    """The journal of one run; made by `open` and `read`.

    Parameters
    ----------
    path : Path
        The file.
    handle : int or None
        Where events are added; ``None`` for one that is only read.
    pressure_pa : float
        Pressure of the air [Pa], which decides the azeotrope.
    parrot_l : float or None
        What the plan's parrot holds [L]; ``None`` for none.
    fits : callable, optional
        Refuses a reading that cannot be of this run.
    """

    def __init__(
        self,
        path: Path,
        handle: int | None,
        pressure_pa: float,
        parrot_l: float | None,
        fits: Callable[[Reading], None] | None = None,
    ) -> None:
        self.path, self.pressure_pa, self.parrot_l, self.fits = path, pressure_pa, parrot_l, fits
        self._handle = handle
        self._forget()

    def _forget(self) -> None:
        self._records: list[Record] = []
        self._damaged: list[Damaged] = []
        self._lines = self._good = 0
        self._standing: tuple[Record, ...] | None = None
        self._placed: list[_Placed] = []
        self._readings: list[tuple[_Placed, Reading]] = []
        self._aside: list[tuple[Record, RequestError]] = []

    def belongs_to(self, pressure_pa: float, parrot_l: float | None, fits: Callable[[Reading], None]) -> None:
        """Look at all that was told anew, as of a run with this air and this parrot."""
        self.pressure_pa, self.parrot_l, self.fits = pressure_pa, parrot_l, fits
        self._standing, self._placed, self._readings, self._aside = None, [], [], []

    @classmethod
    def open(
        cls,
        path: str | os.PathLike[str],
        plan_text: str | None = None,
        *,
        pressure_pa: float = ATMOSPHERE_PA,
        parrot_l: float | None = None,
        fits: Callable[[Reading], None] | None = None,
        event_id: str = "start",
        device: str = "",
    ) -> Journal:
        """Begin a journal, or go on with one that is there."""
        named = Path(path)
        handle = opened(named, add=True, make=plan_text is not None)
        journal = cls(named, handle, pressure_pa, parrot_l, fits)
        try:
            with alone(handle, named):
                journal._take(mend=True)
                if not journal._records and plan_text is not None:
                    journal._write(Record(event_id, events.now(), device, 1, Start(plan_text)))
                    sync_folder(named)
            if not journal._records:
                raise RequestError.of("file_without_run", given=str(named))
            if plan_text not in (None, journal.plan_text):
                raise RequestError.of("file_of_another_plan", given=str(named))
        except BaseException:
            journal.close()
            raise
        return journal

    @classmethod
    def read(
        cls,
        path: str | os.PathLike[str],
        *,
        pressure_pa: float = ATMOSPHERE_PA,
        parrot_l: float | None = None,
        fits: Callable[[Reading], None] | None = None,
    ) -> Journal:
        """Read a journal that is there, also while it is being added to."""
        named = Path(path)
        handle = opened(named, add=False)
        try:
            journal = cls(named, handle, pressure_pa, parrot_l, fits)
            with blame(named):
                journal._take(mend=False)
        finally:
            os.close(handle)
        journal._handle = None
        if not journal._records:
            raise RequestError.of("file_without_run", given=str(named))
        return journal

    def refresh(self) -> None:
        """Take in what others have added since."""
        if self._handle is not None:
            with blame(self.path):
                self._take(mend=False)

    def _take(self, *, mend: bool) -> None:
        """Read the lines that are new; ``mend`` to cut off a torn one, which only a writer may."""
        assert self._handle is not None
        if os.fstat(self._handle).st_size < self._good:
            self._forget()
        content = whole(self._handle, self.path, self._good)
        self._damaged = [one for one in self._damaged if not one.torn]
        *lines, tail = content.split(b"\n")
        for text in lines:
            self._lines += 1
            self._good += len(text) + 1
            try:
                found = records_of(_plain_json(text.decode("utf-8")), self._lines)
            except (ValueError, OverflowError, RecursionError, PotsimError) as error:
                if self._lines == 1:
                    newer = isinstance(error, RequestError) and b'"journal"' in text
                    raise (error if newer else self._other()) from None
                self._damaged.append(Damaged(self._lines, False, text[:60].decode("utf-8", "replace")))
                continue
            if self._lines == 1 and not isinstance(found[0].event, Start):
                raise self._other()
            self._records += self._by_id(found)
            self._standing = None
        if tail and not self._lines and not tail.startswith(b'{"record": "start"'[: len(tail)]):
            raise self._other()
        if tail:
            self._damaged.append(Damaged(self._lines + 1, True, tail[:60].decode("utf-8", "replace")))
            if mend:
                os.ftruncate(self._handle, self._good)

    def _by_id(self, found: list[Record]) -> list[Record]:
        """Name the reading that a strike of version 1 meant by its number at that time."""
        event = found[0].event
        if not (isinstance(event, Undo) and event.event.startswith("#")):
            return found
        self._standing = None
        _ = self.standing
        read = [placed.record for placed, _ in self._readings]
        number = int(event.event[1:])
        meant = read[number - 1].id if 1 <= number <= len(read) else ""
        return [found[0]._replace(event=Undo(meant))]

    def _other(self) -> RequestError:
        return RequestError.of("file_no_journal", given=str(self.path))

    # What is in it ----------------------------------------------------------------------------------------

    @property
    def records(self) -> tuple[Record, ...]:
        """All records, in the order in which they were told."""
        return tuple(self._records)

    @property
    def damaged(self) -> tuple[Damaged, ...]:
        """Lines that are left out."""
        return tuple(self._damaged)

    @property
    def plan_text(self) -> str:
        """The plan that the run was begun with."""
        first = self._records[0].event
        assert isinstance(first, Start)
        return first.plan

    @property
    def standing(self) -> tuple[Record, ...]:
        """The records that count: those undone are left out, and so are the undoings."""
        if self._standing is None:
            undone: set[str] = set()
            standing = []
            for record in reversed(self._records):
                if record.id in undone:
                    continue
                if isinstance(record.event, Undo):
                    undone.add(record.event.event)
                else:
                    standing.append(record)
            self._standing = tuple(reversed(standing))
            self._lay(self._placed_of(self._standing))
        return self._standing

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings that stand, each at its minute; full jars of known volume are among them."""
        _ = self.standing
        return tuple(reading for _, reading in self._readings)

    def reading_of(self, event_id: str) -> Reading | None:
        """Return what became of an event among the readings; ``None`` if it is none of them."""
        _ = self.standing
        return next((r for placed, r in self._readings if placed.record.id == event_id), None)

    @property
    def numbered(self) -> tuple[Record, ...]:
        """What the readings came of, by their numbers from 1; those set aside have theirs too."""
        _ = self.standing
        return tuple(placed.record for placed in self._placed)

    @property
    def aside(self) -> tuple[tuple[Record, RequestError], ...]:
        """Readings that no longer fit those that stand before them, and why."""
        _ = self.standing
        return tuple(self._aside)

    def latest(self, kind: type[Event], **where: object) -> Any:
        """Return the latest event of a kind that stands, by when it happened; ``None`` if there is none."""
        found = [
            r
            for r in self.standing
            if isinstance(r.event, kind) and all(getattr(r.event, k) == v for k, v in where.items())
        ]
        return max(found, key=lambda r: (r.at, r.line)).event if found else None

    def all_of(self, kind: type[Event]) -> tuple[Any, ...]:
        """Return all events of a kind that stand, by when they happened."""
        found = [r for r in self.standing if isinstance(r.event, kind)]
        return tuple(r.event for r in sorted(found, key=lambda r: (r.at, r.line)))

    @property
    def heat_on(self) -> datetime | None:
        """When the heat went on; ``None`` if that was not told."""
        return _switched(self.standing, True)

    @property
    def heat_off(self) -> datetime | None:
        """When the heat went off; ``None`` while it is on."""
        on, off = self.heat_on, _switched(self.standing, False)
        return off if on is not None and off is not None and off >= on else None

    @property
    def jars(self) -> tuple[JarState, ...]:
        """The jars by number; of each what was told last."""
        found: dict[int, JarState] = {}
        for record in self.standing:
            event = record.event
            if isinstance(event, Full):
                found.setdefault(event.jar, JarState(event.jar, record.at, event.volume_l, event.kept))
            elif isinstance(event, Read) and event.entry.of == "jar":
                number = event.jar or max(found, default=0) + 1
                found.setdefault(number, JarState(number, record.at))
        typed = [(read.jar, read.entry.jar_l) for read in self.all_of(Read) if read.jar is not None]
        volumes = {jar: volume_l for jar, volume_l in typed if volume_l is not None}
        volumes |= {event.jar: event.volume_l for event in self.all_of(Volume)}
        words = {event.jar: event.word for event in self.all_of(Taste)}
        return tuple(
            replace(jar, volume_l=volumes.get(n, jar.volume_l), word=words.get(n, ""))
            for n, jar in sorted(found.items())
        )

    def minute(self, at: datetime) -> float | None:
        """Return a moment as minutes since the heat went on [min]; ``None`` before that, or if not told."""
        on = self.heat_on
        if on is None or at < on:
            return None
        return round((at - on).total_seconds() / 60.0, 3)

    def _placed_of(self, standing: Sequence[Record]) -> list[_Placed]:
        """All that tells of the run, in its order: typed readings, and jars that were noted as full."""
        on = _switched(standing, True)

        def minute(record: Record, entry: Entry | None = None) -> float | None:
            if entry is not None and entry.elapsed_min is not None:
                return entry.elapsed_min
            if on is None or record.at < on or not record.at.timestamp():
                return None
            return round((record.at - on).total_seconds() / 60.0, 3)

        of_jar = {r.event.jar: r for r in standing if isinstance(r.event, Read) and r.event.jar is not None}
        volumes = {r.event.jar: r.event.volume_l for r in standing if isinstance(r.event, Volume)}
        placed: list[_Placed] = []
        # A reading of a jar that is noted as full is laid with that note.
        noted = {r.event.jar for r in standing if isinstance(r.event, Full)}
        filled: set[int] = set()
        for record in standing:
            event = record.event
            if isinstance(event, Full) and event.jar not in filled:
                filled.add(event.jar)
                told = of_jar.get(event.jar)
                entry = told.event.entry if told and isinstance(told.event, Read) else Entry(of="jar")
                volume = volumes.get(event.jar, entry.jar_l if entry.jar_l is not None else event.volume_l)
                if volume or entry.jar_g is not None:
                    at = entry.elapsed_min if entry.elapsed_min is not None else minute(record)
                    entry = replace(entry, jar_l=volume or None, of="jar")
                    _insert(placed, _Placed(told or record, at, entry, told is not None))
            elif isinstance(event, Read) and event.jar not in noted:
                _insert(placed, _Placed(record, minute(record, event.entry), event.entry, True))
        return placed

    def _lay(self, placed: list[_Placed]) -> None:
        """Complete the entries one after the other; what does not fit those before it is set aside."""
        same = 0
        if not self._aside:
            for old, new in zip(self._placed, placed, strict=False):
                if old != new or not new.told or any(not p.told for p in placed):
                    break
                same += 1
        kept = self._readings[:same]
        aside: list[tuple[Record, RequestError]] = []
        for k, one in enumerate(placed[same:], start=same):
            before = [reading for _, reading in kept]
            entry = replace(one.entry, elapsed_min=one.minute)
            if not one.told:
                entry = _clamped(entry, before, placed[k + 1 :])
            try:
                reading = next_reading(before, entry, pressure_pa=self.pressure_pa, parrot_l=self.parrot_l)
                if self.fits is not None:
                    self.fits(reading)
            except RequestError as error:
                aside.append((one.record, error))
            else:
                kept.append((one, replace(reading, number=k + 1)))
        self._placed, self._readings, self._aside = placed, kept, aside

    # Adding to it -----------------------------------------------------------------------------------------

    def append(
        self,
        event: Event,
        *,
        event_id: str = "",
        at: datetime | None = None,
        device: str = "",
        sure: bool = False,
    ) -> Told:
        """Check an event and put it on disk; one whose id is there is not written again."""
        if self._handle is None:
            raise RequestError.of("file_only_read", given=str(self.path))
        if event_id and not _ID.fullmatch(event_id):
            raise RequestError.of("wrong_id", "id", given=event_id[:70])
        with blame(self.path), alone(self._handle, self.path):
            self._take(mend=True)
            known = [r for r in self._records if event_id and r.id == event_id]
            if known:
                return Told(known[0], True)
            now = _to_milliseconds(events.now())
            name = event_id or f"{now:%Y%m%d%H%M%S%f}-{self._lines + 1}"
            record = Record(
                name, min(_to_milliseconds(at or now), now), device[:40], self._lines + 1, check(event)
            )
            record = record._replace(event=self._fitting(record, sure))
            return Told(self._write(record), False)

    def _fitting(self, record: Record, sure: bool) -> Event:
        """Refuse what cannot be beside what stands."""
        event = record.event
        if isinstance(event, Start):
            raise RequestError.of("begun_twice")
        if isinstance(event, Undo) and event.event not in {r.id for r in self._records[1:]}:
            raise RequestError.of("nothing_to_undo", given=event.event)
        if isinstance(event, Full):
            by = self._noted(event)
            if by is not None:
                if not sure:
                    raise StaleError(event.jar, by)
                same = any(isinstance(r.event, Full) and r.event.jar == event.jar for r in self.standing)
                if same and event.volume_l is not None:
                    return Volume(event.jar, event.volume_l)
        if isinstance(event, Read | Full | Volume):
            standing = (*self.standing, record)
            before = {r.id for r, _ in self._aside}
            probe = Journal(self.path, None, self.pressure_pa, self.parrot_l, self.fits)
            probe._lay(self._placed_of(standing))
            for bad, error in probe._aside:
                if bad.id not in before:
                    raise error
        return event

    def _noted(self, event: Full) -> Record | None:
        """The record by which a jar is noted already, or a later one than was seen."""
        filled = [r for r in self.standing if isinstance(r.event, Full)]
        same = [r for r in filled if isinstance(r.event, Full) and r.event.jar == event.jar]
        later = [
            r
            for r in filled
            if isinstance(r.event, Full) and event.saw is not None and r.event.jar > max(event.saw, event.jar)
        ]
        return next(iter(same or later), None)

    def _write(self, record: Record) -> Record:
        assert self._handle is not None
        line = line_of(record)
        with blame(self.path):
            write_line(self._handle, line)
        self._records.append(record)
        self._lines += 1
        self._good += len(line)
        self._standing = None
        return record

    def stat(self) -> os.stat_result:
        """Return what the system says of the file that is open."""
        assert self._handle is not None
        return os.fstat(self._handle)

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


def _plain_json(text: str) -> Any:
    """Read a line, refusing numbers that are none."""

    def none(name: str) -> float:
        raise ValueError(name)

    return json.loads(text, parse_constant=none)


def _to_milliseconds(at: datetime) -> datetime:
    return at.replace(microsecond=at.microsecond // 1000 * 1000)


def _switched(standing: Sequence[Record], on: bool) -> datetime | None:
    """When the heat went on, or off, for the last time."""
    moments = (r.at for r in standing if isinstance(r.event, Heat) and r.event.on is on)
    return max(moments, default=None)


def _insert(placed: list[_Placed], one: _Placed) -> None:
    """Put an entry at its minute: behind all that are no later."""
    k = len(placed)
    if one.minute is not None:
        while k and (other := placed[k - 1].minute) is not None and other > one.minute:
            k -= 1
    placed.insert(k, one)


def _clamped(entry: Entry, before: Sequence[Reading], later: Sequence[_Placed]) -> Entry:
    """A jar noted by its mark, between the totals that were measured: a mark never contradicts those."""
    last = max((r.collected_l for r in before if r.collected_l is not None), default=0.0)
    jars = [r.collected_l for r in before if r.entry.of == "jar" and r.collected_l is not None]
    total = (jars[-1] if jars else 0.0) + (entry.jar_l or 0.0)
    measured = [p.entry.collected_l for p in later if p.told and p.entry.collected_l is not None]
    total = max(min([total, *measured[:1]]), last)
    return replace(entry, collected_l=total, jar_l=min(entry.jar_l or 0.0, total) or None)
