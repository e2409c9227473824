"""Files of a run and of a sweep: sheet for screen and paper (A4, black on white), picture, numbers."""

from __future__ import annotations

import html
import io
import re
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Any

from potsim import __version__
from potsim.interfaces.output import csv_of
from potsim.interfaces.report import Column, Facts, Part, Points, Section, Table, Told, tabulate
from potsim.interfaces.report.card import facts
from potsim.interfaces.report.flavours import limit_words
from potsim.interfaces.report.jars import jar_notes, use
from potsim.interfaces.report.run import sections_of_run, sources_section
from potsim.interfaces.report.sweep import sure_section
from potsim.interfaces.wording import (
    as_planned,
    exactly,
    format_abv,
    format_mass,
    format_temperature,
    format_volume,
    made_for,
    metric,
    say,
    unit_of,
)
from potsim.liquid.strength import REFERENCE_C
from potsim.planning.notes import EVERY_RUN
from potsim.planning.run import Run
from potsim.planning.stops import QUANTITIES
from potsim.planning.sweep import Sweep, card

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from potsim.planning.ensemble import Ensemble

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"  # runs nothing, asks for nothing
STYLE = """
@page { size: A4; margin: 13mm 14mm 15mm;
  @bottom-left { content: "potsim"; font: 8pt system-ui, sans-serif; color: #666 }
  @bottom-right { content: counter(page) " of " counter(pages);
    font: 8pt system-ui, sans-serif; color: #666 } }
:root { color-scheme: light }
* { box-sizing: border-box }
body { font: 15px/1.42 system-ui, sans-serif; color: #1c1c1c; background: #fff;
  max-width: 56rem; margin: 1.6rem auto; padding: 0 1rem }
header { border-bottom: 2px solid #1c1c1c; margin-bottom: .9rem }
h1 { font-size: 1.75rem; line-height: 1.15; margin: 0 0 .25rem; overflow-wrap: anywhere }
header p { margin: 0 0 .6rem; max-width: 44rem }
h2 { font-size: 1.02rem; margin: 1.35rem 0 .35rem; padding-bottom: .12rem;
  border-bottom: 1px solid #bbb; break-after: avoid }
p { margin: .4rem 0 } section > p { max-width: 46rem }
.wide { overflow-x: auto }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; margin: .3rem 0 }
th, td { padding: .12rem .85rem .12rem 0; vertical-align: top; text-align: left }
th { font-weight: 600; border-bottom: 1px solid #777; vertical-align: bottom }
tbody tr:nth-child(3n) td { border-bottom: 1px dotted #ccc }
tr { break-inside: avoid } thead { display: table-header-group }
.n { text-align: right; white-space: nowrap } th small { font-weight: 400; display: block; color: #555 }
dl.facts { display: grid; grid-template-columns: max-content 1fr; gap: .1rem .9rem; margin: .4rem 0 }
.facts dt { color: #555 } .facts dd { margin: 0; overflow-wrap: anywhere }
ul { padding-left: 1.05rem; margin: .4rem 0 } li { margin: .12rem 0; break-inside: avoid }
figure { margin: .8rem 0 } svg { display: block; width: 100%; max-width: 40rem; height: auto; margin: 0 auto }
.pair { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(21rem, 100%), 1fr));
  gap: 0 2.2rem } .pair > * { min-width: 0 } .pair th, .pair td { padding-right: .6rem }
.write { width: 100% } .write th, .write td { padding: .1rem .5rem .1rem 0 }
.write td { border-bottom: 1px solid #bbb; height: 1.95rem; vertical-align: middle }
.write tbody tr:nth-child(3n) td { border-bottom: 1px solid #bbb }
.write .blank { border-left: 1px solid #bbb; border-bottom: 1px solid #555; min-width: 3.6rem }
.write th.blank { border-left: 1px solid #bbb; border-bottom: 1px solid #777; padding-left: .4rem }
.write td.blank { padding-left: .4rem }
.write .broad { min-width: 10rem } .write .box { min-width: 2.6rem } .write th { white-space: nowrap }
 .write tr.cut td { border-top: 2px solid #1c1c1c }
.hint { font-size: .8rem; color: #444; line-height: 1.15 } td.marks { min-width: 8.2rem; border-color: #ddd }
.lines { display: grid; grid-template-columns: repeat(auto-fit, minmax(11rem, 1fr)); gap: .7rem 1.4rem;
  margin: .7rem 0 1rem }
.lines span { border-bottom: 1px solid #555; padding-bottom: .1rem; color: #555; font-size: .85rem;
  min-height: 1.7rem; display: flex; align-items: flex-end }
.fine { font-size: .86rem; color: #333 }
footer { margin-top: 1.6rem; color: #555; font-size: .85rem; border-top: 1px solid #bbb; padding-top: .3rem }
.aims { display: grid; grid-template-columns: minmax(0, 3fr) minmax(0, 2fr);
  gap: 0 2.2rem; align-items: start }
.aims .wide { grid-column: 1 } .aims dl { grid-column: 2; grid-row: 1 / span 3 }
@media (max-width: 44rem) { .aims { display: block } }
@media print {
  body { font-size: 9.4pt; line-height: 1.33; margin: 0; padding: 0; max-width: none }
  section.whole { break-inside: avoid } .bench { break-before: page }
  .wide { overflow: visible } section > p { max-width: none }
  svg { max-width: 150mm; max-height: 160mm } figure { margin: 2mm 0; break-inside: avoid }
  h2 { margin-top: 4.5mm }
  .two ul { columns: 2; column-gap: 7mm }
  .fine { font-size: 8pt }
  .write td { height: 7.6mm } .hint { font-size: 7.4pt }
  .lines { grid-template-columns: repeat(3, 1fr) }
  .pair { grid-template-columns: 1fr 1fr; gap: 0 7mm } .pair table { font-size: 8.3pt }
  .pair th, .pair td { padding-right: .38rem } .aims { gap: 0 8mm }
}
"""


