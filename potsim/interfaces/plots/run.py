"""Pictures of a run: axes in, axes out; nothing is shown or saved here."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from potsim.interfaces.plots import ink, ribbons
from potsim.planning.cloud import sentences
from potsim.planning.run import Run

if TYPE_CHECKING:
    from potsim.planning.ensemble.many import Ensemble

WIDTH_IN = 5.8
CURVE_IN, JARS_IN, RIBBON_IN, MARGIN_IN = 3.6, 0.42, 0.3, 1.1


def new_axes(height_in: float = 4.2) -> Axes:
    """Return axes on a figure of their own, the width of a phone.

    Parameters
    ----------
    height_in : float
        Height of the figure [in].

    Returns
    -------
    matplotlib.axes.Axes
        Empty axes; ``ax.figure.savefig(...)`` writes the picture.
    """
    figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
    return figure.add_subplot()


def plot_run(run: Run, ax: Axes | None = None) -> Axes:
    """Draw strength and recovery against the distillate collected.

    Parameters
    ----------
    run : Run
        The run.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure's when left out.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.
    """
    ax = new_axes() if ax is None else ax
    ml = 1000.0 * run.collected_l
    lines = [
        (run.stream_abv, ink.STREAM, "stream {:.0f} %"),
        (run.mean_abv, ink.POOLED, "all collected {:.0f} %"),
        (run.pot_abv, ink.POT, "left in pot {:.0f} %"),
        (100.0 * run.recovered, ink.OVER, "{:.0f} % of the\nalcohol is over"),
    ]
    for values, pen, _ in lines:
        ax.plot(ml, values, **pen.style, solid_capstyle="round")
    ax.set_xlim(0.0, ml[-1])
    ax.set_ylim(0.0, 100.0)
    ax.set_xlabel("distillate collected, mL at 20 °C")
    ax.set_ylabel("% vol, and % of the alcohol")
    ink.plain(ax)
    labels = [(float(values[-1]), words.format(values[-1]), pen.colour) for values, pen, words in lines]
    ink.end_labels(ax, labels, 8.5)
    ribbons.hatch_cloud(run, ax)
    _mark_cuts(run, ax)
    return ax


def plot_band(sure: Ensemble, ax: Axes) -> Axes:
    """Lay the band of the stream's strength behind the curve.

    Parameters
    ----------
    sure : Ensemble
        Runs drawn from what is uncertain.
    ax : matplotlib.axes.Axes
        Where to draw; its x axis is distillate collected [mL].

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.
    """
    band = sure.curves["stream_abv"]
    ml = 1000.0 * band.collected_l
    ax.fill_between(ml, band.low, band.high, facecolor=ink.BLUE, alpha=0.22, linewidth=0, zorder=0)
    middle = len(ml) // 2
    ax.annotate(
        "9 runs in 10",
        xy=(float(ml[middle]), float(band.low[middle])),
        xytext=(0, -1.2 * ink.SIZE),
        textcoords="offset points",
        ha="center",
        fontsize=ink.SIZE - 1,
        color=ink.BLUE,
    )
    return ax


def _mark_cuts(run: Run, ax: Axes) -> None:
    """Name heads and stop at the top of the picture, each beside its line."""
    right = 1000.0 * float(run.collected_l[-1])
    heads = 1000.0 * run.setting.heads_l
    if 0.0 < heads < right:
        ax.axvline(heads, color=ink.INK, linewidth=0.8)
        ax.annotate(
            f"heads to {heads:.0f} mL",
            xy=(heads, 101.0),
            xytext=(0, 2),
            textcoords="offset points",
            fontsize=ink.SIZE,
            color=ink.INK,
            annotation_clip=False,
        )
    ax.axvline(right, color=ink.INK, linewidth=0.8, clip_on=False)
    stop = run.stop
    ax.annotate(
        f"stop at {right:.0f} mL, minute {stop.elapsed_min:.0f}:\n{run.end.words}",
        xy=(right, 101.0),
        xytext=(0, 2.0 + 1.4 * ink.SIZE),  # a line above the heads, so that they never meet
        textcoords="offset points",
        ha="right",
        fontsize=ink.SIZE,
        color=ink.INK,
        annotation_clip=False,
    )


def figure_of_run(run: Run, sure: Ensemble | None = None) -> Figure:
    """Return the whole picture of a run: the curve, the jars, the botanicals.

    Parameters
    ----------
    run : Run
        The run.
    sure : Ensemble, optional
        Runs drawn from what is uncertain; their band is laid behind the stream.

    Returns
    -------
    matplotlib.figure.Figure
        Ready to be saved.
    """
    rows = [CURVE_IN, JARS_IN]
    if len(run.flavours):
        rows.append(RIBBON_IN * len(run.flavours))
    figure = Figure(figsize=(WIDTH_IN, sum(rows) + MARGIN_IN), layout="constrained")
    axes = figure.subplots(len(rows), 1, gridspec_kw={"height_ratios": rows})
    if sure is not None:
        plot_band(sure, axes[0])
    plot_run(run, axes[0])
    ribbons.plot_jars(run, axes[1])
    if len(run.flavours):
        ribbons.plot_flavours(run, axes[2])
    figure.suptitle(run.plan.title, x=0.01, ha="left", fontsize=ink.SIZE + 2, color=ink.INK)
    if run.cloud is not None:
        words = textwrap.fill(" ".join(sentences(run.cloud, run.plan.bottling.abv)[:2]), 88)
        figure.supxlabel(words, x=0.01, ha="left", fontsize=ink.SIZE - 1, color=ink.INK)
    return figure
