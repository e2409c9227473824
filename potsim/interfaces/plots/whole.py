"""The whole picture of a run: the curve, the jars, the botanicals, and what is to be known beside them.

The rows are placed in inches, for the labels there are: the library's own search for a layout draws a picture
several times over.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from potsim.interfaces.plots import ink, ribbons
from potsim.interfaces.plots.run import WIDTH_IN, end_words, plot_band, plot_run, top_words
from potsim.planning.cloud import sentences
from potsim.planning.run import Run

if TYPE_CHECKING:
    from potsim.planning.ensemble.many import Ensemble

CURVE_IN, JARS_IN, RIBBON_IN = 3.0, 0.34, 0.3
LEFT_IN, AXIS_IN, GAP_IN, PAD_IN = (
    0.62,
    0.5,
    0.1,
    0.08,
)  # scale at the left, scale under the curve, between rows
TITLE_IN, LINE_IN = 0.28, 1.4 * ink.SIZE / 72.0
LETTERS = 92  # a line of words across the picture
WIDTHS = "Ribbons: the wider, the faster a botanical comes over; each to its own fastest."


@dataclass(frozen=True)
class _Row:
    """A row of the picture.

    Parameters
    ----------
    height_in : float
        Its height [in].
    above_in, below_in : float
        Room for words above and below it [in].
    """

    height_in: float
    above_in: float
    below_in: float


def figure_of_run(run: Run, sure: Ensemble | None = None, *, words: bool = True) -> Figure:
    """Return the whole picture of a run: the curve, the jars, the botanicals.

    Parameters
    ----------
    run : Run
        The run.
    sure : Ensemble, optional
        Runs drawn from what is uncertain; their band is laid behind the stream.
    words : bool
        Whether title and cloud are told, too; not where they stand beside the picture.

    Returns
    -------
    matplotlib.figure.Figure
        Ready to be saved.
    """
    title = run.plan.title if words else ""
    notes = _notes(run, words)
    rows = [
        _Row(CURVE_IN, LINE_IN * top_words(run).count("\n") + 1.3 * LINE_IN, AXIS_IN),
        _Row(JARS_IN, 0.0, GAP_IN),
    ]
    if len(run.flavours):
        rows.append(_Row(RIBBON_IN * len(run.flavours), 0.0, GAP_IN))
    head_in = PAD_IN + (TITLE_IN if title else 0.0)
    foot_in = PAD_IN + LINE_IN * len(notes)
    height_in = head_in + sum(row.above_in + row.height_in + row.below_in for row in rows) + foot_in
    figure = Figure(figsize=(WIDTH_IN, height_in))
    axes = _placed(figure, rows, head_in, right_in=_widest_in(run))
    if sure is not None:
        plot_band(sure, axes[0])
    plot_run(run, axes[0])
    ribbons.plot_jars(run, axes[1])
    if len(run.flavours):
        ribbons.plot_flavours(run, axes[2])
    at = {"x": PAD_IN / WIDTH_IN, "ha": "left", "color": ink.INK}
    if title:
        figure.suptitle(title, y=1.0 - PAD_IN / height_in, va="top", fontsize=ink.SIZE + 2, **at)
    if notes:
        below = PAD_IN / height_in
        figure.supxlabel("\n".join(notes), y=below, va="bottom", fontsize=ink.SIZE - 1, linespacing=1.4, **at)
    return figure


def _placed(figure: Figure, rows: list[_Row], head_in: float, right_in: float) -> list[Axes]:
    """Axes one under the other, with room for labels at the right."""
    width, height = figure.get_size_inches()
    across = (width - LEFT_IN - right_in - PAD_IN) / ink.BESIDE
    top, axes = head_in, []
    for row in rows:
        top += row.above_in
        bottom = height - top - row.height_in
        axes.append(
            figure.add_axes((LEFT_IN / width, bottom / height, across / width, row.height_in / height))
        )
        top += row.height_in + row.below_in
    return axes


def _widest_in(run: Run) -> float:
    """Width [in] of the widest label at the right."""
    texts = [words for _, words, _ in end_words(run)] + [ribbons.jar_words(run)]
    texts += [ribbons.flavour_words(flavour) for flavour in run.flavours]
    font = FontProperties(size=ink.SIZE)
    lines = {line for text in texts for line in text.splitlines()}
    return (
        max(text_to_path.get_text_width_height_descent(line, font, ismath=False)[0] for line in lines) / 72.0
    )


def _notes(run: Run, words: bool) -> list[str]:
    """Lines at the foot."""
    notes = [WIDTHS] if len(run.flavours) else []
    if run.cloud is not None and words:
        told = " ".join(sentences(run.cloud, run.plan.bottling.abv)[:2])
        # A number and its unit stay on one line.
        notes += textwrap.wrap(told.replace(" °C", "\xa0°C").replace(" %", "\xa0%"), LETTERS)
    return notes
