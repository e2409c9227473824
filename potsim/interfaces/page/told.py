"""What a browser tells of a run, made into records of its journal.

A browser that lost the answer tells the same again, so all of it may be told twice. Heat, jars pooled and
verdicts are events in plain words, which are read back from the journal; what was told last counts.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from potsim.errors import RequestError
from potsim.interfaces import quantities
from potsim.interfaces.readingsfile import column
from potsim.interfaces.wording import format_numbers
from potsim.planning.journal import (
    FilledJar,
    Journal,
    event_record,
    jar_record,
    reading_record,
    strike_record,
)
from potsim.planning.readings import Entry
from potsim.planning.trials import Note

MEASURED = ("collected", "mass", "jar volume", "jar mass", "strength", "vapour", "pot", "power")
BESIDE = ("read at", "of", "time")  # what says more of a measured value
LONGEST_WORDS = 500
NOTHING = "not known"
_HELD = re.compile(r"condenser holds back: (.+)")
_HEAT = re.compile(r"heat on at (\S+)")
_POOLED = re.compile(r"jars pooled: ([0-9,-]+)")
_VERDICT = re.compile(r"verdict of (.+?): ([a-z ]+?)(?:; (.*))?")
OWN = (_HELD, _HEAT, _POOLED, _VERDICT)


def heat_on(journal: Journal) -> str | None:
    """Return when the heat was switched on, ISO 8601; ``None`` if that was not told."""
    found = _events(journal, _HEAT)
    return found[-1][1] if found else None


def hold_up(journal: Journal) -> tuple[str, float | None]:
    """Return what the condenser holds back, as typed and in litres; ``""`` and ``None`` if not told."""
    found = _events(journal, _HELD)
    typed = found[-1][1] if found else NOTHING
    return ("", None) if typed == NOTHING else (typed, quantities.volume_l(typed))


def pooled(journal: Journal) -> tuple[int, ...]:
    """Return the jars that were chosen to be pooled; none if that was not told."""
    found = _events(journal, _POOLED)
    return quantities.numbers(found[-1][1]) if found else ()


def verdicts(journal: Journal) -> dict[str, Note]:
    """Return the last verdict on each botanical by its name; those taken back are left out."""
    found = {}
    for match in _events(journal, _VERDICT):
        verdict = None if match[2] == "none" else match[2]
        found[match[1]] = Note(match[1], verdict, match[3] or "")
    return {name: note for name, note in found.items() if note.verdict or note.words}


def remarks(journal: Journal) -> list[dict[str, str]]:
    """Return all else that was noted, with the time of noting."""
    events = [record for record in journal.records if record.kind == "event"]
    return [
        {"at": record.at, "words": record.content["words"]}
        for record in events
        if not any(kind.fullmatch(record.content["words"]) for kind in OWN)
    ]


def _events(journal: Journal, pattern: re.Pattern[str]) -> list[re.Match[str]]:
    words = [record.content["words"] for record in journal.records if record.kind == "event"]
    return [found for found in map(pattern.fullmatch, words) if found]


def record(journal: Journal, told: object) -> dict[str, Any] | None:
    """Return the record of what was told."""
    if not isinstance(told, dict):
        raise RequestError("Nothing was told.", "")
    kind = told.get("kind")
    if kind == "reading":
        entry = _entry(told)
        return None if any(r.entry == entry for r in journal.readings) else reading_record(entry)
    if kind == "jar":
        return jar_record(_jar(told))
    if kind == "strike":
        numbers = [r.number for r in journal.readings if r.line == told.get("line")]
        return strike_record(numbers[0]) if numbers else None
    events = {"heat": _heat, "hold_up": _hold_up, "pool": _pool, "verdict": _verdict, "note": _note}
    event = events.get(str(kind))
    if event is None:
        raise RequestError("What was told is of no known kind.", "")
    said = event_record(event(told))
    return None if journal.records[-1].content.get("words") == said["words"] else said


def _heat(told: Mapping[str, Any]) -> str:
    try:
        moment = datetime.fromisoformat(str(told.get("at")))
    except ValueError:
        moment = datetime.min
    if moment.tzinfo is None:
        raise RequestError("The time at which the heat went on is not a time.", "")
    return f"heat on at {moment.isoformat(timespec='seconds')}"


def _hold_up(told: Mapping[str, Any]) -> str:
    given = told.get("volume")
    if not given:
        return f"condenser holds back: {NOTHING}"
    quantities.volume_l(given)  # refused before it is on disk
    return f"condenser holds back: {said(given)}"


def _pool(told: Mapping[str, Any]) -> str:
    return f"jars pooled: {format_numbers(jar_numbers(told.get('jars')))}"


def jar_numbers(given: object) -> tuple[int, ...]:
    """Return numbers of jars as a browser sends them."""
    if not isinstance(given, list) or not all(type(n) is int and 0 < n <= 500 for n in given):
        raise RequestError("The jars are not a list of numbers.", "")
    if not given:
        raise RequestError("No jar is chosen.", "Choose at least one.")
    return tuple(sorted(set(given)))


def _verdict(told: Mapping[str, Any]) -> str:
    words = said(told["words"]) if told.get("words") else ""
    note = Note(said(told.get("botanical")), told.get("verdict") or None, words)
    return f"verdict of {note.botanical}: {note.verdict or 'none'}" + (f"; {words}" if words else "")


def _note(told: Mapping[str, Any]) -> str:
    words = said(told.get("words"))
    if any(kind.fullmatch(words) for kind in OWN):
        raise RequestError("The note reads like a line that this page writes itself.", "Say it otherwise.")
    return words


def _entry(told: Mapping[str, Any]) -> Entry:
    if not any(told.get(name) for name in MEASURED):
        raise RequestError("The reading is empty.", 'Enter for example "71 %" as strength.')
    fields: dict[str, Any] = {}
    minute = told.get("elapsed_min")
    if isinstance(minute, (int, float)) and not isinstance(minute, bool):
        fields["elapsed_min"] = round(float(minute), 2)
    for name in (*MEASURED, *BESIDE):
        if told.get(name):
            fields |= column(name).quantity.read(str(told[name]))
    if told.get("words"):
        fields["words"] = said(told["words"])
    return Entry.from_dict(fields)


def _jar(told: Mapping[str, Any]) -> FilledJar:
    number, volume = told.get("number"), told.get("volume")
    if type(number) is not int:
        raise RequestError("The jar has no number.", "")
    word = said(told["word"]) if told.get("word") else ""
    return FilledJar(number, quantities.volume_l(volume) if volume else None, word)


def said(given: object) -> str:
    """Return what a person noted, on one line."""
    if not isinstance(given, str) or not given.strip():
        raise RequestError("The note is empty.", "Write a word or two.")
    if len(given) > LONGEST_WORDS:
        raise RequestError(f"The note has {len(given)} characters; allowed: {LONGEST_WORDS}.", "Say less.")
    return " ".join(given.split())