# --- The part of a run's sheet that is written on beside the still: a line a jar, and the proofing.


WEIGH = (
    "Weigh each jar empty and write it on the lid: on the scales it is full at its own weight and what "
    "is foretold. What stands under vapour, and under stream, is so when the jar is taken away."
)
READ = (
    " Strength and temperature are read together, in the cool jar; the hydrometer shows more than there "
    "is when the spirit is warmer than {made_for}, for which it is made."
)


def jar_sheet(run: Run) -> str:
    """Return the jar sheet: what is foretold of each jar, and room for what is found."""
    jars, kept, marks = run.jars, set(run.keep.jars), _marks(run)
    spirit = run.charge.ethanol_mol > 0.0
    of = dict(zip(jars, marks, strict=True)) if marks else {}
    foretold = tabulate(
        jars,
        Told("jar", lambda jar: str(jar.number), "right"),
        Told("for", lambda jar: use(jar, kept)),
        Told("size", lambda jar: metric("volume", jar.size_l), "right"),
        Told("until", lambda jar: jar.to_l, "volume_column"),
        Told("at", lambda jar: jar.full_min, "minutes"),
        Told("to hold", lambda jar: jar.mass_g, "mass_about"),
        Told("foretold", lambda jar: jar.abv, "abv_column") if spirit else None,
        Told("stream", lambda jar: jar.end_abv, "abv_column") if spirit else None,
        Told("vapour", lambda jar: jar.vapour_c, "temperature"),
        Told("marked by", of.get) if of else None,
    )
    strength, warmth = unit_of("abv_column"), unit_of("temperature")
    blank = (
        *(((("strength", f"read, {strength}", ""), ("spirit", f"at, {warmth}", ""))) if spirit else ()),
        ("vapour", warmth, ""),
        ("smell and taste", "", "broad"),
        ("keep", "yes, no", "box"),
    )
    cut = {k for k in range(1, len(jars)) if jars[k - 1].role != jars[k].role}
    made_for_c = REFERENCE_C if run.proofing is None else run.proofing.calibrated_c
    read = READ.format(made_for=made_for(made_for_c)) if spirit else ""
    heads = (
        *("date", f"room, {warmth}", f"barometer, {unit_of('pressure')}"),
        *("heat on at", "first drop at", "stopped at"),
    )
    lines = "".join(f"<span>{html.escape(text)}</span>" for text in heads)
    return (
        f"<section><h2>Jar sheet: {html.escape(run.plan.title)}</h2>"
        f'<div class="lines">{lines}</div>{_written(foretold, blank, cut)}{_points(jar_notes(run))}'
        f'<p class="fine">{WEIGH}{read}</p></section>'
    )


