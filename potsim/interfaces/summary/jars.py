"""What a distiller reads of jars, keep and proofing."""

from __future__ import annotations

from collections.abc import Sequence

from potsim.interfaces.summary.tables import Column, Facts, Part, Points, Section, Table
from potsim.interfaces.wording import (
    format_abv,
    format_mass,
    format_minutes,
    format_numbers,
    format_volume,
    unit_of_volumes,
    volumes,
)
from potsim.liquid.strength import Mixture
from potsim.planning import oils
from potsim.planning.keep import Keep
from potsim.planning.proofing import Proofing
from potsim.planning.run import Run

HYDROMETER = "float a hydrometer"  # of a note that is idle where there is no spirit to read
MOST_G = 10_000.0  # heavier is told in kilograms


def jar_section(run: Run) -> Section:
    """Return the row of jars, in the order of the run.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    Section
        Table and notes.
    """
    jars = run.jars
    spirit = run.charge.ethanol_mol > 0.0
    unit, held = volumes([jar.volume_l for jar in jars])
    to_unit, to = volumes([jar.to_l for jar in jars])
    (mass_unit, grams), kept = _masses([jar.mass_g for jar in jars]), set(run.keep.jars)
    rows: list[tuple[str, ...]] = [
        (
            str(jar.number),
            "keep" if jar.number in kept else jar.role if jar.role != "keep" else "left out",
            format_volume(jar.size_l),
            held[k],
            grams[k],
            to[k],
            f"{jar.abv:.1f}",
            f"{jar.end_abv:.1f}",
            f"{jar.vapour_c:.1f}",
            f"{jar.full_min:.0f}",
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
        Column("jar", "% vol"),
        Column("stream", "% vol"),
        Column("vapour", "°C"),
        Column("at", "min"),
    )
    told = "until, stream, vapour, at: all collected, the stream and the minute when the jar is taken away"
    if not spirit:
        told = told.replace("stream, vapour", "vapour", 1).replace("the stream", "the vapour", 1)
    if run.bill:
        columns = (*columns, Column("oil", "mg/L"))
        rows = [(*row, f"{mg:.0f}") for row, mg in zip(rows, oils.jars_mg_per_l(run), strict=True)]
        told += "; oil: of the botanicals, in the jar; lots differ by a factor of two and more"
    table = Table(columns, tuple(rows))
    if not spirit:
        table = table.without_unit("% vol")
    parts: list[Part] = [table, f"{told}."]
    notes = jar_notes(run)
    if notes:
        parts.append(Points(notes))
    return Section("Jars", tuple(parts))


def jar_notes(run: Run) -> tuple[str, ...]:
    """Return what is to be heeded of the jars; nothing of hydrometers where there is no spirit."""
    spirit = run.charge.ethanol_mol > 0.0
    return tuple(note for note in run.row.notes if spirit or HYDROMETER not in note)


def _masses(masses_g: Sequence[float]) -> tuple[str, list[str]]:
    """Unit and what the scales show: to 0.1 g where all are below 1 kg, in kilograms from 10 kg on."""
    most = max(masses_g, default=0.0)
    if most >= MOST_G:
        return "kg", [f"{mass / 1000.0:.2f}" for mass in masses_g]
    decimals = 1 if most < 999.95 else 0
    return "g", [f"{mass:.{decimals}f}" for mass in masses_g]


def keep_section(run: Run) -> Section:
    """Return what is pooled, and what the jars at its edges would change.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    Section
        Facts.
    """
    keep, stake = run.keep, run.row.at_stake
    pairs = [
        ("jars", format_numbers(keep.jars)),
        ("volume", f"{_spirit(keep.volume_l, keep.abv)}, {format_mass(keep.mass_g)}"),
        *([("pure alcohol", format_volume(keep.ethanol_l))] if keep.abv > 0.0 else []),
        *([("oil", f"{oils.keep_mg_per_l(run):.0f} mg/L, of the botanicals")] if run.bill else []),
        *_edges(keep),
    ]
    as_cut = [jar.number for jar in run.jars if jar.role == "keep"] == list(keep.jars)
    if stake is not None and keep.abv > 0.0 and as_cut and len(keep.jars) > 1:
        share = f"{100.0 * stake.share:.0f} %"
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
    """Return the water that brings spirit down to a strength, and what comes of it.

    Parameters
    ----------
    made : Proofing
        The proofing.

    Returns
    -------
    Section
        Facts, the additions if there are several, and notes.
    """
    warm, water = made.at_c != 20.0, _exactly(made.water_at_c_l)
    pairs = [
        ("spirit", f"{format_volume(made.from_l)} at {format_abv(made.from_abv)}{_at_20(warm)}"),
        ("water", f"{format_mass(1000.0 * made.water_kg)}, or {water} of it at {made.at_c:g} °C"),
        ("gives", f"{_exactly(made.volume_l)} at {format_abv(made.target_abv)}{_at_20(warm)}"),
    ]
    if warm:
        reading = f"{_exactly(made.volume_at_c_l)}, reading {format_abv(made.reading_abv)}"
        pairs.append(("", f"{reading}, at {made.at_c:g} °C"))
    pairs += _bottles(made)
    parts: list[Part] = [Facts(tuple(pairs))]
    if len(made.additions) > 1:
        parts.append(_additions(made))
    return Section("Proofing", (*parts, Points(made.notes)))


def _exactly(volume_l: float) -> str:
    """A volume to the millilitre, as it is measured out; from 10 L on to the centilitre."""
    if volume_l < 0.9995:
        return format_volume(volume_l)
    return f"{volume_l:.3f} L" if unit_of_volumes(volume_l)[0] == "mL" else f"{volume_l:.2f} L"


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
        Column(f"at {made.at_c:g} °C", unit),
        Column("strength", "% vol"),
        Column("reads", "% vol"),
    )
    rows = tuple(
        (
            str(a.number),
            f"{a.water_kg:.2f}" if large else f"{1000.0 * a.water_kg:.1f}",
            water[k] if large else f"{1000.0 * a.water_at_c_l:.1f}",
            f"{a.abv:.1f}",
            f"{a.reading_abv:.1f}",
        )
        for k, a in enumerate(made.additions)
    )
    return Table(columns, rows)


