"""The part of a run's sheet that is written on beside the still: a line a jar, and the proofing."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass

from potsim.interfaces.summary.jars import jar_notes
from potsim.interfaces.wording import format_abv, format_mass, format_temperature, format_volume, volumes
from potsim.planning import aroma
from potsim.planning.run import Run

WEIGH = (
    "Weigh each jar empty and write it on the lid: on the scales it is full at its own weight and the grams "
    "foretold. What stands under vapour, and under stream, is so when the jar is taken away."
)
READ = (
    " Strength and temperature are read together, in the cool jar; a hydrometer for 20 °C shows more than "
    "there is when the spirit is warmer."
)
HEADS = ("date", "room, °C", "barometer, hPa", "heat on at", "first drop at", "stopped at")


@dataclass(frozen=True)
class _Column:
    head: str
    unit: str = ""
    kind: str = ""


def jar_sheet(run: Run) -> str:
    """Return the jar sheet.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    str
        A section of HTML: what is foretold of each jar, and room for what was found.
    """
    jars = run.jars
    marks = _marks(run)
    spirit = run.charge.ethanol_mol > 0.0
    columns = [
        _Column("jar", kind="n"),
        _Column("for"),
        _Column("size", kind="n"),
        _Column("until", volumes([jar.to_l for jar in jars])[0], "n"),
        _Column("at", "min", "n"),
        _Column("to hold", "g", "n"),
        *([_Column("foretold", "% vol", "n"), _Column("stream", "% vol", "n")] if spirit else []),
        _Column("vapour", "°C", "n"),
        *([_Column("marked by")] if marks else []),
    ]
    blank = [
        *(
            [_Column("strength", "read, % vol", "blank"), _Column("spirit", "at, °C", "blank")]
            if spirit
            else []
        ),
        _Column("vapour", "°C", "blank"),
        _Column("smell and taste", kind="blank broad"),
        _Column("keep", "yes, no", "blank box"),
    ]
    rows = []
    for k, row in enumerate(_foretold(run)):
        cut = ' class="cut"' if k > 0 and jars[k - 1].role != jars[k].role else ""
        mark = [f'<td class="hint marks">{html.escape(marks[k])}</td>'] if marks else []
        cells = [
            f'<td class="{column.kind}">{html.escape(text)}</td>'
            for column, text in zip(columns, row, strict=False)
        ]
        blanks = [f'<td class="{column.kind}"></td>' for column in blank]
        rows.append(f"<tr{cut}>{''.join([*cells, *mark, *blanks])}</tr>")
    lines = "".join(f"<span>{html.escape(text)}</span>" for text in HEADS)
    notes = "".join(f"<li>{html.escape(note)}</li>" for note in jar_notes(run))
    return (
        f"<section><h2>Jar sheet: {html.escape(run.plan.title)}</h2>"
        f'<div class="lines">{lines}</div>{_table([*columns, *blank], rows)}<ul>{notes}</ul>'
        f'<p class="fine">{WEIGH}{READ if spirit else ""}</p></section>'
    )


def _foretold(run: Run) -> list[tuple[str, ...]]:
    kept = set(run.keep.jars)
    _, until = volumes([jar.to_l for jar in run.jars])
    return [
        (
            str(jar.number),
            jar.role if jar.number in kept or jar.role != "keep" else "left out",
            format_volume(jar.size_l),
            until[k],
            f"{jar.full_min:.0f}",
            f"{jar.mass_g:.0f}",
            *((f"{jar.abv:.1f}", f"{jar.end_abv:.1f}") if run.charge.ethanol_mol > 0.0 else ()),
            f"{jar.vapour_c:.1f}",
        )
        for k, jar in enumerate(run.jars)
    ]


def _marks(run: Run) -> list[str]:
    """What marks each jar; nothing without botanicals."""
    if not run.bill:
        return []
    spans = [(jar.start_depletion, jar.end_depletion) for jar in run.jars]
    marks = [", ".join(names) for names in aroma.leading(run.flavours, spans)]
    # Said once for jars that follow on each other.
    return [mark if k == 0 or mark != marks[k - 1] else "" for k, mark in enumerate(marks)]


def proofing_sheet(run: Run) -> str:
    """Return the lines on which the proofing is written down.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    str
        A table of HTML; empty if no bottling strength is named.
    """
    made, keep, by = run.proofing, run.keep, run.plan.bottling.stretch
    if made is None:
        return ""
    rows = [
        ("jars kept", "", "which"),
        ("keep", f"{format_volume(keep.volume_l)}, {format_mass(keep.mass_g)}", "volume or grams"),
        ("its strength", format_abv(keep.abv), "read, and at °C"),
    ]
    if by is not None:
        added = f"{format_volume(by.spirit_l)} at {format_abv(by.abv)}"
        rows.append(("spirit added", added, "volume, strength"))
    rows += [
        (f"water {k}" if len(made.additions) > 1 else "water", format_mass(1000.0 * one.water_kg), "grams")
        for k, one in enumerate(made.additions, start=1)
    ]
    shows = f"{format_abv(made.reading_abv)} at {format_temperature(made.at_c)}"
    rows += [
        ("after a rest the hydrometer shows", shows, "read, and at °C"),
        ("in all", format_volume(made.volume_l), "volume"),
    ]
    if made.bottles is not None and made.bottle_l is not None:
        rest = format_volume(made.left_over_l)
        size = f"{made.bottles} of {format_volume(made.bottle_l)}, {rest} left over"
        rows.append(("bottles", size, "number"))
    columns = [_Column(""), _Column("foretold"), _Column("found", kind="blank broad")]
    cells = [
        f'<tr><td>{html.escape(a)}</td><td>{html.escape(b)}</td><td class="blank broad hint">'
        f"{html.escape(c)}</td></tr>"
        for a, b, c in rows
    ]
    return _table(columns, cells)


def _table(columns: Sequence[_Column], rows: Sequence[str]) -> str:
    heads = "".join(
        f'<th scope="col" class="{column.kind}">{html.escape(column.head)}'
        + (f"<small>{html.escape(column.unit)}</small>" if column.unit else "")
        + "</th>"
        for column in columns
    )
    inner = f"<thead><tr>{heads}</tr></thead><tbody>\n" + "\n".join(rows) + "</tbody>"
    return f'<div class="wide"><table class="write">{inner}</table></div>'