def _marks(run: Run) -> list[str]:
    """What marks each jar; nothing without botanicals."""
    if not run.bill:
        return []
    marks = [", ".join(names) for names in run.flavours.marks]
    # Said once for jars that follow on each other.
    return [mark if k == 0 or mark != marks[k - 1] else "" for k, mark in enumerate(marks)]


def proofing_sheet(run: Run) -> str:
    """Return the lines on which the proofing is written down."""
    made, keep, by = run.proofing, run.keep, run.plan.bottling.stretch
    if made is None:
        return ""
    warmth, at = unit_of("temperature"), say("temperature_short", made.at_c)
    rows = [
        ("jars kept", "", "which"),
        ("keep", f"{format_volume(keep.volume_l)}, {format_mass(keep.mass_g)}", "volume or grams"),
        ("its strength", format_abv(keep.abv), f"read, and at {warmth}"),
    ]
    if by is not None:
        added = f"{format_volume(by.spirit_l)} at {format_abv(by.abv)}"
        rows.append(("spirit added", added, "volume, strength"))
    for one in made.additions:
        name = f"water {one.number}" if len(made.additions) > 1 else "water"
        grams, litres = say("mass", 1000.0 * one.water_kg), exactly(one.water_at_c_l)
        rows.append((name, f"{grams}, or {litres} at {at}", "grams"))
    shows = f"{format_abv(made.reading_abv)} at {format_temperature(made.at_c)}"
    rows += [
        ("after a rest the hydrometer shows", shows, f"read, and at {warmth}"),
        ("in all", format_volume(made.volume_l), "volume"),
        *_glass(run),
    ]
    if made.bottles is not None and made.bottle_l is not None:
        size, rest = metric("volume", made.bottle_l), format_volume(made.left_over_l)
        rows.append(("bottles", f"{made.bottles} of {size}, {rest} left over", "number"))
    table = tabulate(rows, Told("", lambda row: row[0]), Told("foretold", lambda row: row[1]))
    return _written(table, (("found", "", "broad"),), hints=[row[2] for row in rows])


def _glass(run: Run) -> list[tuple[str, str, str]]:
    """Where a glass of the keep, let down with water, is foretold to haze: warm, and from the fridge."""
    found = run.cloud
    if found is None or found.never:
        return []
    glass = "20 mL in a glass against something dark, water by drops: first haze"
    return [
        (f"{glass} at {format_temperature(one.at_c)}", limit_words(one), "strength")
        for one in (found.room, found.chilled)
    ]


def _written(
    table: Table,
    blank: Sequence[tuple[str, str, str]],
    cut: Collection[int] = (),
    hints: Sequence[str] | None = None,
) -> str:
    """A table with columns to write in: head, unit and class of each; a line where the cut is."""
    marks = ["hint marks" if one.head == "marked by" else _side(one) for one in table.columns]
    wide = [f"blank {kind}".rstrip() for *_, kind in blank]
    heads = [(one.head, one.unit, kind) for one, kind in zip(table.columns, marks, strict=True)]
    heads += [(head, unit, kind) for (head, unit, _), kind in zip(blank, wide, strict=True)]
    if hints is not None:
        wide = [f"{kind} hint" for kind in wide]
    rows = [
        _cells((*row, *(("" if hints is None else hints[k]) for _ in blank)), [*marks, *wide], k in cut)
        for k, row in enumerate(table.rows)
    ]
    return _html_table(heads, rows, "write")


def _side(column: Column) -> str:
    return "n" if column.align == "right" else ""


