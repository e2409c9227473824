"""Rows under the curve: the jars to scale, and where each botanical comes over."""

from __future__ import annotations

import textwrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from potsim.interfaces.plots import ink
from potsim.interfaces.plots.volumes import volumes_up_to
from potsim.planning.botanical_flavour import BotanicalFlavour
from potsim.planning.run import Run

HATCH = {"heads": "////", "keep": "", "tails": "...."}
DIGIT = 0.026  # of the width of the picture, for each digit of a number inside a jar
FULL = 0.84  # height of a ribbon where a botanical comes fastest, in rows
LETTERS = 34  # of a line beside a ribbon
CLASS_WORDS = {"early": "early", "middle": "in the middle", "late": "late"}


def plot_jars(run: Run, ax: Axes) -> Axes:
    """Draw the jars as a row to scale, roles by hatching and words.

    Parameters
    ----------
    run : Run
        The run.
    ax : matplotlib.axes.Axes
        Where to draw; its x axis is distillate collected [L].

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.
    """
    width = float(run.collected_l[-1])
    kept = set(run.keep.jars)
    for jar in run.jars:
        left, right = jar.from_l, jar.to_l
        ax.add_patch(
            Rectangle(
                (left, 0.0),
                right - left,
                1.0,
                facecolor="#e4e4e4" if jar.number in kept else "white",
                edgecolor=ink.INK,
                linewidth=0.8,
                hatch=HATCH[jar.role],
            )
        )
        if (right - left) / width >= DIGIT * len(str(jar.number)) and not HATCH[jar.role]:
            ax.text(
                0.5 * (left + right),
                0.5,
                str(jar.number),
                ha="center",
                va="center",
                fontsize=ink.SIZE - 2,
                color=ink.INK,
            )
    ax.set_ylim(0.0, 1.0)
    ax.set_xlim(0.0, width)
    ink.bare(ax)
    ink.beside(ax, 0.5, jar_words(run))
    return ax


def jar_words(run: Run) -> str:
    """Return what stands beside the jars."""
    roles = [role for role in HATCH if any(jar.role == role for jar in run.jars)]
    named = {"heads": "heads hatched", "keep": "keep in grey", "tails": "tails dotted"}
    return f"{len(run.jars)} jars: " + ",\n".join(named[role] for role in roles)


def plot_flavours(run: Run, ax: Axes) -> Axes:
    """Draw a ribbon a botanical: the wider, the faster it comes over, each to its own fastest.

    The width grows with the square root of the rate, so that what lingers after a burst is still seen.

    Parameters
    ----------
    run : Run
        The run; its bill holds at least one botanical.
    ax : matplotlib.axes.Axes
        Where to draw; its x axis is distillate collected [L].

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on, in the order in which they come.
    """
    s = np.linspace(0.0, run.end.depletion, 200)
    collected = run.course.at(s).collected_l
    rates = run.flavours.rate_g_per_10_ml(s)
    for place, flavour in enumerate(run.flavours):
        rate = rates[flavour.line]
        top = float(rate.max())
        half = 0.5 * FULL * np.sqrt(rate / top) if top > 0.0 else np.zeros_like(rate)
        ax.plot(collected[[0, -1]], [place, place], color=ink.FAINT, linewidth=0.5, zorder=1)
        ax.fill_between(
            collected, place - half, place + half, facecolor=ink.BLUE, alpha=0.75, linewidth=0, zorder=2
        )
        ink.beside(ax, place, flavour_words(flavour))
    ax.set_ylim(len(run.flavours) - 0.4, -0.6)
    ax.set_xlim(0.0, collected[-1])
    ink.bare(ax)
    return ax


def flavour_words(flavour: BotanicalFlavour) -> str:
    """Return what stands beside a ribbon; long names take two lines."""
    stays = f"{100.0 * flavour.left_in_pot:.0f} % stays behind"
    return textwrap.fill(f"{flavour.botanical}: {CLASS_WORDS.get(flavour.klass, stays)}", LETTERS)


def hatch_cloud(run: Run, ax: Axes) -> None:
    """Hatch the part of a run in which the stream is cloudy, and say so.

    Parameters
    ----------
    run : Run
        The run.
    ax : matplotlib.axes.Axes
        The axes of the curve.
    """
    if run.cloud is None or not run.cloud.within_run or run.cloud.stream_l is None:
        return
    volumes = volumes_up_to(float(run.collected_l[-1]))
    start, end = (volumes.per_l * place for place in (run.cloud.stream_l, float(run.collected_l[-1])))
    ax.axvspan(start, end, facecolor="none", edgecolor=ink.FAINT, hatch="xx", linewidth=0.0)
    between = 0.5 * float(np.interp(run.cloud.stream_l, run.collected_l, run.stream_abv + run.pot_abv))
    ax.annotate(
        f"cloudy from\n{volumes.words(run.cloud.stream_l)}",
        xy=(start, between),
        xytext=(-3, 0),
        textcoords="offset points",
        ha="right",
        va="center",
        fontsize=ink.SIZE,
        color=ink.INK,
    )
