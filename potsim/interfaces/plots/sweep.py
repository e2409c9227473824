"""The picture of runs that differ in one number: a fan of curves, each labelled where it is free."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from potsim.errors import RequestError
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import WIDTH_IN, new_axes
from potsim.interfaces.plots.volumes import volumes_up_to
from potsim.interfaces.summary.sweep_words import number_words, short_words, value_words
from potsim.planning.asking.sweep import Row, Sweep

Array = NDArray[np.float64]

MAP, DARKEST, PALEST = "cividis", 0.0, 0.82  # its lightness only rises, so that grey tells the order, too
WEIGHT, OWN_WEIGHT = 1.5, 3.2
LINE_PT = 1.35 * ink.SIZE  # from label to label
LETTER_PT = 0.58 * ink.SIZE  # width of a letter, generously
LEADER_PT = 14.0  # from curve to label
FAR = 1e6  # % vol; labels may go anywhere
ROUNDS = 4  # the axes grow, and the labels with them


@dataclass(frozen=True)
class _Curve:
    """One run as it is drawn."""

    row: Row
    collected: Array
    abv: Array
    colour: str | tuple[float, ...]
    words: str

    @property
    def weight(self) -> float:
        return OWN_WEIGHT if self.row.planned else WEIGHT


def plot_sweep(sweep: Sweep, ax: Axes | None = None) -> Axes:
    """Draw the strength of the stream against the distillate, a curve for each value.

    Parameters
    ----------
    sweep : Sweep
        The runs; values that cannot be run are left out.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure's when left out.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    RequestError
        If no value can be run.

    Notes
    -----
    The labels stand beside the first drop or beside the stop, wherever the curves lie further apart. Where
    there are more curves than room, some labels are left out; that of the plan never is.
    """
    unit, curves = _curves(sweep)
    ax = new_axes() if ax is None else ax
    for curve in curves:
        order = 3 if curve.row.planned else 2
        ax.plot(curve.collected, curve.abv, color=curve.colour, linewidth=curve.weight, zorder=order)
        ax.plot(
            curve.collected[-1:],
            curve.abv[-1:],
            "o",
            color=curve.colour,
            markersize=1.6 * curve.weight,
            zorder=order,
            clip_on=False,
        )
    _frame(ax, curves)
    ax.set_xlabel(f"distillate collected, {unit} at 20 °C; each curve ends at the stop")
    ax.set_ylabel("strength of the stream, % vol")
    ink.plain(ax)
    _label(ax, curves, short_words(sweep.number))
    return ax


def figure_of_sweep(sweep: Sweep) -> Figure:
    """Return the whole picture of a sweep.

    Parameters
    ----------
    sweep : Sweep
        The runs.

    Returns
    -------
    matplotlib.figure.Figure
        Ready to be saved.
    """
    figure = Figure(figsize=(WIDTH_IN, 4.6), layout="constrained")
    plot_sweep(sweep, figure.add_subplot())
    stays = "" if sweep.same is None else f", the same {sweep.same}"
    title = f"{sweep.plan.title}: {number_words(sweep.number)}{stays}"
    figure.suptitle(title, x=0.01, ha="left", fontsize=ink.SIZE + 2, color=ink.INK)
    return figure


def _curves(sweep: Sweep) -> tuple[str, list[_Curve]]:
    """Unit of volume, and curves of all that can be run, the lowest value first and darkest."""
    rows = [(row, row.run) for row in sweep.with_own if row.run is not None]
    if not rows:
        why = sweep.rows[0].refusal
        raise RequestError(f"None of the values of {sweep.number.name} can be run.", why)
    curves = []
    volumes = volumes_up_to(max(float(run.collected_l[-1]) for _, run in rows))
    for k, (row, run) in enumerate(rows):
        share = k / max(len(rows) - 1, 1)
        colour = ink.INK if row.planned else colormaps[MAP](DARKEST + share * (PALEST - DARKEST))
        words = ("plan, " if row.planned else "") + value_words(sweep.number, row.value, planned=row.planned)
        curves.append(_Curve(row, volumes.per_l * run.collected_l, run.stream_abv, colour, words))
    return volumes.unit, curves


def _frame(ax: Axes, curves: list[_Curve]) -> None:
    low = min(float(curve.abv.min()) for curve in curves)
    high = max(float(curve.abv.max()) for curve in curves)
    room = max(0.06 * (high - low), 1.0)
    ax.set_ylim(max(low - room, 0.0), min(high + room, 100.0))
    ax.set_xlim(0.0, 1.02 * max(float(curve.collected[-1]) for curve in curves))


def _label(ax: Axes, curves: list[_Curve], heading: str) -> None:
    """Write a column of labels at one side, with room made for it and lines that lead to the curves."""
    labelled = _some(curves, int(ax.get_window_extent().height / (LINE_PT * _px(ax))) - 2)
    starts, ends = ([float(curve.abv[k]) for curve in labelled] for k in (0, -1))
    apart = _line(ax)
    left = _crowding(starts, apart) <= _crowding(ends, apart)
    k = 0 if left else -1
    heights = _make_height(ax, starts if left else ends)
    edge = _make_room(ax, max(len(words) for words in (heading, *(curve.words for curve in labelled))), left)
    for curve, height in zip(labelled, heights, strict=True):
        ax.annotate(
            curve.words,
            xy=(float(curve.collected[k]), float(curve.abv[k])),
            xytext=(edge, height),
            ha="right" if left else "left",
            va="center",
            fontsize=ink.SIZE,
            color=ink.INK,
            fontweight="bold" if curve.row.planned else "normal",
            arrowprops={
                "arrowstyle": "-",
                "color": ink.FAINT,
                "linewidth": 0.6,
                "relpos": (1.0 if left else 0.0, 0.5),
                "shrinkA": 1,
                "shrinkB": 0,
            },
        )
    ax.text(
        edge,
        max(heights) + _line(ax),
        heading,
        ha="right" if left else "left",
        va="center",
        fontsize=ink.SIZE,
        color=ink.INK,
        style="italic",
    )


def _px(ax: Axes) -> float:
    """Pixels a point."""
    return ax.figure.dpi / 72.0


def _line(ax: Axes) -> float:
    """Height of a line of labels, in data units."""
    low, high = ax.get_ylim()
    return (high - low) * LINE_PT * _px(ax) / ax.get_window_extent().height


def _make_height(ax: Axes, wanted: list[float]) -> list[float]:
    """Places for labels, with the axes made high enough for them and a heading."""
    low, high = ax.get_ylim()
    for _ in range(ROUNDS):
        apart = _line(ax)
        places = ink.spread(wanted, apart, -FAR, FAR)
        ax.set_ylim(min(low, min(places) - apart), max(high, max(places) + 2.0 * apart))
    return places


def _make_room(ax: Axes, letters: int, left: bool) -> float:
    """Widen the axes for a column of labels, and return where it stands; the ticks stay."""
    per_pt = _px(ax) / ax.get_window_extent().width
    wide = (letters * LETTER_PT + LEADER_PT) * per_pt
    end = ax.get_xlim()[1]
    ticks = [tick for tick in ax.get_xticks() if 0.0 <= tick <= end]
    whole = end / (1.0 - wide)
    ax.set_xlim(*((end - whole, end) if left else (0.0, whole)))
    ax.set_xticks(ticks)
    lead = LEADER_PT * per_pt * whole
    return -lead if left else end + lead


def _some(curves: list[_Curve], most: int) -> list[_Curve]:
    """As many of the curves as can be labelled, evenly taken, the plan's always."""
    step = -(-len(curves) // max(most - 1, 1))
    return [curve for k, curve in enumerate(curves) if k % step == 0 or curve.row.planned]


def _crowding(heights: list[float], apart: float) -> float:
    """How far labels would have to be moved."""
    placed = ink.spread(heights, apart, -FAR, FAR)
    return sum(abs(there - wanted) for there, wanted in zip(placed, heights, strict=True))