def timing(minutes: float) -> str:
    """Return a moment of a run in words, counted from switch-on."""
    return f"{format_minutes(minutes)} after switch-on"


def changes_section(run: Run) -> Section:
    """Return what each jar more or less would make of the keep.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    Section
        A table.
    """
    keep = run.keep
    unit, become = volumes([keep.volume_l + change.volume_l for change in keep.changes])
    columns = (
        Column("jar"),
        Column("", align="left"),
        Column("keep", unit),
        Column("keep", "% vol"),
        Column("change", "% vol"),
    )
    rows = tuple(
        (
            str(change.number),
            "dropped" if change.kept else "added",
            become[k],
            f"{keep.abv + change.abv:.1f}",
            f"{change.abv:+.2f}",
        )
        for k, change in enumerate(keep.changes)
    )
    table = Table(columns, rows)
    if keep.abv == 0.0:
        table = table.without_unit("% vol")
    return Section("One jar more or less", (table,))


def blend_section(poured: Sequence[str], made: Mixture) -> Section:
    """Return what portions poured together come to.

    Parameters
    ----------
    poured : sequence of str
        The portions in words.
    made : Mixture
        What they come to.

    Returns
    -------
    Section
        Facts.
    """
    less, mass = made.contraction_l, format_mass(1000.0 * made.mass_kg)
    pairs = [
        *(("poured" if k == 0 else "", text) for k, text in enumerate(poured)),
        ("gives", f"{_exactly(made.volume_l)} at {format_abv(made.abv)}, {mass}"),
        ("pure alcohol", format_volume(made.ethanol_l)),
        ("contraction", f"{format_volume(abs(less))} {'less' if less >= 0.0 else 'more'} than was poured"),
    ]
    return Section("Blend", (Facts(tuple(pairs)),))
