"""Runs that differ in one number, as a distiller wants to read them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from potsim.interfaces.summary.sweep_words import number_words, short_words, value_words
from potsim.interfaces.summary.tables import Column, Part, Points, Section, Table, render
from potsim.interfaces.wording import format_volume, unit_of_volumes, volumes
from potsim.planning.asking.outcome import Outcome, Place
from potsim.planning.asking.sweep import Row, Sweep

ABREAST = 7  # most values beside each other in the tables of flavours
NONE = "-"
STAYS = {
    "alcohol": "The same alcohol throughout: only the water changes.",
    "volume": "The same volume in the pot throughout: spirit and water both change.",
}


def text_of_sweep(sweep: Sweep) -> str:
    """Return a sweep as text of at most 80 columns.

    Parameters
    ----------
    sweep : Sweep
        The runs.

    Returns
    -------
    str
        Lines, without a line feed at the end.
    """
    return render(sections_of_sweep(sweep))


def sections_of_sweep(sweep: Sweep) -> tuple[Section, ...]:
    """Return a sweep, section by section.

    Parameters
    ----------
    sweep : Sweep
        The runs.

    Returns
    -------
    tuple of Section
        What comes of each value, where the flavours move, what cannot be run, cautions.
    """
    rows = sweep.with_own
    ran = [row for row in rows if row.run is not None]
    stays = [] if sweep.same is None else [STAYS[sweep.same]]
    if sweep.plan.still.capacity_l is None:
        stays.append("The plan names no capacity: the pot is sized to each charge.")
    title = f"{sweep.plan.title}: {number_words(sweep.number)}"
    found = [Section(title, (*stays, _outcomes(sweep, rows), _key(sweep)))]
    if any(row.places for row in ran):
        found.append(Section("Where the botanicals come over", tuple(_flavours(sweep, ran))))
    refused = tuple(f"{_value(sweep, row)}: {row.refusal}" for row in rows if row.run is None)
    if refused:
        found.append(Section("What cannot be run", (Points(refused),)))
    cautions = _cautions(sweep, rows)
    return (*found, Section("Take care", (Points(cautions),))) if cautions else tuple(found)


def _value(sweep: Sweep, row: Row) -> str:
    return value_words(sweep.number, row.value, planned=row.planned)


def _outcomes(sweep: Sweep, rows: Sequence[Row]) -> Table:
    """What comes of each value."""
    names = ("distillate_l", "keep_l", "water_l")
    units, cells = {}, {}
    for name in names:
        there = {k: getattr(row.outcome, name) for k, row in enumerate(rows) if row.outcome}
        known = {k: value for k, value in there.items() if value is not None}
        units[name], told = volumes(list(known.values()))
        cells[name] = dict(zip(known, told, strict=True))
    columns = (
        Column(short_words(sweep.number), align="left"),
        Column("over", units["distillate_l"]),
        Column("over", "% vol"),
        Column("alcohol", "%"),
        Column("minute"),
        Column("keep", units["keep_l"]),
        Column("keep", "% vol"),
        Column("water", units["water_l"]),
        Column("bottles"),
    )
    table = []
    for k, row in enumerate(rows):
        volume = {name: cells[name].get(k, NONE) for name in names}
        table.append((_marked(sweep, row), *_numbers(row.outcome, volume)))
    return Table(columns, tuple(table))


def _marked(sweep: Sweep, row: Row) -> str:
    return _value(sweep, row) + (" *" if row.planned else "")


def _numbers(of: Outcome | None, volume: dict[str, str]) -> tuple[str, ...]:
    if of is None:
        return (NONE,) * 8
    return (
        volume["distillate_l"],
        f"{of.distillate_abv:.1f}",
        f"{100.0 * of.recovered:.0f}",
        f"{of.minutes:.0f}",
        volume["keep_l"],
        f"{of.keep_abv:.1f}",
        volume["water_l"],
        NONE if of.bottles is None else str(of.bottles),
    )


def _key(sweep: Sweep) -> str:
    """What the columns hold."""
    own = "* the plan. " if any(row.planned for row in sweep.with_own) else ""
    return (
        f"{own}over: all collected to the stop, its strength and its share of the alcohol; "
        "minute: from switch-on; water: to bottling strength."
    )


def _flavours(sweep: Sweep, ran: Sequence[Row]) -> list[Part]:
    """Class, start and peak of each botanical beside the values, and what clouds."""
    parts: list[Part] = []
    unit, written = _volume_writer(ran)
    told: tuple[tuple[str, Callable[[Place], str]], ...] = (
        ("comes", lambda place: place.klass),
        (f"5 % at, {unit}", lambda place: written(place.start_l)),
        (f"most at, {unit}", lambda place: written(place.peak_l)),
    )
    blocks = -(-len(ran) // ABREAST)
    size = -(-len(ran) // blocks)
    for k in range(0, len(ran), size):
        abreast = ran[k : k + size]
        heads = tuple(Column(_marked(sweep, row)) for row in abreast)
        for head, words in told:
            lines = [
                (place.botanical, *(words(row.places[line]) for row in abreast))
                for line, place in enumerate(abreast[0].places)
            ]
            parts.append(Table((Column(head, align="left"), *heads), tuple(lines)))
    if any(place.klass == "stays" for row in ran for place in row.places):
        parts.append("Stays: most of it is left behind when 99 % of the alcohol is over.")
    return [*parts, *_clouds(sweep, ran)]


def _volume_writer(ran: Sequence[Row]) -> tuple[str, Callable[[float | None], str]]:
    """Unit for where botanicals come over, and what writes a volume in it."""
    places = [place for row in ran for place in row.places]
    most = max((v for p in places for v in (p.start_l, p.peak_l) if v is not None), default=0.0)
    unit, per_l = unit_of_volumes(most)
    digits = 0 if per_l > 1.0 else 2
    return unit, lambda volume_l: NONE if volume_l is None else f"{per_l * volume_l:.{digits}f}"


def _clouds(sweep: Sweep, ran: Sequence[Row]) -> list[Part]:
    """Say which streams and bottles cloud."""
    told = []
    for row in ran:
        made = row.outcome
        if made is None or row.run is None or row.run.cloud is None:
            continue
        stream = "" if made.clouds_l is None else f"the stream clouds at {format_volume(made.clouds_l)}"
        bottle = {"may cloud": "the bottle may cloud", "cloudy": "the bottle clouds"}.get(
            made.bottle_clouds or "", ""
        )
        words = " and ".join(part for part in (stream, bottle) if part)
        if words:
            told.append(f"{_value(sweep, row)}: {words}.")
    if not told:
        return ["Neither stream nor bottle clouds, at any of these values."]
    return [Points(tuple(told))]


def _cautions(sweep: Sweep, rows: Sequence[Row]) -> tuple[str, ...]:
    """Cautions, each once, with the values it goes for; without, where it goes for all."""
    heeding: dict[str, list[Row]] = {}
    for row in (row for row in rows if row.run is not None):
        for text in row.cautions:
            heeding.setdefault(text, []).append(row)
    ran = sum(row.run is not None for row in rows)
    some = {text: found for text, found in heeding.items() if len(found) < ran}
    everywhere = [text for text in heeding if text not in some]
    told = [f"{', '.join(_value(sweep, row) for row in found)}: {text}" for text, found in some.items()]
    return (*told, *everywhere)
