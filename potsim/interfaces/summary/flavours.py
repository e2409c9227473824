"""What a distiller reads of flavours: when each botanical comes over, what marks a jar, what clouds."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from potsim.interfaces.summary.heads import SAFE
from potsim.interfaces.summary.jars import volumes
from potsim.interfaces.summary.tables import Column, Facts, Part, Points, Section, Table
from potsim.interfaces.wording import format_numbers, format_share, format_volume
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
        timed, kept = _timings("botanical", names, flavours.botanicals), oils.kept_g(run)
        in_keep = [milligrams(float(kept[flavour.line])) for flavour in flavours]
        parts: list[Part] = [_beside(timed, Column("in keep", "mg"), in_keep), ROUGH]
        found.append(Section("Flavours", (*parts, MARKS, Facts(_marks(run)))))
    if flavours.base:
        found.append(_base(run))
    return (*found, *cloud_sections(run))


def cloud_sections(run: Run) -> tuple[Section, ...]:
    """Return whether stream and bottle cloud; nothing where there are no botanicals.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple of Section
        One, or none.
    """
    if run.cloud is None or not run.bill:
        return ()
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
        Section(_where(flavour).capitalize(), (_compounds(flavour),))
        for flavour in run.flavours
        if flavour.compounds
    )


def _where(flavour: BotanicalFlavour) -> str:
    return f"{flavour.botanical} (basket)" if flavour.where == "basket" else flavour.botanical


def _timings(head: str, names: Sequence[str], flavours: Sequence[Flavour]) -> Table:
    unit, rows = _rows(flavours)
    columns = (
        Column(head, align="left"),
        Column("comes", align="left"),
        Column("5 % at", unit),
        Column("most at", unit),
        Column("95 % at", unit),
        Column("in all", "mg"),
        Column("left", "%"),
    )
    return Table(columns, tuple((name, *row) for name, row in zip(names, rows, strict=True)))


def _beside(table: Table, column: Column, cells: Sequence[str]) -> Table:
    """The table with one more column."""
    rows = tuple((*row, cell) for row, cell in zip(table.rows, cells, strict=True))
    return Table((*table.columns, column), rows)


def _rows(flavours: Sequence[Flavour]) -> tuple[str, list[tuple[str, ...]]]:
    """Unit of the volumes; class, three volumes, mass and share left of each."""
    times = [flavour.timing for flavour in flavours]
    unit, told = volumes([v for t in times if t is not None for v in (t.start_l, t.peak_l, t.end_l)])
    triples = iter([tuple(told[k : k + 3]) for k in range(0, len(told), 3)])
    rows = [
        (
            flavour.klass,
            *(("", "", "") if flavour.timing is None else next(triples)),
            milligrams(flavour.over_g),
            f"{100.0 * flavour.left_in_pot:.0f}",
        )
        for flavour in flavours
    ]
    return unit, rows


def _smell(compound: CompoundFlavour) -> str:
    """A compound with what it smells of."""
    return f"{compound.name}: {compound.odour}" if compound.odour else compound.name


def milligrams(mass_g: float) -> str:
    """Return a mass as a cell of a column in mg, to three digits below 100 mg, never as a power of ten."""
    mg = 1000.0 * mass_g
    return f"{mg:.0f}" if mg >= 99.95 else f"{mg:.3g}"


def _compounds(flavour: BotanicalFlavour) -> Table:
    unit, rows = _rows(flavour.compounds)
    columns = (
        Column("compound", align="left"),
        Column("comes", align="left"),
        Column("5 % at", unit),
        Column("most at", unit),
        Column("95 % at", unit),
        Column("in all", "mg"),
        Column("left", "%"),
        Column("off by", "factor"),
    )
    cells = tuple(
        (_smell(compound), *row, f"{compound.expected_factor:.1f}")
        for compound, row in zip(flavour.compounds, rows, strict=True)
    )
    return Table(columns, cells)


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
    table = _timings("of the base spirit", [compound.name for compound in base], base)
    if heads_l == 0.0:
        return Section("Base spirit", (table, SAFE))
    cut = heads_table(run.flavours, [heads_l])[0]
    shares = [f"{100.0 * cut.taken.get(compound.compound_id, 0.0):.0f}" for compound in base]
    table = _beside(table, Column("in heads", "%"), shares)
    alcohol = format_share(cut.ethanol_share)
    said = f"The heads, {format_volume(cut.heads_l)}, take {alcohol} of the alcohol with them."
    return Section("Base spirit", (table, said, SAFE))
