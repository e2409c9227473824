"""The card: one screen that answers a run, in the order in which the answers are needed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from potsim.interfaces import output
from potsim.interfaces.report import wrapped
from potsim.interfaces.report.flavours import bottle_words, watch_words
from potsim.interfaces.report.words import CHOSEN, minute, waits, words
from potsim.interfaces.wording import (
    as_planned,
    briefly,
    counted,
    format_numbers,
    metric,
    pieces_of,
    say,
)
from potsim.planning.botanicals import Choice, ResolvedDose
from potsim.planning.jars import Emptied
from potsim.planning.notes import EVERY_RUN, Note
from potsim.planning.release import BotanicalFlavour
from potsim.planning.run import Run
from potsim.planning.sweep import CLASSES, Card, Neighbour, Strongest, card

WIDTH, MOST_LINES, LABEL = 80, 30, 11
DANGER = "DANGER"  # stands first
FULLNESS = (
    (6, 2),
    (4, 2),
    (3, 1),
    (2, 1),
    (2, 0),
    (1, 0),
)  # botanicals named on a line, and cautions: the first that fits
MOST_GUESSED = 5
MOST_SMALLER = 2  # botanicals told of smaller heads
WEIGHTY_IN_HEADS = 0.25  # of what comes over of a botanical, from which on the heads are told to take it
ALWAYS = "Follow local law. Ventilate; no flame. Cooling on first, outlet open, and somebody stays with it."
GUESSES = {
    "assumed_capacity": "the pot's size",
    "assumed_power": "power",
    "assumed_heat_share": "how much heat arrives",
    "assumed_all_heat": "that all heat arrives",
    "assumed_element": "an element (min_level)",
    "assumed_loss": "losses",
    "assumed_stop": "the stop",
    "assumed_no_heads": "no heads",
    "assumed_min_level": "no least level",
    "assumed_pressure": "sea level",
    "assumed_room": "the room",
    "assumed_pot_mass": "metal not heated",
    "assumed_pot_mass_by_size": "the pot's mass",
}
"""What was guessed, each in few words; what moves the answer most stands first."""


@as_planned
def text_of_card(run: Run, width: int | None = None) -> str:
    """Return the card of a run, at most 30 lines of 80 columns; a narrower terminal wraps it."""
    return "\n".join(lines_of_card(card(run), output.columns() if width is None else width))


def lines_of_card(of: Card, width: int = WIDTH) -> list[str]:
    """Return the card as lines: the title, then label and answer; a narrow terminal wraps it."""
    lines = wrapped(of.run.plan.title, width)
    for label, text in facts(of):
        head = f"  {label:<{LABEL}}"
        lines += wrapped(text, width, head, " " * len(head))
    return lines


def facts(of: Card, more: str = "--full") -> list[tuple[str, str]]:
    """Return label and answer in order, as full as a screen holds; what a run does not have is left out.

    ``more`` is where the rest is told; empty where it stands below, so that dangers alone are said here too.
    """
    for most_named, most_cautions in FULLNESS:
        found = _facts(of, most_named, most_cautions, more)
        if sum(len(wrapped(text, WIDTH - LABEL - 2)) for _, text in found) < MOST_LINES:
            break
    return found


def _facts(of: Card, most: int, most_cautions: int, more: str) -> list[tuple[str, str]]:
    run = of.run
    heed = _heed(run.notes, most_cautions, more)
    rows = [
        *(row for row in heed if row[0] == DANGER),
        ("pot", _pot(run)),
        ("stop", _stop(of)),
        ("plate", _plate(run)),
        ("heads", _heads(run, most)),
        *_keep(run),
        ("jars", _jars(run)) if run.emptied is None else ("jar", _emptied(run, run.emptied)),
        *((klass, _together(of.comes[klass], most)) for klass in CLASSES),
        ("noticed", _noticed(of, most)),
        *_cloud(run),
        ("charge", _neighbours(of)),
        *(row for row in heed if row[0] != DANGER),
        ("counted", _few([_counted(line) for line in run.bill if line.dose.pieces], most)),
        ("taken", _few([_taken(line.choice) for line in run.bill if line.choice is not None], most)),
        *([("guessed", _guessed(run.notes, more)), ("always", ALWAYS)] if more else []),
    ]
    return [(label, text) for label, text in rows if text]


def _spirit(volume_l: float, abv: float) -> str:
    return f"{say('volume', volume_l)} at {say('abv', abv)}"


def _pot(run: Run) -> str:
    still, charge = run.setting.still, run.charge
    of = f", {briefly('volume', charge.ethanol_l)} of alcohol" if charge.ethanol_l > 0.0 else ""
    power = say("power", still.on_plate_w(still.conditions.power_w))
    return (
        f"{_spirit(charge.volume_l, charge.abv)}{of}, in {say('volume', still.capacity_l)} at {power}; "
        f"first drop at {minute(run.first_drop_min)}"
    )


def _stop(of: Card) -> str:
    run, stop = of.run, of.run.stop
    loud = "" if of.asked else f"NOT WHERE THE PLAN ASKS, once {_asked(run)}: "
    there = {
        "stream_abv": f"stream {say('abv', stop.stream_abv)}",
        "parrot_abv": "" if stop.parrot_abv is None else f"parrot {say('abv', stop.parrot_abv)}",
        "vapour_c": f"vapour {say('temperature', stop.vapour_c)}",
    }
    there.pop(run.end.reason, None)  # said by why it ends
    return (
        f"{loud}at {say('volume_exact', stop.collected_l)}, {minute(stop.elapsed_min)}: "
        f"{run.end.words}; "
        f"{', '.join(filter(None, there.values()))}"
    )


def _asked(run: Run) -> str:
    """What the plan waits for in vain; of a haze that does not come, what to do instead."""
    named = dict(run.plan.cuts.stop.named)
    over = named.pop("over", {})
    told = [waits(key, {"value": value}) for key, value in named.items()]
    told += [waits("over", {"botanical": name, "value": share}) for name, share in over.items()]
    stream = None if run.cloud is None else run.cloud.stream
    if "cloudy" not in named:
        return " or ".join(told)
    may = "it stays clear"
    if stream is not None and stream.possible_l is not None:
        likely = "" if stream.middle_l is None else f", likely from {say('volume', stream.middle_l)}"
        may = f"it may from {say('volume', stream.possible_l)}{likely or ', but likely does not'}"
    return f"{' or '.join(told)} ({may}; stop by its strength instead)"


def _plate(run: Run) -> str:
    off = run.turn_off
    if off is None:
        return ""
    low, high = say("volume_exact", off.low_l), say("volume_exact", off.high_l)
    return (
        f"off at {say('volume_exact', off.collected_l)} ({low} to {high}): it goes on by itself to the stop"
    )


def _heads(run: Run, most: int) -> str:
    if run.setting.heads_l == 0.0:
        return ""
    first = run.jars[0]
    taken = [
        f"{one.botanical} {say('share', one.in_heads / one.gives_up.value)}"
        for one in run.flavours
        if one.gives_up.value > 0.0 and one.in_heads / one.gives_up.value > WEIGHTY_IN_HEADS
    ]
    smaller = ""
    if fewer := [note for note in run.notes if note.kind == "heads_take"]:
        less = [f"{note.subject} {say('share', note.values['smaller_share'])}" for note in fewer]
        half = briefly("volume", fewer[0].values["smaller_l"])
        smaller = f"; {half} takes {', '.join(less[:MOST_SMALLER])}"
    share = first.ethanol_l / run.charge.ethanol_l if run.charge.ethanol_l > 0.0 else 0.0
    with_it = f" and, of what comes over, {_few(taken, most, ', ')}{smaller}" if taken else ""
    return f"{say('volume', run.setting.heads_l)}, {say('share', share)} of the alcohol{with_it}"


def _keep(run: Run) -> list[tuple[str, str]]:
    keep, made = run.keep, run.proofing
    if run.charge.ethanol_mol == 0.0:
        return []
    tails = run.points.keep_end < run.points.end
    done = f", done at {minute(run.kept_min)}" if tails else ""
    of = ", all in one vessel" if run.in_one_vessel else f", jars {format_numbers(keep.jars)}"
    of = of if run.emptied is None else ""
    rows = [("keep", f"{_spirit(keep.volume_l, keep.abv)}{of}{done}")]
    if made is not None:
        bottles = ""
        if made.bottles is not None and made.bottle_l is not None:
            bottles = f", {counted(made.bottles, 'bottle')} of {metric('volume', made.bottle_l)}"
        water = f"{say('volume', made.water_l)} or {say('mass_about', 1000.0 * made.water_kg)}"
        rows.append(("water", f"{water}: makes {_spirit(made.volume_l, made.target_abv)}{bottles}"))
    return rows


def _jars(run: Run) -> str:
    if run.in_one_vessel:
        return ""
    sizes: dict[float, int] = {}
    for jar in run.jars:
        sizes[jar.size_l] = sizes.get(jar.size_l, 0) + 1
    row = ", ".join(f"{count} x {metric('volume', size)}" for size, count in sizes.items())
    stake = run.row.at_stake
    bad = (
        "" if stake is None else f"; one bad jar costs up to {say('share', stake.share)} (jar {stake.number})"
    )
    few = next((note.values for note in run.notes if note.kind == "jars_too_few"), None)
    loud = ""
    if few is not None:
        over = _spirit(few["left_over_l"], few["left_over_abv"])
        loud = f"NO JAR for {over}, from {say('volume', few['full_l'])} on: have more or larger ones; "
    return f"{loud}{row}{bad}"


def _emptied(run: Run, jar: Emptied) -> str:
    """The working jar: how often it is emptied, what each time is at risk, when to taste."""
    every, slow = say("minutes_short", jar.every_min), say("minutes_short", jar.slowest_min)
    pace = every if every == slow else f"{every} to {slow}"
    at_risk = "; ".join(
        f"{say('minutes_short', minutes)} away costs up to {say('volume', lost)}, "
        f"{say('share', share)} of the keep"
        for minutes, lost, share in jar.away
    )
    faded_l = run.faded_l if run.faded_l is not None and run.faded_l < run.stop.collected_l else None
    fades = "" if faded_l is None else f", with care from {say('volume', faded_l)} on"
    return (
        f"{say('volume', jar.size_l)}, emptied {counted(jar.times, 'time')}, full in {pace}; at each "
        f"emptying {at_risk}; taste before each{fades}"
    )


def _named(botanicals: Iterable[BotanicalFlavour], most: int) -> str:
    return _few([one.botanical for one in botanicals], most, ", ")


def _together(botanicals: Iterable[BotanicalFlavour], most: int) -> str:
    """Name all that fit on a line, or else so many."""
    each = list(botanicals)
    every = _named(each, len(each))
    return every if len(every) <= WIDTH - LABEL - 2 else _named(each, most)


def _few(said: Sequence[str], most: int, between: str = "; ") -> str:
    """Say at most so many, and how many more there are."""
    more = len(said) - most
    return between.join(said[:most]) + (f" and {more} more" if more > 0 else "")


def _counted(line: ResolvedDose) -> str:
    """What was counted, and the grams that stand for it."""
    one = line.botanical.piece_counted(line.dose.counted)
    piece = "piece" if one is None else one.name
    count, grams = pieces_of(line.dose.pieces or 0.0, piece), say("mass", line.wet_mass_g)
    return f"{line.botanical.common_name} {count}, {grams}"


def _taken(choice: Choice) -> str:
    """Which of several botanicals a name was taken for."""
    others = " or ".join(f"'{other}'" for other in choice.others[:2])
    return f"{choice.name} as {choice.taken}, {CHOSEN[choice.by]} (else write {others})"


def _noticed(of: Card, most: int) -> str:
    told = [("{} leads", "leads"), ("clear: {}", "clear"), ("a hint: {}", "hint")]
    said = [words_.format(_named(of.noticed[how], most)) for words_, how in told if of.noticed[how]]
    if of.noticed["lost"]:
        said.append(f"not missed if left out: {_named(of.noticed['lost'], most)}")
    if of.run.faded_l is not None and of.run.faded_l < of.run.stop.collected_l:
        said.append(f"fades from {say('volume', of.run.faded_l)} on")
    return "; ".join(said)


def _neighbours(of: Card) -> str:
    said = []
    for one, how in zip(of.neighbours, ("weaker", "stronger"), strict=True):
        if isinstance(one, Neighbour):
            keep = f"{briefly('volume', one.keep_l)} at {briefly('abv', one.keep_abv)}"
            charge = briefly("abv_about", one.charge_abv)
            said.append(f"at {charge} {keep} of keep in {say('minutes', one.elapsed_min)}")
        elif isinstance(one, Strongest):
            said.append(f"{how} than {say('abv_about', one.charge_abv)} takes stronger spirit")
    return "; ".join(said)


def _heed(notes: Iterable[Note], most: int, where: str) -> list[tuple[str, str]]:
    said = (EVERY_RUN, "heads_take", "jars_too_few")  # heads and jars tell theirs
    own = [note for note in notes if note.kind not in said]
    dangers = [note for note in own if note.severity == "danger"]
    cautions = [note for note in own if note.severity == "caution"]
    rows = [(DANGER, words(note)) for note in dangers]
    if not where:
        return rows
    rows += [("take care", words(note)) for note in cautions[:most]]
    more = len(cautions) - most
    label, also = ("", "and ") if rows else ("take care", "")
    what = "more" if rows else "cautions"
    return [*rows, *([(label, f"{also}{more} {what}: {where}")] if more > 0 else [])]


def _guessed(notes: Iterable[Note], more: str) -> str:
    kinds = {note.kind for note in notes}
    named = [short for kind, short in GUESSES.items() if kind in kinds]
    return f"{', '.join(named[:MOST_GUESSED])} (all: {more})" if named else ""


def _cloud(run: Run) -> list[tuple[str, str]]:
    """Bottle, and stream where it may turn before the stop."""
    found = run.cloud
    if found is None or found.never:
        return []
    watch = "" if found.stream is None or found.clear_stream else watch_words(found.stream, 0.0, None)
    rows = [("stream", f"may turn hazy: {watch}")] if watch else []
    return [*rows, ("bottle", bottle_words(found))]
