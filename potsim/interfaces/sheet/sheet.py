"""A run as one sheet to read, to print and to write on: a single file that needs nothing else."""

from __future__ import annotations

import html
import re
from collections.abc import Sequence

from potsim import __version__
from potsim.interfaces.sheet.jar_sheet import jar_sheet, proofing_sheet
from potsim.interfaces.sheet.style import STYLE
from potsim.interfaces.summary.run import format_minutes_whole, sections_of_run
from potsim.interfaces.summary.sources import sources_section
from potsim.interfaces.summary.sure import sure_section
from potsim.interfaces.summary.tables import Facts, Part, Points, Section, Table
from potsim.interfaces.wording import format_abv, format_volume
from potsim.planning.ensemble.many import Ensemble
from potsim.planning.run import Run

SAFETY, PROOFING, JARS = "Take care", "Proofing", "Jars"
LAST = ("What is assumed", "Not known here")
# Sections beside each other where there is room: those at the left, those at the right.
PAIRS = (
    (("How it runs", "Where it stops"), ("Cuts",)),
    (("Keep",), ("Alcohol", "Alcohol and money")),
)
IN_TWO = (SAFETY, *LAST)  # lists in two columns on paper


def page_of_run(run: Run, svg: str, sure: Ensemble | None = None) -> str:
    """Return the report of a run as an HTML page.

    Parameters
    ----------
    run : Run
        The run.
    svg : str
        Its picture.
    sure : Ensemble, optional
        Runs drawn from what is uncertain: a section on how sure it all is.

    Returns
    -------
    str
        The page; text, style and picture in one.
    """
    head, goes_in, *rest = sections_of_run(run)
    named = {section.title: section for section in rest}
    if sure is not None:
        doubts = sure_section(sure)
        named[doubts.title] = doubts
    safety, jars = named.pop(SAFETY), named.pop(JARS, None)
    last = [named.pop(title) for title in LAST if title in named]
    # The picture is named by its heading; what a drawing program would want to know of it is left out.
    picture = re.sub(r"<metadata>.*?</metadata>", "", svg[svg.index("<svg") :], flags=re.DOTALL)
    title = html.escape(head.title)
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{title}</title><style>{STYLE}</style></head><body>",
            f"<header><h1>{title}</h1>",
            *map(_part, head.parts),
            f"</header>{_key(run)}",
            f'<figure role="img" aria-label="{title}: strength along the run">{picture}</figure>',
            _section(goes_in, inner="aims"),
            _section(safety, "bench"),
            *([] if jars is None else [jar_sheet(run)]),
            *_bottling(run, named),
            *(_pair(named, *pair) for pair in PAIRS),
            *(_section(section, "whole") for section in (*named.values(), *last)),
            _section(sources_section(run), "fine"),
            f"<footer>potsim {__version__}. A forecast, computed from what is said above.</footer>",
            "</body></html>",
            "",
        ]
    )


def _key(run: Run) -> str:
    """The few numbers that are looked for first."""
    charge, stop, keep, made = run.charge, run.stop, run.keep, run.proofing
    heads = run.setting.heads_l
    if charge.ethanol_mol == 0.0:
        return _boxes(
            [
                ("in the pot", format_volume(charge.volume_l), "water"),
                ("stop", format_volume(stop.collected_l), format_minutes_whole(stop.elapsed_min)),
            ]
        )
    pairs = [
        ("in the pot", format_volume(charge.volume_l), format_abv(charge.abv)),
        ("heads", format_volume(heads) if heads > 0.0 else "none", "first over" if heads > 0.0 else ""),
        (
            "stop",
            format_abv(stop.stream_abv),
            f"{format_volume(stop.collected_l)} over, {format_minutes_whole(stop.elapsed_min)}",
        ),
        ("keep", format_volume(keep.volume_l), format_abv(keep.abv)),
    ]
    if made is not None:
        pairs.append(("water", format_volume(made.water_l), f"to {format_abv(made.target_abv)}"))
        size = "" if made.bottle_l is None else f"of {format_volume(made.bottle_l)}"
        bottles = ("bottled", format_volume(made.volume_l), "")
        pairs.append(bottles if made.bottles is None else ("bottles", str(made.bottles), size))
    return _boxes(pairs)


def _boxes(pairs: Sequence[tuple[str, str, str]]) -> str:
    boxes = (
        f"<div><dt>{html.escape(a)}</dt><dd>{html.escape(b)}<small>{html.escape(c)}</small></dd></div>"
        for a, b, c in pairs
    )
    return f'<dl class="key">{"".join(boxes)}</dl>'


def _bottling(run: Run, named: dict[str, Section]) -> list[str]:
    """The proofing, with lines to write on, first after the jar sheet."""
    if PROOFING not in named:
        return []
    section = _section(named.pop(PROOFING), "whole", inner="pair")
    return [section.replace("</section>", f"{proofing_sheet(run)}</section>", 1)]


def _pair(named: dict[str, Section], left: Sequence[str], right: Sequence[str]) -> str:
    """Sections beside each other, taken out of those that are still to come."""
    sides = [
        "".join(_section(named.pop(title), "whole") for title in titles if title in named)
        for titles in (left, right)
    ]
    return f'<div class="pair"><div>{sides[0]}</div><div>{sides[1]}</div></div>'


def _section(section: Section, kind: str = "", inner: str = "") -> str:
    kinds = " ".join(filter(None, (kind, "two" if section.title in IN_TWO else "")))
    parts = "\n".join(map(_part, section.parts))
    parts = f'<div class="{inner}">{parts}</div>' if inner else parts
    return f'<section class="{kinds}"><h2>{html.escape(section.title)}</h2>\n{parts}</section>'


def _part(part: Part) -> str:
    if isinstance(part, Table):
        return _table(part)
    if isinstance(part, Facts):
        pairs = (f"<dt>{html.escape(a)}</dt><dd>{html.escape(b)}</dd>" for a, b in part.pairs)
        return f'<dl class="facts">{"".join(pairs)}</dl>'
    if isinstance(part, Points):
        return f"<ul>{''.join(f'<li>{html.escape(text)}</li>' for text in part.texts)}</ul>"
    return f"<p>{html.escape(part)}</p>"


def _table(table: Table) -> str:
    side = ["" if column.align == "left" else ' class="n"' for column in table.columns]
    heads = (
        f'<th scope="col"{s}>{html.escape(c.head)}'
        + (f"<small>{html.escape(c.unit)}</small>" if c.unit else "")
        + "</th>"
        for s, c in zip(side, table.columns, strict=True)
    )
    rows = (
        "<tr>" + "".join(f"<td{s}>{html.escape(c)}</td>" for s, c in zip(side, row, strict=True)) + "</tr>"
        for row in table.rows
    )
    inner = f"<thead><tr>{''.join(heads)}</tr></thead><tbody>\n" + "\n".join(rows) + "</tbody>"
    return f'<div class="wide"><table>{inner}</table></div>'
