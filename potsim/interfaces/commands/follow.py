"""``potsim follow`` and ``potsim page``: readings in, the rest of the run out."""

from __future__ import annotations

import argparse
import functools
import io
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from potsim.errors import PotsimError, RequestError
from potsim.interfaces import output, quantities
from potsim.interfaces.cli import FORCE, JSON, PICTURES, Command, argument
from potsim.interfaces.planfile import the_plan, the_plan_file
from potsim.interfaces.quantities import short
from potsim.interfaces.wording import counted, in_units, units_of

if TYPE_CHECKING:
    from potsim.planning.events import Taste
    from potsim.planning.forecast import Follower, Forecast
    from potsim.planning.journal import Journal
    from potsim.planning.notes import Note
    from potsim.planning.plan import Plan
    from potsim.planning.readings import Reading
    from potsim.planning.run import Run


def run(args: argparse.Namespace) -> None:
    """Learn the still from readings, and forecast the rest of the run."""
    _check(args)
    plan_file = the_plan_file(args.plan)
    assert plan_file is not None
    picture = None if args.plot is None else output.target(args.plot, force=args.force, suffixes=PICTURES)
    # A still that is remembered already is refined, not replaced.
    still = (
        None if args.save_still is None else output.target(args.save_still, force=True, suffixes=("toml",))
    )
    output.check_apart([t for t in (picture, still) if t is not None], plan_file)
    plan = the_plan(args.plan)
    from potsim.planning.run import distil  # start-up: --help loads nothing heavy

    made = distil(plan)
    if args.enter:
        with in_units(units_of(plan)):
            return _enter(args, plan_file, made, args.hold_up)
    readings, notes = _readings(Path(args.readings), plan_file, plan, made, args.hydrometer)
    from potsim.interfaces.report.underway import text_of_forecast
    from potsim.planning.forecast import follow
    from potsim.planning.notes import plain_notes, sentences

    forecast = follow(made, readings, args.hold_up)
    results, words = _files(forecast, picture, still)
    output.write_all(results)
    output.emit(
        args,
        lambda: {**forecast.to_dict(), "notes": plain_notes(notes)},
        lambda: text_of_forecast(forecast, sentences(notes)),
        more=words,
        units=units_of(plan),
    )


def _check(args: argparse.Namespace) -> None:
    """Refuse what does not go together."""
    if args.enter:
        others = {"READINGS": args.readings, "--plot": args.plot, "--save-still": args.save_still}
        given = [name for name, value in others.items() if value is not None] + ["--json"] * args.json
        if given:
            raise RequestError.of("exclude", "potsim follow", given=given[0], other="--enter", of="enter")
        return
    if args.journal is not None:
        raise RequestError.of("goes_with", "--journal", other="--enter")
    if args.readings is None:
        raise RequestError.of("argument_missing", "potsim follow", given="READINGS", of="readings")
    if not args.readings.strip() or "\0" in args.readings:
        raise RequestError.of("empty_name", "READINGS", given=args.readings)


def _enter(args: argparse.Namespace, plan_file: Path, made: Run, held: float | None) -> None:
    from potsim.interfaces.tomlfile import read_file
    from potsim.planning.forecast import Follower
    from potsim.planning.journal import Journal
    from potsim.planning.notes import sentences

    check_input()
    path = Path(args.journal) if args.journal is not None else plan_file.with_suffix(".readings.jsonl")
    follower = Follower(made, held)
    text = read_file(plan_file)
    begun = path.exists() and path.stat().st_size > 0
    if begun and _same_plan(Journal.read(path).plan_text, made.plan, plan_file):
        text = Journal.read(path).plan_text  # what came of the run may stand in the file by now
    with Journal.open(path, text, **_of_run(made)) as journal:
        output.words(f"Readings are saved in '{path}', each at once.")
        if journal.readings:
            output.words(f"Going on after {counted(len(journal.readings), 'reading')}.")
        for sentence in sentences(left_out(journal)):
            output.words(sentence)
        enter(follower, journal, args.hydrometer)


