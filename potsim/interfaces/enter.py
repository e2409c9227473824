"""Readings typed one by one at the still: each on disk before the answer to it."""

from __future__ import annotations

import io
import re
import sys

from potsim.errors import PotsimError, RequestError
from potsim.interfaces import output, quantities
from potsim.interfaces.quantities import short
from potsim.interfaces.readingsfile import HAZY, entry_of, read_entry_fields
from potsim.interfaces.report import render
from potsim.interfaces.report.underway import now_section, text_of_forecast
from potsim.planning.events import Heat, Read, Remark, Taste, Undo
from potsim.planning.forecast import Follower
from potsim.planning.journal import Journal
from potsim.planning.notes import sentences

READINGS = (
    ("jar 60 mL 70 %", "a jar just filled, and its strength as a whole"),
    ("pooled 180 mL 74 %", "all so far poured together, and its strength"),
    ("220 mL, parrot 60 mL 71 %", "a strength read in a parrot that holds 60 mL"),
    ("240 mL, power 500 W", "power from here on"),
    ("330 mL, hazy", "the stream turned hazy"),
)
COMMANDS = (
    ("taste 3 green apple", "a word on jar 3"),
    ("note ...", "something that happened"),
    ("heat on", "a reading without a time then takes it from the clock"),
    ("heat off", "the run is over, but for what drips on"),
    ("all", "everything known by now"),
    ("strike 4", "take reading 4 back"),
    ("end", "leave, when the run is over or before; the same command goes on"),
)
HELP = "\n".join(
    [
        "Type what you read, with commas between:  42 min, 220 mL, 71 % at 24 °C, vapour 84.5 °C",
        *(f"  {typed:<25}  {what}" for typed, what in (*READINGS, *COMMANDS)),
    ]
)
END, STRIKE = ("end", "quit", "exit", "q"), ("strike", "undo", "delete", "remove")


def enter(follower: Follower, journal: Journal, hydrometer_c: float | None = None) -> None:
    """Take readings line by line until the end of input or ``end``.

    A line that cannot be is refused and asked for again; all before it is on disk.
    """
    check_input()
    output.words(HELP)
    _say(follower, journal)
    while True:
        _ask(f"{len(journal.numbered) + 1}> ")
        line = sys.stdin.readline()
        if not line or line.strip().lower() in END:
            return
        if not line.strip():
            continue
        try:
            _take(line.strip(), follower, journal, hydrometer_c)
        except PotsimError as error:
            output.words(f"Not taken: {error.message}")
            if error.hint:
                output.words(f"hint: {error.hint}")


def check_input() -> None:
    """Refuse a standard input from which nothing can be typed; a byte that is no text is shown as such."""
    if sys.stdin is None:
        raise RequestError.of("nothing_to_type_at", "--enter")
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")


def _ask(prompt: str) -> None:
    """Show that a line is waited for, to a person."""
    if sys.stdin.isatty() and sys.stderr is not None:
        sys.stderr.write(prompt)
        sys.stderr.flush()


def _take(line: str, follower: Follower, journal: Journal, hydrometer_c: float | None) -> None:
    """Put one line on disk, and answer it."""
    word, _, rest = line.partition(" ")
    command = word.lower()
    if command in {"help", "?"}:
        output.words(HELP)
    elif command == "all" and not rest:
        output.result(text_of_forecast(follower.update(journal.readings)))
        output.finish()
    elif command == "taste":
        journal.append(_tasted(rest))
        output.words("Saved.")
    elif line.lower().split() in (["heat", "on"], ["heat", "off"]):
        journal.append(Heat(line.lower().endswith("on")))
        output.words("Saved.")
    elif command == "note":
        journal.append(Remark(rest.strip()))
        output.words("Saved.")
    elif command in STRIKE:
        if not rest:
            raise RequestError.of("which_reading", given=short(line), last=len(journal.numbered))
        number = int(quantities.count(rest, "the number of a reading", whole=True))
        journal.append(Undo(_numbered(journal, number)))
        output.words(f"Reading {number} is taken back.")
        _say(follower, journal)
    elif not (any(letter.isdigit() for letter in line) or command in HAZY):
        raise RequestError.of("not_a_reading", given=short(line))
    else:
        entry = entry_of(read_entry_fields(line), hydrometer_c)
        jar = 1 + max((one.number for one in journal.jars), default=0) if entry.of == "jar" else None
        reading = journal.reading_of(journal.append(Read(entry, jar)).record.id)
        assert reading is not None
        corrected = "" if reading.abv is None else f", {reading.abv:.1f} % vol at 20 °C"
        output.words(f"Saved: reading {reading.number}{corrected}.")
        _say(follower, journal)


def _numbered(journal: Journal, number: int) -> str:
    """The event that a reading came from, by the number of the reading."""
    told = journal.numbered
    if not 1 <= number <= len(told):
        raise RequestError.of("no_such_number", given=number, allowed=len(told))
    return told[number - 1].id


def _tasted(text: str) -> Taste:
    found = re.fullmatch(r"(?:jar )?(\d{1,3})[ ,:]+(.+)", text.strip())
    if not found:
        raise RequestError.of("no_jar_word", given=short(text))
    return Taste(int(found[1]), found[2])


def _say(follower: Follower, journal: Journal) -> None:
    """Answer in few lines: what to do, what is now, what is odd."""
    try:
        forecast = follower.update(journal.readings)
    except PotsimError as error:
        output.words(f"No forecast: {error.message}")
        output.words("hint: `strike N` takes reading N back.")
        return
    output.result(str(forecast))
    output.result(render([now_section(forecast)]))
    for sentence in sentences(forecast.odd):
        output.result(sentence)
    output.finish()