def _cells(texts: Sequence[str], kinds: Sequence[str], cut: bool = False) -> str:
    cells = (f'<td class="{kind}">{html.escape(text)}</td>' for text, kind in zip(texts, kinds, strict=True))
    begin = '<tr class="cut">' if cut else "<tr>"
    return f"{begin}{''.join(cells)}</tr>"


def _html_table(heads: Sequence[tuple[str, str, str]], rows: Sequence[str], kind: str = "") -> str:
    """Heads, each with unit and class, over rows."""
    told = "".join(
        f'<th scope="col" class="{side}">{html.escape(head)}'
        + (f"<small>{html.escape(unit)}</small></th>" if unit else "</th>")
        for head, unit, side in heads
    )
    inner = f"<thead><tr>{told}</tr></thead><tbody>\n" + "\n".join(rows) + "</tbody>"
    return f'<div class="wide"><table class="{kind}">{inner}</table></div>'


# --- A run as one sheet to read, to print and to write on: a single file that needs nothing else.


SAFETY, PROOFING, JARS, ASSUMED = "Take care", "Proofing", "Jars", "What is assumed"
# Sections beside each other where there is room: those at the left, those at the right.
PAIRS = ((("How it runs", "Where it stops"), ("Cuts",)), (("Keep",), ("Alcohol", "Alcohol and money")))
IN_TWO = (SAFETY, ASSUMED)  # lists in two columns on paper


@as_planned
def page_of_run(run: Run, svg: str, sure: Ensemble | None = None) -> str:
    """Return the report of a run as an HTML page."""
    head, goes_in, *rest = sections_of_run(run)
    named = {section.title: section for section in rest}
    if sure is not None:
        doubts = sure_section(sure)
        named[doubts.title] = doubts
    safety, jars, assumed = named.pop(SAFETY), named.pop(JARS, None), named.pop(ASSUMED, None)
    # The picture is named by its heading; what a drawing program would want to know of it is left out.
    picture = re.sub(r"<metadata>.*?</metadata>", "", svg[svg.index("<svg") :], flags=re.DOTALL)
    title = html.escape(head.title)
    return _page(
        title,
        f"<header><h1>{title}</h1>",
        part_of_page(Facts(tuple(facts(card(run), more="")))),
        "</header>",
        f'<figure role="img" aria-label="{title}: strength along the run">{picture}</figure>',
        _section(goes_in, inner="aims"),
        _section(safety, "bench"),
        *([] if jars is None else [jar_sheet(run)]),
        *_bottling(run, named),
        *(_pair(named, *pair) for pair in PAIRS),
        *(_section(section, "whole") for section in (*named.values(), *filter(None, (assumed,)))),
        _section(sources_section(run), "fine"),
    )


def page_of_bench(run: Run) -> str:
    """Return what lies beside the still, on one page where the jars are few: jars, bottling, what to mind."""
    title = html.escape(run.plan.title)
    named = {section.title: section for section in sections_of_run(run)[2:]}
    every = [said for note, said in zip(run.heed, run.cautions, strict=True) if note.kind == EVERY_RUN]
    return _page(
        title,
        jar_sheet(run) if JARS in named else f"<h1>{title}</h1>",
        f"<section>{proofing_sheet(run)}</section>",
        f'<section class="two fine">{_points(every)}</section>',
    )


def _page(title: str, *parts: str) -> str:
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">',
            f"<title>{title}</title><style>{STYLE}</style></head><body>",
            *parts,
            f"<footer>potsim {__version__}. A forecast, computed from what is said above.</footer>",
            "</body></html>",
            "",
        ]
    )


def _bottling(run: Run, named: dict[str, Section]) -> list[str]:
    """The proofing first after the jar sheet, with lines to write on in place of its figures."""
    if PROOFING not in named:
        return []
    notes = part_of_page(named.pop(PROOFING).parts[-1])
    return [f'<section class="whole"><h2>{PROOFING}</h2>{proofing_sheet(run)}{notes}</section>']