def _readings(
    path: Path, plan_file: Path, plan: Plan, made: Run, hydrometer_c: float | None
) -> tuple[tuple[Reading, ...], tuple[Note, ...]]:
    """Read a table, or a journal, which begins with a brace."""
    from potsim.interfaces.readingsfile import load_readings

    if _is_journal(path):
        from potsim.planning.journal import Journal
        from potsim.planning.notes import caution

        journal = Journal.read(path, **_of_run(made))
        other = not _same_plan(journal.plan_text, plan, plan_file)
        changed = (caution("plan_changed"),) if other else ()
        return journal.readings, (*left_out(journal), *changed)
    still = made.setting.still
    read_table = load_readings(
        path,
        pressure_pa=still.conditions.pressure_pa,
        parrot_l=still.parrot_l,
        hydrometer_c=hydrometer_c,
        fits=_of_run(made)["fits"],
    )
    return read_table.readings, read_table.notes


def _of_run(made: Run) -> dict[str, Any]:
    """What a journal needs to know of its run."""
    from potsim.planning.learnt import check_reading

    still = made.setting.still
    return {
        "pressure_pa": still.conditions.pressure_pa,
        "parrot_l": still.parrot_l,
        "fits": functools.partial(check_reading, made),
    }


def _same_plan(begun_with: str, plan: Plan, plan_file: Path) -> bool:
    """Whether the plan of a journal is that of the file, whatever came of the run."""
    from potsim.interfaces.planfile import read_plan

    try:
        return read_plan(begun_with, plan_file.name, plan_file.parent) == plan
    except PotsimError:
        return False


def left_out(journal: Journal) -> tuple[Note, ...]:
    """Return which lines of a journal cannot be read, and which readings cannot be of its run."""
    from potsim.planning.notes import caution

    kinds = {True: "line_torn", False: "line_unreadable"}
    damaged = (caution(kinds[one.torn], line=one.line, given=one.text) for one in journal.damaged)
    numbers = {record.id: number for number, record in enumerate(journal.numbered, start=1)}
    aside = (
        caution("reading_aside", number=numbers[record.id], why=str(error)) for record, error in journal.aside
    )
    return (*damaged, *aside)


def _is_journal(path: Path) -> bool:
    """Whether it begins with a brace; a pipe, which can be read once only, is taken for a table."""
    if not path.is_file():
        return False
    try:
        with path.open("rb") as file:
            return file.read(1) == b"{"
    except OSError:
        return False


def _files(
    forecast: Forecast, picture: output.Target | None, still: output.Target | None
) -> tuple[list[tuple[output.Target, str | bytes]], list[str]]:
    """What is to be written, and what is to be said of it."""
    results: list[tuple[output.Target, str | bytes]] = []
    words: list[str] = []
    if picture is not None:
        from potsim.interfaces.plots.others import figure_of_follow
        from potsim.interfaces.report.sheet import saved

        results.append((picture, saved(figure_of_follow(forecast), picture.suffix)))
        words.append(f"Written: {picture.name}")
    if still is not None:
        from potsim.interfaces.ownfile import read_still, still_text
        from potsim.planning.learnt import learn, mark_of
        from potsim.planning.notes import sentences

        before = read_still(still.path) if still.path.exists() else None
        learnt = learn(forecast.fit, mark_of(forecast.run.plan.title, forecast.readings), before)
        results.append((still, still_text(learnt, Path(still.name).name)))
        done = "Written" if before is None else "As it was" if learnt.runs == before.runs else "Refined"
        words.append(f"{done}: {still.name}")
        words += sentences(learnt.notes)
        own = forecast.run.plan.still
        if own.neck_loss_w_per_k is not None or own.heat_share is not None:
            words.append("Take neck_loss and heat_share out of the plan's [still], where they count first.")
    return results, words


# --- Readings typed one by one at the still: each on disk before the answer to it.


