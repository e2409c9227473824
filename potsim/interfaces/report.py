"""A run as one page to read and to print: a single file that needs nothing else."""

from __future__ import annotations

import html
import re

from potsim import __version__
from potsim.interfaces.summary import sections_of_run
from potsim.interfaces.tables import Facts, Part, Points, Section, Table
from potsim.planning.run import Run

STYLE = """
body { font: 15px/1.45 system-ui, sans-serif; color: #222;
  max-width: 46rem; margin: 2rem auto; padding: 0 1rem }
h1 { font-size: 1.5rem } h2 { font-size: 1.05rem; margin: 1.6rem 0 .4rem; break-after: avoid }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; break-inside: auto }
.wide { overflow-x: auto }
th, td { padding: .12rem .9rem .12rem 0; vertical-align: top; text-align: left }
th { font-weight: 600; border-bottom: 1px solid #8a8a8a } tr { break-inside: avoid }
.n { text-align: right } th small { font-weight: 400; display: block; color: #555 }
dl { display: grid; grid-template-columns: 8rem 1fr; gap: .1rem .8rem; margin: .4rem 0 }
dt { color: #555 } dd { margin: 0 } ul { padding-left: 1.1rem; margin: .4rem 0 }
svg { max-width: 100%; height: auto }
footer { margin-top: 2rem; color: #555; font-size: .85rem }
@media print { body { font-size: 11px; margin: 0; max-width: none } }
"""


def page_of_run(run: Run, svg: str) -> str:
    """Return the report of a run as an HTML page.

    Parameters
    ----------
    run : Run
        The run.
    svg : str
        Its picture.

    Returns
    -------
    str
        The page; text, style and picture in one.
    """
    head, *rest = sections_of_run(run)
    picture = svg[svg.index("<svg") :]
    # The picture is named by its heading; what a drawing program would want to know of it is left out.
    picture = re.sub(r"<metadata>.*?</metadata>", "", picture, flags=re.DOTALL)
    title = html.escape(head.title)
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{title}</title><style>{STYLE}</style></head><body>",
            f"<h1>{title}</h1>",
            *map(_part, head.parts),
            f'<figure role="img" aria-label="{title}: strength along the run">{picture}</figure>',
            *map(_section, rest),
            f"<footer>potsim {__version__}. A forecast, computed from what is said above.</footer>",
            "</body></html>",
            "",
        ]
    )


def _section(section: Section) -> str:
    parts = "\n".join(map(_part, section.parts))
    return f"<section><h2>{html.escape(section.title)}</h2>\n{parts}</section>"


def _part(part: Part) -> str:
    if isinstance(part, Table):
        return _table(part)
    if isinstance(part, Facts):
        pairs = (f"<dt>{html.escape(a)}</dt><dd>{html.escape(b)}</dd>" for a, b in part.pairs)
        return f"<dl>{''.join(pairs)}</dl>"
    if isinstance(part, Points):
        return f"<ul>{''.join(f'<li>{html.escape(text)}</li>' for text in part.texts)}</ul>"
    return f"<p>{html.escape(part)}</p>"


def _table(table: Table) -> str:
    side = ["" if column.align == "left" else ' class="n"' for column in table.columns]
    heads = (
        f"<th{s}>{html.escape(c.head)}"
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
