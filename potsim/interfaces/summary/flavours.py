"""What a distiller reads of flavours: when each botanical comes over, what marks a jar, what clouds."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from potsim.interfaces.summary.heads import SAFE
from potsim.interfaces.summary.tables import Column, Facts, Part, Points, Section, Table
from potsim.interfaces.wording import format_numbers, format_share, format_volume, masses, volumes
from potsim.planning import aroma, oils
from potsim.planning.botanical_flavour import BotanicalFlavour, CompoundFlavour
from potsim.planning.cloud import sentences
from potsim.planning.heads import heads_table
from potsim.planning.run import Run

Flavour = BotanicalFlavour | CompoundFlavour
ROUGH = (
    "A rough guide: lots differ by a factor of two and more, and so do rates of release. 5 %, 95 % and in "
    "all are of what is over with 99 % of the alcohol, which may be after the stop; left is what is not."
)
MARKS = "What marks a jar, by odour thresholds in water: what it has more of than its neighbours."
NEVER, STAYS, NOT_YET = "never", "stays", "not yet"
MEANS = {
    NEVER: "not volatile, it stays behind however long the run",
    STAYS: "most of it is left behind when 99 % of the alcohol is over",
    NOT_YET: "comes after the stop; where the run stops, less than 5 % of it is over",
}
MANY = 5  # names told in a sentence
NO_ALCOHOL = (
    "Not told: what oil a liquid keeps clear is known for spirit, and this charge holds no alcohol. Oil that "
    "water does not dissolve floats on it or makes it milky (common practice, no source)."
)
NO_OIL = "Not told: no oil that the model follows comes over into the keep."
NOTHING = "The plan has no botanicals, and no spirit of a kind whose own volatiles are known."


def flavour_sections(run: Run) -> tuple[Section, ...]:
    """Return where the botanicals and the base spirits' own volatiles come over, in short.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple of Section
        Empty if nothing is followed.
    """
    flavours = run.flavours
    found = []
    if flavours.bill:
        names = [_where(flavour) for flavour in flavours]
        stop_l, kept = run.stop.collected_l, oils.kept_g(run)
        timed = _timings("botanical", names, flavours.botanicals, stop_l)
        unit, in_keep = masses([float(kept[flavour.line]) for flavour in flavours])
        said = _said(names, flavours.botanicals, stop_l)
        parts: list[Part] = [_beside(timed, Column("in keep", unit), in_keep), *said, ROUGH]
        found.append(Section("Flavours", (*parts, MARKS, Facts(_marks(run)))))
    if flavours.base:
        found.append(_base(run))
    return (*found, *cloud_sections(run))


def cloud_sections(run: Run) -> tuple[Section, ...]:
    """Return whether stream and bottle cloud, or why that is not told; nothing without botanicals.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple of Section
        One, or none.
    """
    if not run.bill:
        return ()
    if run.cloud is None:
        return (Section("Cloud", (NO_ALCOHOL if run.charge.ethanol_mol == 0.0 else NO_OIL,)),)
    return (Section("Cloud", (Points(sentences(run.cloud, run.plan.bottling.abv)),)),)


def cloud_of_keep(run: Run, target_abv: float) -> Section:
    """Return whether the keep of a run clouds at a strength.

    Parameters
    ----------
    run : Run
        The run.
    target_abv : float
        Strength to which it is let down [% vol].

    Returns
    -------
    Section
        Sentences.
    """
    found = run.cloud_at(target_abv)
    title = f"Cloud: the keep of {run.plan.title}"
    if found is None or not run.bill:
        return Section(title, ("The plan has no botanicals: no oil of theirs clouds it.",))
    oil = f"It then holds {found.oil_mg_per_l:.0f} mg/L of oil."
    return Section(title, (Points((*sentences(found, target_abv), oil)),))


def compound_sections(run: Run) -> tuple[Section, ...]:
    """Return where each compound of each botanical comes over.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple of Section
        One for each line of the bill.
    """
    return tuple(
        Section(_where(flavour).capitalize(), _compounds(flavour, run.stop.collected_l))
        for flavour in run.flavours
        if flavour.compounds
    )


def _where(flavour: BotanicalFlavour) -> str:
    return f"{flavour.botanical} (basket)" if flavour.where == "basket" else flavour.botanical


def _timings(head: str, names: Sequence[str], flavours: Sequence[Flavour], stop_l: float) -> Table:
    unit, mass, rows = _rows(flavours, stop_l)
    columns = (
        Column(head, align="left"),
        Column("comes", align="left"),
        Column("5 % at", unit),
        Column("most at", unit),
        Column("95 % at", unit),
        Column("in all", mass),
        Column("left", "%"),
    )
    return Table(columns, tuple((name, *row) for name, row in zip(names, rows, strict=True)))


def _beside(table: Table, column: Column, cells: Sequence[str]) -> Table:
    """The table with one more column."""
    rows = tuple((*row, cell) for row, cell in zip(table.rows, cells, strict=True))
    return Table((*table.columns, column), rows)


def _comes(flavour: Flavour, stop_l: float) -> str:
    """When it comes: its class, or why there is none of it to the stop."""
    if flavour.timing is None:
        return STAYS if flavour.over_g > 0.0 else NEVER
    return NOT_YET if flavour.timing.start_l > stop_l else flavour.klass


def _said(names: Sequence[str], flavours: Sequence[Flavour], stop_l: float) -> tuple[str, ...]:
    """What the words of a table mean, and which comes strongest where there is next to nothing of it."""
    comes = {_comes(flavour, stop_l) for flavour in flavours}
    told = [f"{word}: {meant}" for word, meant in MEANS.items() if word in comes]
    timed = [(name, flavour.timing) for name, flavour in zip(names, flavours, strict=True) if flavour.timing]
    first = [name for name, timing in timed if timing.peak_l < timing.start_l]
    last = [name for name, timing in timed if timing.peak_l > timing.end_l]
    if first:
        told.append(f"strongest at the very start, before 5 % of it is over: {_few(first)}")
    if last:
        told.append(f"strongest at the very end, after 95 % of it is over: {_few(last)}")
    return tuple(f"{text[0].upper()}{text[1:]}." for text in told)


def _few(names: Sequence[str]) -> str:
    more = len(names) - MANY
    return ", ".join(names[:MANY]) + (f" and {more} more" if more > 0 else "")


def _rows(flavours: Sequence[Flavour], stop_l: float) -> tuple[str, str, list[tuple[str, ...]]]:
    """Units of the volumes and the masses; class, three volumes, mass and share left of each."""
    times = [flavour.timing for flavour in flavours]
    unit, told = volumes([v for t in times if t is not None for v in (t.start_l, t.peak_l, t.end_l)])
    mass, over = masses([flavour.over_g for flavour in flavours])
    triples = iter([tuple(told[k : k + 3]) for k in range(0, len(told), 3)])
    rows = [
        (
            _comes(flavour, stop_l),
            *(("", "", "") if flavour.timing is None else next(triples)),
            grams,
            f"{100.0 * flavour.left_in_pot:.0f}",
        )
        for flavour, grams in zip(flavours, over, strict=True)
    ]
    return unit, mass, rows


def _smell(compound: CompoundFlavour) -> str:
    """A compound with what it smells of."""
    return f"{compound.name}: {compound.odour}" if compound.odour else compound.name


def _compounds(flavour: BotanicalFlavour, stop_l: float) -> tuple[Part, ...]:
    unit, mass, rows = _rows(flavour.compounds, stop_l)
    columns = (
        Column("compound", align="left"),
        Column("comes", align="left"),
        Column("5 % at", unit),
        Column("most at", unit),
        Column("95 % at", unit),
        Column("in all", mass),
        Column("left", "%"),
        Column("off by", "factor"),
    )
    cells = tuple(
        (_smell(compound), *row, f"{compound.expected_factor:.1f}")
        for compound, row in zip(flavour.compounds, rows, strict=True)
    )
    names = [compound.name for compound in flavour.compounds]
    return (Table(columns, cells), *_said(names, flavour.compounds, stop_l))


def _marks(run: Run) -> tuple[tuple[str, str], ...]:
    """Jars that follow on each other and are marked by the same botanicals, together."""
    spans = [(jar.start_depletion, jar.end_depletion) for jar in run.jars]
    marked = zip(run.jars, aroma.leading(run.flavours, spans), strict=True)
    pairs = []
    for names, group in itertools.groupby(marked, key=lambda pair: pair[1]):
        numbers = format_numbers(jar.number for jar, _ in group)
        pairs.append((f"jar {numbers}", ", ".join(names) or "nothing that can be noticed"))
    return tuple(pairs)


def _base(run: Run) -> Section:
    """The base spirits' own volatiles, and how much of each the heads take."""
    base, heads_l = run.flavours.base, run.setting.heads_l
    table = _timings("of the base spirit", [compound.name for compound in base], base, run.stop.collected_l)
    peaks = _said([compound.name for compound in base], base, run.stop.collected_l)
    if heads_l == 0.0:
        return Section("Base spirit", (table, *peaks, SAFE))
    cut = heads_table(run.flavours, [heads_l])[0]
    shares = [f"{100.0 * cut.taken.get(compound.compound_id, 0.0):.0f}" for compound in base]
    table = _beside(table, Column("in heads", "%"), shares)
    alcohol = format_share(cut.ethanol_share)
    said = f"The heads, {format_volume(cut.heads_l)}, take {alcohol} of the alcohol with them."
    return Section("Base spirit", (table, *peaks, said, SAFE))
