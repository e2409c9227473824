"""What a distiller reads of the bottles of a run: spirit added, water, oil, alcohol and money."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

from potsim.errors import RangeError, RequestError
from potsim.interfaces.report.cloud import level
from potsim.interfaces.report.tables import Column, Facts, Part, Points, Section, Table
from potsim.interfaces.report.words import sentences
from potsim.interfaces.wording import (
    at_least,
    column,
    counted,
    exactly,
    format_abv,
    format_mass,
    format_minutes,
    format_numbers,
    format_share,
    format_volume,
    in_column,
    made_for,
    metric,
    number,
    say,
    signed,
    unit_of,
    volumes,
)
from potsim.liquid.strength import Mixture
from potsim.planning import flavours
from potsim.planning.cuts import HeadsCut
from potsim.planning.jars import TOO_SMALL, Emptied, WorkingJar, working_jar
from potsim.planning.proofing import STRETCH, Gauged, Keep, Proofing
from potsim.planning.run import Run
from potsim.records import plain


def bottling_sections(run: Run) -> tuple[Section, ...]:
    """Return how the keep becomes what is bottled."""
    made = run.proofing
    if made is None:
        return ()
    section = proofing_section(made)
    facts, *rest = section.parts
    if not isinstance(facts, Facts):
        raise TypeError("A proofing begins with its facts.")
    pairs = (*_stretched(run), *facts.pairs[1:], *_oil(run))
    return (Section(section.title, (Facts(pairs), *rest)),)


def costs_sections(run: Run) -> tuple[Section, ...]:
    """Return where the alcohol went and, where the plan says prices, what a bottle comes to."""
    found = run.costs
    went = "kept" if run.proofing is None else "bottled"
    stayed = "in heads, tails, jars not kept and the pot"
    share = f", {format_share(found.alcohol_out_l / found.alcohol_in_l)}" if found.alcohol_in_l > 0.0 else ""
    alcohol = (
        ("alcohol in", f"{format_volume(found.alcohol_in_l)} of pure alcohol"),
        ("out", f"{format_volume(found.alcohol_out_l)} {went}{share}"),
        ("left", f"{format_volume(found.alcohol_left_l)} {stayed}"),
    )
    pairs = (*(alcohol if found.alcohol_in_l > 0.0 else ()), *_money(run))
    priced = found.spent is not None or run.plan.bottling.bottle_price is not None
    return (Section("Alcohol and money" if priced else "Alcohol", (Facts(pairs),)),) if pairs else ()


def _money(run: Run) -> list[tuple[str, str]]:
    """What the plan says prices of, in its own money."""
    found, price = run.costs, run.plan.bottling.bottle_price
    pairs = []
    if found.spent is not None:
        pairs.append(("spent", f"{number('money', found.spent)} on the charge"))
        if found.unpriced:
            named = ["the spirit added before bottling" if one == STRETCH else one for one in found.unpriced]
            pairs.append(("not counted", f"{', '.join(named)}: no price is known"))
    if found.bottles and price is not None:
        each, all_of_them = number("money", price), number("money", found.bottles * price)
        empty = f"{found.bottles} empty ones at {each}: {all_of_them}"
        pairs.append(("bottles", empty))
    if found.per_bottle is not None:
        least = "at least " if found.unpriced else ""
        beside = "with the bottle, " if price is not None else ""
        told = f"{least}{number('money', found.per_bottle)}, {beside}without botanicals and heat"
        pairs.append(("a full bottle", told))
    return pairs


def _stretched(run: Run) -> tuple[tuple[str, str], ...]:
    keep, by, both = run.keep, run.plan.bottling.stretch, run.let_down
    kept = ("keep", f"{format_volume(keep.volume_l)} at {format_abv(keep.abv)}")
    if by is None:
        return (kept,)
    return (
        kept,
        ("spirit added", f"{format_volume(by.spirit_l)} at {format_abv(by.abv)}"),
        ("together", f"{format_volume(both.volume_l)} at {format_abv(both.abv)}"),
    )


def _oil(run: Run) -> tuple[tuple[str, str], ...]:
    found = run.cloud
    if found is None or not run.bill:
        return ()
    verdict = "" if found.target_abv is None else f", {level(found.room, found.target_abv)} at this strength"
    return (("oil in it", f"{say('oil', found.oil_mg_per_l)} of the botanicals{verdict}"),)


# --- Heads cuts of other sizes: what they take of the base spirit, and what they cost.


SAFE = (
    "A heads cut does not make bad spirit safe: methanol comes over along with the alcohol from the first "
    "drop to the last, and nothing here knows what else is in a spirit of doubtful making. Charge only "
    "spirit fit to drink."
)
WHAT = "In per cent of what there is in the charge; what is early is soon out, what is late hardly touched:"


def heads_sections(run: Run) -> tuple[Section, ...]:
    """Return the table of heads cuts."""
    found = run.heads
    if not found:
        return ()
    unit, sizes = volumes([cut.heads_l for cut in found])
    lost_unit, lost = volumes([cut.ethanol_l for cut in found])
    columns = (
        Column("heads of", align="left"),
        *(Column(_head(run, cut, size), unit) for cut, size in zip(found, sizes, strict=True)),
    )
    rows = [
        (f"pure alcohol, {lost_unit}", *lost),
        ("the alcohol", *(_percent(cut.ethanol_share) for cut in found)),
        *(
            (one.name, *(_percent(cut.taken[one.compound_id]) for cut in found))
            for one in run.flavours.base
            if one.compound_id in found[0].taken
        ),
    ]
    return (Section("What a heads cut takes, and what it costs", (WHAT, Table(columns, tuple(rows)))),)


def _head(run: Run, cut: HeadsCut, size: str) -> str:
    return f"plan {size}" if cut.heads_l == run.setting.heads_l else size


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f}"


# --- What a distiller reads of the other way of collecting: one small jar, emptied into the keep.


TITLE = "The other way: one small jar, emptied into the keep"
HOW = (
    "Heads apart, then a small jar under the spout: taste it whenever it is full, and pour it into the keep "
    "as long as it is right. At worst the stream turns just after the jar was emptied, the jar is full when "
    "you are called away, and what runs on is lost with it."
)


def found(run: Run, away_min: float, most_share: float) -> WorkingJar | RequestError:
    """Return how large a working jar may be, or why there is none."""
    try:
        points = run.points
        return working_jar(run.course, points.heads, points.keep_end, minutes=away_min, most_lost=most_share)
    except RangeError:
        raise
    except RequestError as error:
        return error


def section(jar: WorkingJar | RequestError, away_min: float, most_share: float) -> Section:
    """Return the working jar in words."""
    if isinstance(jar, RequestError):
        return Section(TITLE, (HOW, f"There is no such jar here. {jar}"))
    times = "once" if jar.emptied == 1 else f"{jar.emptied} times"
    every, away = at_least("minutes_short", jar.every_min), say("minutes_short", away_min)
    pairs = (
        ("asked", f"{away} away may cost at most {format_share(most_share)} of the keep"),
        ("at most", f"{format_volume(jar.largest_l)} may be in it"),
        ("take", f"{format_volume(jar.size_l)}: filled {times}, each in {every} or more"),
        ("at worst", f"{format_volume(jar.lost_l)} are lost, {format_share(jar.lost_share)} of the keep"),
    )
    return Section(TITLE, (HOW, Facts(pairs)))


def emptied_section(run: Run, jar: Emptied) -> Section:
    """Return the working jar of a plan: how often it is emptied, and what is at risk each time."""
    fades = "" if run.faded_l is None else f", with care from {format_volume(run.faded_l)} collected on"
    often = f"{at_least('minutes_short', jar.every_min)} to {say('minutes_short', jar.slowest_min)}"
    pairs = [
        ("jar", f"{format_volume(jar.size_l)}, emptied {counted(jar.times, 'time')}, full in {often}"),
        ("taste", f"after the heads, then before each emptying{fades}"),
        *(
            (
                f"{say('minutes_short', minutes)} away",
                f"costs {format_volume(lost)} at most, {format_share(share)} of the keep",
            )
            for minutes, lost, share in jar.away
        ),
    ]
    return Section("Working jar", (Facts(tuple(pairs)),))


def jar_data(jar: WorkingJar | RequestError, away_min: float, most_share: float) -> dict[str, Any]:
    """Return the working jar as plain data; ``refused`` says why there is none, else it is ``None``."""
    asked: dict[str, Any] = {"away_min": away_min, "most_share": most_share}
    if isinstance(jar, RequestError):
        names = (field.name for field in dataclasses.fields(WorkingJar))
        return {**asked, **dict.fromkeys(names), "refused": str(jar)}
    return {**asked, **plain(jar), "refused": None}


# --- What a distiller reads of jars, keep and proofing.


def jar_section(run: Run) -> Section:
    """Return the row of jars, in the order of the run."""
    jars = run.jars
    spirit = run.charge.ethanol_mol > 0.0
    unit, held = volumes([jar.volume_l for jar in jars])
    to_unit, to = volumes([jar.to_l for jar in jars])
    (mass_unit, grams), kept = column("mass_column", [jar.mass_g for jar in jars]), set(run.keep.jars)
    rows: list[tuple[str, ...]] = [
        (
            str(jar.number),
            "keep" if jar.number in kept else jar.role if jar.role != "keep" else "left out",
            metric("volume", jar.size_l),
            held[k],
            grams[k],
            to[k],
            in_column(jar.abv),
            in_column(jar.end_abv),
            number("temperature", jar.vapour_c),
            number("minutes", jar.full_min),
        )
        for k, jar in enumerate(jars)
    ]
    columns: tuple[Column, ...] = (
        Column("jar"),
        Column("for", align="left"),
        Column("size"),
        Column("holds", unit),
        Column("mass", mass_unit),
        Column("until", to_unit),
        Column("jar", unit_of("abv_column")),
        Column("stream", unit_of("abv_column")),
        Column("vapour", unit_of("temperature")),
        Column("at", "min"),
    )
    told = "until, stream, vapour, at: all collected, the stream and the minute when the jar is taken away"
    if not spirit:
        told = told.replace("stream, vapour", "vapour", 1).replace("the stream", "the vapour", 1)
    if run.bill:
        columns = (*columns, Column("oil", "mg/L"))
        rows = [(*row, f"{mg:.0f}") for row, mg in zip(rows, flavours.jars_mg_per_l(run), strict=True)]
        told += "; oil: of the botanicals, in the jar; lots differ by a factor of two and more"
    table = Table(columns, tuple(rows))
    if not spirit:
        table = table.without_unit(unit_of("abv_column"))
    parts: list[Part] = [table, f"{told}."]
    notes = jar_notes(run)
    if notes:
        parts.append(Points(notes))
    return Section("Jars", tuple(parts))


def jar_notes(run: Run) -> tuple[str, ...]:
    """Return what is to be heeded of the jars; nothing of hydrometers where there is no spirit."""
    spirit = run.charge.ethanol_mol > 0.0
    return sentences(note for note in run.row.notes if spirit or note.kind != TOO_SMALL)


def keep_section(run: Run) -> Section:
    """Return what is pooled, and what the jars at its edges would change."""
    keep, stake = run.keep, run.row.at_stake
    pairs = [
        ("jars", format_numbers(keep.jars)),
        ("volume", f"{_spirit(keep.volume_l, keep.abv)}, {format_mass(keep.mass_g)}"),
        *([("pure alcohol", format_volume(keep.ethanol_l))] if keep.abv > 0.0 else []),
        *([("oil", f"{say('oil', flavours.keep_mg_per_l(run))}, of the botanicals")] if run.bill else []),
        *_edges(keep),
    ]
    as_cut = [jar.number for jar in run.jars if jar.role == "keep"] == list(keep.jars)
    if stake is not None and keep.abv > 0.0 and as_cut and len(keep.jars) > 1:
        share = say("share_about", stake.share)
        pairs.append(("one bad jar", f"costs at most {share} of the alcohol kept (jar {stake.number})"))
    return Section("Keep", (Facts(tuple(pairs)),))


def _spirit(volume_l: float, abv: float) -> str:
    return format_volume(volume_l) + (f" at {format_abv(abv)}" if abv > 0.0 else "")


def _edges(keep: Keep) -> list[tuple[str, str]]:
    """What the first and last jar kept, and their neighbours, would change."""
    first, last = keep.jars[0], keep.jars[-1]
    at_edge = dict.fromkeys((first - 1, first, last, last + 1))
    changes = {change.number: change for change in keep.changes}
    return [
        (
            f"{'without' if changes[n].kept else 'with'} jar {n}",
            _spirit(keep.volume_l + changes[n].volume_l, keep.abv + changes[n].abv),
        )
        for n in at_edge
        if n in changes
    ]


def proofing_section(made: Proofing) -> Section:
    """Return the water that brings spirit down to a strength, and what comes of it."""
    warm, water = made.at_c != 20.0, exactly(made.water_at_c_l)
    at = say("temperature_short", made.at_c)
    at = say("temperature_short", made.at_c)
    pairs = [
        ("spirit", f"{format_volume(made.from_l)} at {format_abv(made.from_abv)}{_at_20(warm)}"),
        ("water", f"{say('water', 1000.0 * made.water_kg)}, or {water} of it at {at}"),
        ("gives", f"{exactly(made.volume_l)} at {format_abv(made.target_abv)}{_at_20(warm)}"),
    ]
    if warm:
        reading = f"{exactly(made.volume_at_c_l)}, reading {format_abv(made.reading_abv)}"
        pairs.append(("", f"{reading}, at {at}"))
    pairs += _bottles(made)
    parts: list[Part] = [Facts(tuple(pairs))]
    if len(made.additions) > 1:
        parts.append(_additions(made))
    return Section("Proofing", (*parts, Points(sentences(made.notes))))


def gauged_section(read: Gauged) -> Section:
    """Return what spirit is whose strength was read."""
    at = say("temperature_short", read.at_c)
    pairs = [
        (
            "the reading",
            f"{format_abv(read.reading_abv)} at {at}, on a hydrometer for {made_for(read.calibrated_c)}",
        ),
        ("is", f"{format_abv(read.abv)}, at 20 °C"),
    ]
    if read.volume_l is not None and read.mass_kg is not None:
        amount = f"{exactly(read.volume_l)} at 20 °C, {say('water', 1000.0 * read.mass_kg)}"
        pairs += [("there are", amount), ("alcohol", exactly(read.volume_l * read.abv / 100.0))]
    return Section("Strength", (Facts(tuple(pairs)),))


def _at_20(warm: bool) -> str:
    return ", both at 20 °C" if warm else ""


def _bottles(made: Proofing) -> list[tuple[str, str]]:
    if made.bottles is None or made.bottle_l is None:
        return []
    full = f"{made.bottles} of {format_volume(made.bottle_l)}"
    return [("bottles", f"{full}, and {format_volume(made.left_over_l)} left over")]


def _additions(made: Proofing) -> Table:
    unit, water = volumes([a.water_at_c_l for a in made.additions])
    large = unit == "L"
    columns = (
        Column("addition"),
        Column("water", "kg" if large else "g"),
        Column(f"at {say('temperature_short', made.at_c)}", unit),
        Column("strength", unit_of("abv_column")),
        Column("reads", unit_of("abv_column")),
    )
    rows = tuple(
        (
            str(a.number),
            f"{a.water_kg:.2f}" if large else f"{1000.0 * a.water_kg:.1f}",
            water[k] if large else f"{1000.0 * a.water_at_c_l:.1f}",
            in_column(a.abv),
            in_column(a.reading_abv),
        )
        for k, a in enumerate(made.additions)
    )
    return Table(columns, rows)


def timing(minutes: float) -> str:
    """Return a moment of a run in words, counted from switch-on."""
    return f"{format_minutes(minutes)} after switch-on"


def changes_section(run: Run) -> Section:
    """Return what each jar more or less would make of the keep."""
    keep = run.keep
    unit, become = volumes([keep.volume_l + change.volume_l for change in keep.changes])
    columns = (
        Column("jar"),
        Column("", align="left"),
        Column("keep", unit),
        Column("keep", unit_of("abv_column")),
        Column("change", unit_of("abv_column")),
    )
    rows = tuple(
        (
            str(change.number),
            "dropped" if change.kept else "added",
            become[k],
            in_column(keep.abv + change.abv),
            signed("abv_step", change.abv),
        )
        for k, change in enumerate(keep.changes)
    )
    table = Table(columns, rows)
    if keep.abv == 0.0:
        table = table.without_unit(unit_of("abv_column"))
    return Section("One jar more or less", (table,))


def blend_section(poured: Sequence[str], made: Mixture) -> Section:
    """Return what portions poured together come to."""
    less, mass = made.contraction_l, format_mass(1000.0 * made.mass_kg)
    pairs = [
        *(("poured" if k == 0 else "", text) for k, text in enumerate(poured)),
        ("gives", f"{exactly(made.volume_l)} at {format_abv(made.abv)}, {mass}"),
        ("pure alcohol", format_volume(made.ethanol_l)),
        ("contraction", f"{format_volume(abs(less))} {'less' if less >= 0.0 else 'more'} than was poured"),
    ]
    return Section("Blend", (Facts(tuple(pairs)),))