def _pair(named: dict[str, Section], left: Sequence[str], right: Sequence[str]) -> str:
    """Sections beside each other, taken out of those that are still to come."""
    sides = [
        "".join(_section(named.pop(title), "whole") for title in titles if title in named)
        for titles in (left, right)
    ]
    return f'<div class="pair"><div>{sides[0]}</div><div>{sides[1]}</div></div>'


def _section(section: Section, kind: str = "", inner: str = "") -> str:
    kinds = " ".join(filter(None, (kind, "two" if section.title in IN_TWO else "")))
    parts = "\n".join(map(part_of_page, section.parts))
    parts = f'<div class="{inner}">{parts}</div>' if inner else parts
    return f'<section class="{kinds}"><h2>{html.escape(section.title)}</h2>\n{parts}</section>'


def part_of_page(part: Part) -> str:
    """Return a part as HTML."""
    if isinstance(part, Table):
        return _table(part)
    if isinstance(part, Facts):
        pairs = (f"<dt>{html.escape(a)}</dt><dd>{html.escape(b)}</dd>" for a, b in part.pairs)
        return f'<dl class="facts">{"".join(pairs)}</dl>'
    if isinstance(part, Points):
        return _points(part.texts)
    return f"<p>{html.escape(part)}</p>"


def _points(texts: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{html.escape(text)}</li>' for text in texts)}</ul>" if texts else ""


def _table(table: Table) -> str:
    sides = list(map(_side, table.columns))
    heads = [(one.head, one.unit, side) for one, side in zip(table.columns, sides, strict=True)]
    return _html_table(heads, [_cells(row, sides) for row in table.rows])


# --- Runs, and runs that differ in one number, as files: picture, numbers, page.


# Files that come out the same whenever they are written.
_UNDATED: dict[str, dict[str, Any]] = {"svg": {"Date": None}, "pdf": {"CreationDate": None}, "png": {}}


def content(run: Run, what: str, kind: str, sure: Ensemble | None = None) -> str | bytes:
    """Return what a file of a run holds."""
    if what == "plot":
        return picture(run, kind, sure)
    if what == "csv":
        return numbers(run)
    from potsim.interfaces.plots.run import figure_of_run  # start-up: pictures only where they are asked for
    from potsim.interfaces.report.sheet import page_of_run

    figure = figure_of_run(run, sure, words=False)  # they are said on the page itself
    return page_of_run(run, saved(figure, "svg").decode(), sure)


def picture(run: Run, kind: str, sure: Ensemble | None = None) -> bytes:
    """Return the picture of a run as a file."""
    from potsim.interfaces.plots.run import figure_of_run

    return saved(figure_of_run(run, sure), kind)


def saved(figure: Figure, kind: str) -> bytes:
    """Return a figure as a file that comes out the same whenever it is written."""
    import matplotlib as mpl

    made = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "potsim"}):
        figure.savefig(made, format=kind, dpi=150, metadata=_UNDATED[kind])
    return made.getvalue()


def numbers(run: Run) -> str:
    """Return the curve of a run as CSV."""
    columns = [getattr(run.profile, name).tolist() for name in QUANTITIES]
    return csv_of([QUANTITIES, *([repr(value) for value in row] for row in zip(*columns, strict=True))])


def sweep_content(sweep: Sweep, what: str, kind: str) -> str | bytes:
    """Return what a file of a sweep holds."""
    if what == "csv":
        return sweep_numbers(sweep)
    from potsim.interfaces.plots.others import figure_of_sweep

    return saved(figure_of_sweep(sweep), kind)


def sweep_numbers(sweep: Sweep) -> str:
    """Return the table of a sweep as CSV."""
    rows = []
    for row in sweep.rows:
        cells = row.numbers()
        cells["cautions"] = " ".join(row.cautions)
        for place in row.places:
            name = place.botanical.replace(" ", "_")
            told = place.to_dict()
            cells |= {f"{name}_{key}": told[key] for key in told if key != "botanical"}
        rows.append(cells)
    columns = list(dict.fromkeys(name for cells in rows for name in cells))
    return csv_of([columns, *([cells.get(name, "") for name in columns] for cells in rows)])
