"""What a distiller reads of the library of botanicals."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from potsim.interfaces.report.jars import SAFE
from potsim.interfaces.report.tables import Column, Facts, Part, Points, Section, Table
from potsim.interfaces.wording import (
    format_mass,
    format_numbers,
    format_share,
    format_volume,
    masses,
    volumes,
)
from potsim.liquid.compounds import compounds
from potsim.planning import flavours
from potsim.planning.botanicals import Botanical, Spread
from potsim.planning.cloud import sentences
from potsim.planning.flavours import BotanicalFlavour, CompoundFlavour, heads_table, kept_g
from potsim.planning.run import Run


def spread(given: Spread) -> str:
    """Return a typical value with its range, ``"1.2 (0.8 to 2)"``."""
    if given.low == given.typical == given.high:
        return f"{given.typical:g}"
    return f"{given.typical:g} ({given.low:g} to {given.high:g})"


def list_of(every: Sequence[Botanical]) -> Section:
    """Return the list of botanicals."""
    columns = (
        Column("name", align="left"),
        Column("part", align="left"),
        Column("as", align="left"),
        Column("oil", "%"),
        Column("usual dose", "g per L of charge", align="left"),
        Column("", align="left"),
    )
    rows = tuple(
        (
            one.common_name,
            one.part or one.category,
            one.yield_state,
            f"{one.oil_yield_pct.typical:g}",
            _dose(one),
            "caution" if one.cautions else "",
        )
        for one in every
    )
    more = "`potsim botanicals NAME` tells compounds, cautions and the source of every figure."
    return Section(f"{len(rows)} botanicals", (Table(columns, rows), more))


def _dose(one: Botanical) -> str:
    usual = one.usual_dose
    return "" if usual is None else f"{usual.low_g_per_l:g} to {usual.high_g_per_l:g}"


def sections_of(one: Botanical) -> tuple[Section, ...]:
    """Return all that is known of one botanical."""
    parts = [Section(one.common_name, (Facts(tuple(_facts(one))),)), _compound_rows(one)]
    if one.cautions:
        texts = tuple(f"{_stop(caution.text)} ({caution.source})" for caution in one.cautions)
        parts.append(Section("Take care", (Points(texts),)))
    return (*parts, _sources(one))


def _facts(one: Botanical) -> list[tuple[str, str]]:
    pairs = [
        ("Latin", ", ".join(one.latin_names)),
        ("also called", ", ".join(one.aliases)),
        ("part", one.part or one.category),
        ("oil", f"{spread(one.oil_yield_pct)} % of the {one.yield_state} mass"),
        ("usual dose", f"{_dose(one)} g {one.yield_state} for a litre of charge" if one.usual_dose else ""),
        ("used", one.usual_prepared),
    ]
    if one.piece is not None:
        pairs.append(("a piece", f"{one.piece.name}, {format_mass(one.piece.mass_g)} {one.piece.state}"))
    if one.fresh_water_fraction is not None:
        pairs.append(("fresh", f"{100.0 * one.fresh_water_fraction:.0f} % water"))
    pairs.append(("remarks", one.remarks))
    return [(label, text) for label, text in pairs if text]


def _compound_rows(one: Botanical) -> Section:
    names = {compound.id: compound.name for compound in compounds()}
    columns = (
        Column("compound", align="left"),
        Column("share", "%", align="left"),
        Column("of the", align="left"),
        Column("source", align="left"),
    )
    rows = tuple(
        (
            names.get(share.compound_id, share.compound_id),
            spread(share.pct),
            share.basis,
            share.source,
        )
        for share in sorted(one.composition, key=lambda share: -share.pct.typical)
    )
    rest = 100.0 - one.listed_pct
    said = f"The list accounts for {one.listed_pct:.0f} % of the oil; the other {rest:.0f} % is not followed."
    return Section("Compounds", (Table(columns, rows), said))


def _sources(one: Botanical) -> Section:
    pairs = [("oil", f"{one.yield_source} ({one.yield_confidence})")]
    if one.usual_dose is not None:
        pairs.append(("usual dose", one.usual_dose.source))
    if one.piece is not None:
        pairs.append(("a piece", one.piece.source))
    if one.fresh_water_fraction is not None:
        pairs.append(("fresh", one.fresh_water_source))
    return Section("Sources", (Facts(tuple(pairs)),))


def _stop(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


# --- What a distiller reads of flavours: when each botanical comes over, what marks a jar, what clouds.


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
    """Return where the botanicals and the base spirits' own volatiles come over, in short."""
    flavours = run.flavours
    found = []
    if flavours.bill:
        names = [_where(flavour) for flavour in flavours]
        stop_l, kept = run.stop.collected_l, kept_g(run)
        timed = _timings("botanical", names, flavours.botanicals, stop_l)
        unit, in_keep = masses([float(kept[flavour.line]) for flavour in flavours])
        said = _said(names, flavours.botanicals, stop_l)
        parts: list[Part] = [_beside(timed, Column("in keep", unit), in_keep), *said, ROUGH]
        found.append(Section("Flavours", (*parts, MARKS, Facts(_marks(run)))))
    if flavours.base:
        found.append(_base(run))
    return (*found, *cloud_sections(run))


def cloud_sections(run: Run) -> tuple[Section, ...]:
    """Return whether stream and bottle cloud, or why that is not told; nothing without botanicals."""
    if not run.bill:
        return ()
    if run.cloud is None:
        return (Section("Cloud", (NO_ALCOHOL if run.charge.ethanol_mol == 0.0 else NO_OIL,)),)
    return (Section("Cloud", (Points(sentences(run.cloud, run.plan.bottling.abv)),)),)


def cloud_of_keep(run: Run, target_abv: float) -> Section:
    """Return whether the keep of a run clouds at a strength."""
    found = run.cloud_at(target_abv)
    title = f"Cloud: the keep of {run.plan.title}"
    if found is None or not run.bill:
        return Section(title, ("The plan has no botanicals: no oil of theirs clouds it.",))
    oil = f"It then holds {found.oil_mg_per_l:.0f} mg/L of oil."
    return Section(title, (Points((*sentences(found, target_abv), oil)),))


def compound_sections(run: Run) -> tuple[Section, ...]:
    """Return where each compound of each botanical comes over."""
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
    marked = zip(run.jars, flavours.leading(run.flavours, spans), strict=True)
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