READINGS = (
    ("jar 60 mL 70 %", "a jar just filled, and its strength as a whole"),
    ("pooled 180 mL 74 %", "all so far poured together, and its strength"),
    ("220 mL, parrot 60 mL 71 %", "a strength read in a parrot that holds 60 mL"),
    ("240 mL, power 500 W", "power from here on"),
    ("330 mL, hazy", "the stream turned hazy"),
)
WORDS = (
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
        *(f"  {typed:<25}  {what}" for typed, what in (*READINGS, *WORDS)),
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
    from potsim.interfaces.readingsfile import HAZY, entry_of, read_entry_fields
    from potsim.interfaces.report.underway import text_of_forecast
    from potsim.planning.events import Heat, Read, Remark, Undo

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
    from potsim.planning.events import Taste

    found = re.fullmatch(r"(?:jar )?(\d{1,3})[ ,:]+(.+)", text.strip())
    if not found:
        raise RequestError.of("no_jar_word", given=short(text))
    return Taste(int(found[1]), found[2])


def _say(follower: Follower, journal: Journal) -> None:
    """Answer in few lines: what to do, what is now, what is odd."""
    from potsim.interfaces.report import render
    from potsim.interfaces.report.underway import now_section
    from potsim.planning.notes import sentences

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


FOLLOW = Command(
    name="follow",
    description="""\
Learn this still from the readings so far, and forecast the rest of the run.
READINGS is a table in text: a header line that names the columns (time,
collected, mass, jar volume, strength, read at, vapour, pot, power, of, parrot,
hazy), then a line for each reading; blanks are allowed, units stand in the
header or in the cells. "of" says what the strength was read of: stream (if left
out), jar, parrot, or pooled for all so far poured together. Or a journal that
--enter has kept.""",
    examples=(
        "potsim follow trial-1.toml readings.csv",
        "potsim follow trial-1.toml readings.csv --plot now.svg --save-still still.toml",
        "potsim follow trial-1.toml --enter",
    ),
    arguments=(
        argument("plan", metavar="PLAN", help="plan file of the run"),
        argument("readings", metavar="READINGS", nargs="?", help="table or journal of readings"),
        argument("--enter", action="store_true", help="type readings one by one, each saved at once"),
        argument("--journal", metavar="FILE", help="where --enter saves (PLAN.readings.jsonl)"),
        argument(
            "--hold-up",
            metavar="VOLUME",
            type=quantities.volume_l,
            help='what the condenser holds back, such as "20 mL"',
        ),
        argument(
            "--hydrometer",
            metavar="T",
            type=quantities.temperature_c,
            help="temperature it is made for (20 °C; 60 °F for readings in proof)",
        ),
        JSON,
        argument("--plot", metavar="FILE", help="draw readings and forecast: .svg, .png or .pdf"),
        argument("--save-still", metavar="FILE", help="remember the losses for later plans: .toml"),
        FORCE,
    ),
    run=run,
)
# --- The same at a page in a browser.


def page(args: argparse.Namespace) -> None:
    """Serve the page until it is stopped."""
    from potsim.interfaces.page.app import LOOPBACK, Wish, serve  # start-up: --help loads nothing heavy

    data = Path(args.data).expanduser() if args.data else Path.home() / "potsim-runs"
    wish = Wish(data, args.host or LOOPBACK, args.port, browser=not args.no_browser)
    serve(wish, _at_once, output.words)


def _at_once(text: str) -> None:
    """Print the address now: the command goes on running."""
    output.result(text)
    output.finish()


def _port(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and 1 <= int(text[:6]) <= 65535):
        raise RequestError.of("no_port", given=text, allowed=[1, 65535])
    return int(text)


PAGE = Command(
    name="page",
    description="""\
Serve a web page on this machine and open it in the browser. Plans, runs and
stills are kept in a folder of their own as files that the other commands read;
what is told of a run is on disk at once. Only this machine can reach the page,
until it is opened to a phone on the page itself, or by --host; then a square to
scan, or a printed code, lets each browser in.""",
    examples=(
        "potsim page",
        "potsim page --no-browser --port 8080 --data my-runs",
        "potsim page --host 0.0.0.0",
    ),
    arguments=(
        argument(
            "--data", metavar="DIR", help="folder for all that is kept (default: potsim-runs in your home)"
        ),
        argument("--host", metavar="ADDRESS", help="serve the home network too, such as 0.0.0.0"),
        argument("--port", metavar="N", type=_port, help="port (default: 8437, or any that is free)"),
        argument("--no-browser", action="store_true", help="do not open a browser"),
    ),
    run=page,
)
COMMANDS = (FOLLOW, PAGE)
