"""What a varied number is called, and how its values are read and told."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from potsim.errors import RequestError
from potsim.interfaces import quantities
from potsim.interfaces.report import Column, Part, Points, Section, Table, render
from potsim.interfaces.report.flavours import MEANS_STAYS
from potsim.interfaces.report.words import words
from potsim.interfaces.tomlfile import read_value, write_value
from potsim.interfaces.wording import (
    as_planned,
    briefly,
    format_volume,
    in_column,
    number,
    say,
    step_of,
    system,
    unit_of,
    volumes,
)
from potsim.liquid.clouding import ROOM_C
from potsim.planning import schema
from potsim.planning.apparatus import heat_doubt
from potsim.planning.ensemble import Band, Ensemble
from potsim.planning.frames import Outcome, Place
from potsim.planning.notes import Note, worst
from potsim.planning.sweep import CHARGE_ABV, Number, Row, Sweep, strongest

DIGITS = 6  # of a value told
# Kinds of values that are told otherwise than they stand in a file: temperatures, and all in other units.
TOLD = {
    schema.TEMPERATURE: "temperature_short",
    schema.VOLUME: "volume_exact",
    schema.MASS: "mass",
    schema.PRESSURE: "pressure",
    schema.HEIGHT: "height",
}
OF_CLASS = (
    "Early, middle, late is told of a botanical whole, not macerated, in a charge of that strength; all else "
    "is of this plan, where finer pieces and maceration bring it earlier."
)


def value_reader(number: Number) -> Callable[[str], float]:
    """Return what turns typed text into the plain number, such as ``"1 kW"`` into 1000."""
    if number.key.kind == schema.COUNT:
        return lambda text: _pieces(number, text)
    return lambda text: float(read_value(number.key, text))


def _pieces(number: Number, text: str) -> float:
    """Read a number of pieces, with or without what they are called."""
    size, of = quantities.amount(text)
    if of != "g":
        return size
    raise RequestError.of("mass_of_pieces", number.name, given=text, row=number.name.removesuffix(".pieces"))


def value_words(number: Number, value: float, *, planned: bool = False) -> str:
    """Return a value with its unit, such as ``"700 W"``."""
    kind = TOLD.get(number.key.kind)
    if kind is not None and (system() == "us" or number.key.kind == schema.TEMPERATURE):
        return briefly(kind, value)
    told = round(value, 1) if planned and number.name == CHARGE_ABV else float(f"{value:.{DIGITS}g}")
    return str(write_value(number.key, told))


ENDS = {"cuts.stop": "stop", "cuts.tails_from": "tails"}


def number_words(number: Number) -> str:
    """Return what a number is called in a heading."""
    if number.name == CHARGE_ABV:
        return "strength of the charge"
    noun, row = number.key.noun.removeprefix("the "), number.name.removeprefix(f"{number.table}.")
    if number.table in ENDS:
        return f"{ENDS[number.table]} when {number.key.noun}"
    return noun if row == number.key.name else f"{row.removesuffix(f'.{number.key.name}')}: {noun}"


def short_words(number: Number) -> str:
    """Return what a number is called above a column."""
    return "charge" if number.name == CHARGE_ABV else number.name.rpartition(".")[2]


# --- Runs that differ in one number, as a distiller wants to read them.


ABREAST = 7  # most values beside each other in the tables of flavours
NONE = "-"
STAYS = {
    "alcohol": "The same alcohol throughout: only the water changes.",
    "volume": "The same volume in the pot throughout: spirit and water both change.",
}

HEIGHTS = ("still.altitude", "still.pressure")  # numbers that move every temperature


@as_planned
def text_of_sweep(sweep: Sweep) -> str:
    """Return a sweep as text of at most 80 columns."""
    return render(sections_of_sweep(sweep))


def sections_of_sweep(sweep: Sweep) -> tuple[Section, ...]:
    """Return a sweep, section by section."""
    rows = sweep.with_own
    ran = [row for row in rows if row.outcome is not None]
    stays = [] if sweep.same is None else [STAYS[sweep.same]]
    if sweep.plan.still.capacity_l is None:
        stays.append("The plan names no capacity: the pot is sized to each charge.")
    if any(row.stronger for row in rows):
        most = say("abv", strongest(sweep.plan))
        stays.append(
            f"The plan's spirits without water make {most}: beyond, water cannot help, and as much alcohol "
            "of a stronger base spirit is taken in their place."
        )
    title = f"{sweep.plan.title}: {number_words(sweep.number)}"
    found = [Section(title, (*stays, _outcomes(sweep, rows), _key(sweep)))]
    if any(row.places for row in ran):
        found.append(Section("Where the botanicals come over", tuple(_flavours(sweep, ran))))
    refused = tuple(f"{_value(sweep, row)}: {row.refusal}" for row in rows if row.outcome is None)
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
    warm = sweep.number.name in HEIGHTS
    columns = (
        Column(short_words(sweep.number), align="left"),
        *(
            (Column("boils", unit_of("temperature")), Column("vapour", unit_of("temperature")))
            if warm
            else ()
        ),
        Column("over", units["distillate_l"]),
        Column("over", unit_of("abv_column")),
        Column("alcohol", "%"),
        Column("minute"),
        Column("keep", units["keep_l"]),
        Column("keep", unit_of("abv_column")),
        *(() if warm else (Column("water", units["water_l"]), Column("bottles"))),
    )
    table = []
    for k, row in enumerate(rows):
        volume = {name: cells[name].get(k, NONE) for name in names}
        numbers = _numbers(row.outcome, volume)
        warmth = _warmth(row.outcome) if warm else ()
        table.append((_marked(sweep, row), *warmth, *(numbers[:-2] if warm else numbers)))
    return Table(columns, tuple(table))


def _marked(sweep: Sweep, row: Row) -> str:
    return _value(sweep, row) + (" *" if row.planned else "")


def _warmth(of: Outcome | None) -> tuple[str, str]:
    """Where the charge boils, and the vapour at the stop."""
    return (
        (NONE, NONE)
        if of is None
        else (number("temperature", of.boils_c), number("temperature", of.vapour_c))
    )


def _numbers(of: Outcome | None, volume: dict[str, str]) -> tuple[str, ...]:
    if of is None:
        return (NONE,) * 8
    return (
        volume["distillate_l"],
        in_column(of.distillate_abv),
        number("share_about", of.recovered),
        number("minutes", of.minutes),
        volume["keep_l"],
        in_column(of.keep_abv),
        volume["water_l"],
        NONE if of.bottles is None else str(of.bottles),
    )


def _key(sweep: Sweep) -> str:
    """What the columns hold."""
    own = "* the plan. " if any(row.planned for row in sweep.with_own) else ""
    last = "water: to bottling strength."
    if sweep.number.name in HEIGHTS:
        last = "boils: the charge; vapour: at the stop."
    return (
        f"{own}over: all collected to the stop, its strength and its share of the alcohol; "
        f"minute: from switch-on; {last}"
    )


def _flavours(sweep: Sweep, ran: Sequence[Row]) -> list[Part]:
    """Class, start and peak of each botanical beside the values, and what clouds."""
    parts: list[Part] = []
    unit, written = _volume_writer(ran)
    told: tuple[tuple[str, Callable[[Place], str]], ...] = (
        ("comes", lambda place: place.klass),
        ("gives up, %", lambda place: number("share_about", place.gives_up)),
        (f"half at, {unit}", lambda place: written(place.half_l)),
        (f"most at, {unit}", lambda place: written(place.peak_l)),
        ("in the bottle", lambda place: place.noticed),
    )
    blocks = -(-len(ran) // ABREAST)
    size = -(-len(ran) // blocks)
    for k in range(0, len(ran), size):
        abreast = ran[k : k + size]
        heads = tuple(Column(_marked(sweep, row)) for row in abreast)
        for head, tell in told:
            lines = [
                (place.botanical, *(tell(row.places[line]) for row in abreast))
                for line, place in enumerate(abreast[0].places)
            ]
            if all(word in ("0", "stays") for _, *said in lines for word in said):
                continue
            parts.append(Table((Column(head, align="left"), *heads), tuple(lines)))
    if any(row.places for row in ran):
        parts.append(OF_CLASS)
    if any(place.klass == "stays" for row in ran for place in row.places):
        parts.append(MEANS_STAYS)
    return [*parts, *_clouds(sweep, ran)]


def _volume_writer(ran: Sequence[Row]) -> tuple[str, Callable[[float | None], str]]:
    """Unit for where botanicals come over, and what writes a volume in it."""
    places = [place for row in ran for place in row.places]
    most = max((v for p in places for v in (p.half_l, p.peak_l) if v is not None), default=0.0)
    step = step_of("volume_column", most)
    return step.unit, lambda v: "stays" if v is None else number("volume_column", v, step)


def _clouds(sweep: Sweep, ran: Sequence[Row]) -> list[Part]:
    """Say which streams and bottles cloud."""
    told = []
    for row in ran:
        made = row.outcome
        if made is None:
            continue
        likely = "" if made.clouds_l is None else f", likely at {format_volume(made.clouds_l)}"
        stream = (
            f"the stream may cloud from {format_volume(made.may_cloud_l)}{likely}" if made.may_cloud_l else ""
        )
        bottle = {"may cloud": "the bottle may cloud", "cloudy": "the bottle clouds"}.get(
            made.bottle_clouds or "", ""
        )
        if stream or bottle:
            told.append(f"{_value(sweep, row)}: {', and '.join(filter(None, (stream, bottle)))}.")
    if not told:
        warm = say("temperature_about", ROOM_C)
        return [f"Neither stream, up to the stop, nor bottle, at {warm}, may cloud at any of these values."]
    return [Points(tuple(told))]


def _cautions(sweep: Sweep, rows: Sequence[Row]) -> tuple[str, ...]:
    """Cautions, one of each kind, with the values it goes for; the worst, or as the plan has it."""
    heeding: dict[tuple[str, str], list[tuple[Row, Note]]] = {}
    ran = [row for row in rows if row.outcome is not None]
    for row in ran:
        for note in row.notes:
            heeding.setdefault((note.kind, note.subject), []).append((row, note))
    told, everywhere = [], []
    for rows_heeding in heeding.values():
        there = [row for row, _ in rows_heeding]
        found = sorted(rows_heeding, key=lambda one: not one[0].planned)
        at, said = found[worst([note for _, note in found])]
        text = words(said)
        alike = all(words(note) == text for _, note in found)
        if alike and len(there) == len(ran):
            everywhere.append(text)
        elif alike:
            told.append(f"{_values(sweep, ran, there)}: {text}")
        else:
            told.append(f"{_values(sweep, ran, there)} (figures of {_value(sweep, at)}): {text}")
    return (*told, *everywhere)


def _values(sweep: Sweep, ran: Sequence[Row], some: Sequence[Row]) -> str:
    """Say some of the values that were run: those beside each other as a span."""
    spans: list[list[int]] = []
    for k in (k for k, row in enumerate(ran) if row in some):
        if spans and spans[-1][-1] == k - 1:
            spans[-1].append(k)
        else:
            spans.append([k])
    ends = [[_value(sweep, ran[k]) for k in dict.fromkeys((span[0], span[-1]))] for span in spans]
    return ", ".join(" to ".join(pair) for pair in ends)


# --- How sure a run is, as a distiller wants to read it.


# Answer, what it is called, its unit, what one of the answer's own unit is in that, decimals.
ROWS = (
    ("first_drop_min", "first drop", "min", 1.0, 0),
    ("stop.collected_l", "collected", "L", 1.0, 2),
    ("stop.elapsed_min", "minute of the stop", "min", 1.0, 0),
    ("stop.recovered", "alcohol over", "%", 100.0, 1),
    ("keep.volume_l", "keep", "L", 1.0, 2),
    ("keep.abv", "strength of the keep", "abv_column", 1.0, 1),
    ("proofing.water_l", "water to add", "L", 1.0, 2),
    ("proofing.volume_l", "bottled", "L", 1.0, 2),
    ("proofing.bottles", "bottles", "", 1.0, 0),
)


@as_planned
def text_of_ensemble(found: Ensemble) -> str:
    """Return how sure a run is as text of at most 80 columns."""
    return render((sure_section(found),))


def sure_section(found: Ensemble) -> Section:
    """Return how sure a run is."""
    columns = (
        Column("", align="left"),
        Column("", align="left"),
        Column("run"),
        Column("9 in 10 lie between"),
    )
    rows = [
        (words, *_row(found.answers[name], unit, per, digits))
        for name, words, unit, per, digits in ROWS
        if name in found.answers
    ]
    doubt = found.plan.uncertainty
    heats = heat_doubt(found.plan.still, doubt.power)
    volume, neck, pot, heat = (
        f"+/-{say('share_about', share)}"
        for share in (doubt.volume, doubt.neck_loss, doubt.pot_loss, heats.either)
    )
    if heats.less:
        less = say("share_about", heats.less)
        heat += f", in every other run less by {less} or so as no heated_by is given"
    abv, lost = say("abv_difference", doubt.abv), say("share_about", doubt.lost)
    room = say("temperature_difference", doubt.room_c)
    taken = (
        f"{found.n} runs drawn (seed {found.seed}) with strengths +/-{abv}, volumes {volume}, neck "
        f"loss {neck}, pot loss {pot}, room +/-{room}, heat that arrives {heat}, spirit "
        f"lost up to {lost} more (+/- is one standard deviation), and the misfit of the vapour model to "
        "published data. Set your own in [uncertainty]."
    )
    return Section("How sure", (Table(columns, tuple(rows)), taken, Points(found.sentences())))


def _row(band: Band, unit: str, per: float, digits: int) -> tuple[str, ...]:
    """Unit and numbers; volumes in millilitres where they are small."""
    if unit == "L":
        step = step_of("volume_axis", band.high)
        unit, per, digits = step.unit, step.times, min(digits, step.decimals + 1) if step.decimals else 0
    elif unit == "abv_column":
        step = step_of(unit, band.high)
        unit, per, digits = step.unit, step.times, step.decimals
    return unit, *_cells(band, per, digits)


def _cells(band: Band, per: float, digits: int) -> tuple[str, str]:
    low, high = (f"{per * value:.{digits}f}" for value in (band.low, band.high))
    return f"{per * band.value:.{digits}f}", f"{low} and {high}"
