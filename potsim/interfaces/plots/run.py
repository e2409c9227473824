"""Pictures of a run: axes in, axes out; nothing is shown or saved here."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from potsim.interfaces.plots import ink, ribbons
from potsim.interfaces.plots.volumes import Volumes, volumes_up_to
from potsim.planning.run import Run

if TYPE_CHECKING:
    from potsim.planning.ensemble.many import Ensemble

WIDTH_IN = 5.8
PENS = (ink.STREAM, ink.POOLED, ink.POT, ink.OVER)
STOP_LETTERS = 60  # of a line above the curve


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
        The axes drawn on; labels stand to the right of them, which ``layout="constrained"`` makes room for.
    """
    ax = new_axes() if ax is None else ax
    volumes = volumes_of(run)
    collected = volumes.per_l * run.collected_l
    values = (run.stream_abv, run.mean_abv, run.pot_abv, 100.0 * run.recovered)
    for value, pen in zip(values, PENS, strict=True):
        ax.plot(collected, value, **pen.style, solid_capstyle="round")
    ax.set_xlim(0.0, collected[-1])
    ax.set_ylim(0.0, 100.0)
    ax.set_xlabel(f"distillate collected, {volumes.unit} at 20 °C")
    ax.set_ylabel("% vol, and % of the alcohol")
    ink.plain(ax)
    ink.end_labels(ax, end_words(run), 8.5)
    ribbons.hatch_cloud(run, ax)
    _mark_cuts(run, ax)
    return ax


def volumes_of(run: Run) -> Volumes:
    """Return the unit of volume for the pictures of a run."""
    return volumes_up_to(float(run.collected_l[-1]))


def end_words(run: Run) -> list[tuple[float, str, str]]:
    """Return where each line ends [% vol, % of the alcohol], its label and its ink."""
    ends = run.stop
    told = (
        (ends.stream_abv, f"stream {ends.stream_abv:.0f} %"),
        (ends.mean_abv, f"all collected {ends.mean_abv:.0f} %"),
        (ends.pot_abv, f"left in pot {ends.pot_abv:.0f} %"),
        (100.0 * ends.recovered, f"{100.0 * ends.recovered:.0f} % of the\nalcohol is over"),
    )
    return [(height, words, pen.colour) for (height, words), pen in zip(told, PENS, strict=True)]


def plot_band(sure: Ensemble, ax: Axes) -> Axes:
    """Lay the band of the stream's strength behind the curve.

    Parameters
    ----------
    sure : Ensemble
        Runs drawn from what is uncertain.
    ax : matplotlib.axes.Axes
        Where to draw; its x axis is distillate collected, in the unit of `volumes_of`.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.
    """
    band = sure.curves["stream_abv"]
    collected = volumes_up_to(float(band.collected_l[-1])).per_l * band.collected_l
    ax.fill_between(collected, band.low, band.high, facecolor=ink.BLUE, alpha=0.22, linewidth=0, zorder=0)
    middle = len(collected) // 2
    ax.annotate(
        "9 runs in 10",
        xy=(float(collected[middle]), float(band.low[middle])),
        xytext=(0, -1.2 * ink.SIZE),
        textcoords="offset points",
        ha="center",
        fontsize=ink.SIZE - 1,
        color=ink.BLUE,
    )
    return ax


def top_words(run: Run) -> str:
    """Return the lines about the stop, which stand above the curve."""
    stop = run.stop
    first = f"stop at {volumes_of(run).words(stop.collected_l)}, minute {stop.elapsed_min:.0f}:"
    return "\n".join([first, *textwrap.wrap(run.end.words, STOP_LETTERS)])


def _mark_cuts(run: Run, ax: Axes) -> None:
    """Name heads and stop at the top of the picture, each beside its line."""
    volumes = volumes_of(run)
    right, heads = float(run.collected_l[-1]), run.setting.heads_l
    if 0.0 < heads < right:
        ax.axvline(volumes.per_l * heads, color=ink.INK, linewidth=0.8)
        ax.annotate(
            f"heads to {volumes.words(heads)}",
            xy=(volumes.per_l * heads, 101.0),
            xytext=(0, 2),
            textcoords="offset points",
            fontsize=ink.SIZE,
            color=ink.INK,
            annotation_clip=False,
        )
    ax.axvline(volumes.per_l * right, color=ink.INK, linewidth=0.8, clip_on=False)
    ax.annotate(
        top_words(run),
        xy=(volumes.per_l * right, 101.0),
        xytext=(0, 2.0 + 1.4 * ink.SIZE),  # a line above the heads, so that they never meet
        textcoords="offset points",
        ha="right",
        fontsize=ink.SIZE,
        color=ink.INK,
        annotation_clip=False,
    )
