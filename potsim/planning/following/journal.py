"""Readings, jars and events of a run in progress, each on disk as soon as it is told.

A file of lines, each a record in JSON, only ever added to. What a crash tears off is at most the line that
was being written; it is left out on reopening, and told of.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from potsim.errors import RequestError, require
from potsim.liquid.equilibrium import ATMOSPHERE_PA
from potsim.planning.following import journal_file
from potsim.planning.following.journal_file import VERSION, Record
from potsim.planning.following.readings import Entry, Reading, next_reading
from potsim.planning.plan import MOST_JARS


@dataclass(frozen=True)
class FilledJar:
    """A jar taken away from the spout.

    Parameters
    ----------
    number : int
        From 1, in the order of the run.
    volume_l : float or None
        What is in it [L at 20 °C].
    word : str
        How it tastes.
    """

    number: int
    volume_l: float | None = None
    word: str = ""

    def __post_init__(self) -> None:
        require("jar", self.number, 1, MOST_JARS)
        require("jar volume", self.volume_l, 0, 1e5, "L")


def reading_record(entry: Entry) -> dict[str, Any]:
    """Return the record of a reading.

    Parameters
    ----------
    entry : Entry
        As read off.

    Returns
    -------
    dict
        For `Journal.append`.
    """
    return {"record": "reading", "entry": entry.to_dict()}


def jar_record(jar: FilledJar) -> dict[str, Any]:
    """Return the record of a jar filled, or of what it tastes of.

    Parameters
    ----------
    jar : FilledJar
        The jar.

    Returns
    -------
    dict
        For `Journal.append`.
    """
    return {"record": "jar", "number": jar.number, "volume_l": jar.volume_l, "word": jar.word}


def event_record(words: str) -> dict[str, Any]:
    """Return the record of something that happened; `Journal.append` takes it."""
    return {"record": "event", "words": words}


def strike_record(number: int) -> dict[str, Any]:
    """Return the record that strikes out a reading by its number; `Journal.append` takes it."""
    return {"record": "strike", "reading": number}


class Journal:
    """The journal of one run; made by `open` and `read`.

    Parameters
    ----------
    path : Path
        The file.
    handle : int or None
        Where records are added; ``None`` for one that is only read.
    records : list of Record
        What is in it.
    torn : tuple of str
        What was found torn, a sentence each.
    pressure_pa : float
        Pressure of the air [Pa], which decides the azeotrope.
    """

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
        """Begin a journal, or go on with one that is there.

        Parameters
        ----------
        path : path-like
            The file; made if it is not there.
        plan_text : str
            The plan of the run, as its file says it.
        pressure_pa : float
            Pressure of the air [Pa], which decides the azeotrope.

        Returns
        -------
        Journal
            To be added to; close it, or use it in a ``with`` statement.

        Raises
        ------
        RequestError
            If the file is something else, belongs to another plan, or is being added to by someone else.
        PotsimError
            If it cannot be made or read.
        """
        named = Path(path)
        handle, content = journal_file.open_file(named)
        try:
            records, torn, good = journal_file.parse(content, named)
            if good < len(content):
                with journal_file.blame(named):
                    os.ftruncate(handle, good)
            journal = cls(named, handle, records, torn, pressure_pa)
            if not records:
                journal.append({"record": "start", "journal": VERSION, "plan": plan_text})
                journal_file.sync_folder(named)
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
        """Read a journal that is there, also while it is being added to.

        Parameters
        ----------
        path : path-like
            The file.
        pressure_pa : float
            Pressure of the air [Pa].

        Returns
        -------
        Journal
            Not to be added to.

        Raises
        ------
        RequestError
            If there is none, or it is something else.
        """
        named = Path(path)
        records, torn, _ = journal_file.parse(journal_file.read_file(named), named)
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
        """Check a record and put it on disk; when this returns, it is there.

        Parameters
        ----------
        record : mapping
            From `reading_record`, `jar_record`, `event_record` or `strike_record`.

        Returns
        -------
        Record
            As it stands in the file.

        Raises
        ------
        RequestError
            If it cannot be, as a reading that is earlier than the one before it; nothing is written.
        PotsimError
            If the disk is full or fails; the journal is as it was.
        """
        if self._handle is None:
            raise RequestError(f"'{self.path}' is only read here.", "Open it to add to it.")
        text = journal_file.line_of({**record, "at": datetime.now(UTC).isoformat(timespec="seconds")})
        line = 1 + (self._records[-1].line if self._records else 0)
        checked = journal_file.record_of(json.loads(text), line)
        readings = self._with(checked)
        with journal_file.blame(self.path):
            journal_file.write_line(self._handle, text.encode("ascii"))
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
