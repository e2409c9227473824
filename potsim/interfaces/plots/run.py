"""Rows under the curve: the jars to scale, and where each botanical comes over."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Rectangle
from matplotlib.textpath import text_to_path

from potsim.interfaces.plots import ink
from potsim.interfaces.plots.ink import Volumes, volumes_up_to
from potsim.planning.cloud import sentences
from potsim.planning.flavours import BotanicalFlavour
from potsim.planning.run import Run
from potsim.records import dataclass

if TYPE_CHECKING:
    from potsim.planning.ensemble import Ensemble


HATCH = {"heads": "////", "keep": "", "tails": "...."}
DIGIT = 0.026  # of the width of the picture, for each digit of a number inside a jar
FULL = 0.84  # height of a ribbon where a botanical comes fastest, in rows
RIBBON_LETTERS = 34  # of a line beside a ribbon
CLASS_WORDS = {"early": "early", "middle": "in the middle", "late": "late"}


def plot_jars(run: Run, ax: Axes) -> Axes:
    """Draw the jars as a row to scale, roles by hatching and words."""
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
    return textwrap.fill(f"{flavour.botanical}: {CLASS_WORDS.get(flavour.klass, stays)}", RIBBON_LETTERS)


def hatch_cloud(run: Run, ax: Axes) -> None:
    """Hatch the part of a run in which the stream is cloudy, and say so."""
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


# --- Pictures of a run: axes in, axes out; nothing is shown or saved here.


WIDTH_IN = 5.8
PENS = (ink.STREAM, ink.POOLED, ink.POT, ink.OVER)
STOP_LETTERS = 60  # of a line above the curve


def new_axes(height_in: float = 4.2) -> Axes:
    """Return axes on a figure of their own, the width of a phone."""
    figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
    return figure.add_subplot()


def plot_run(run: Run, ax: Axes | None = None) -> Axes:
    """Draw strength and recovery against the distillate collected."""
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
    hatch_cloud(run, ax)
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
    """Lay the band of the stream's strength behind the curve."""
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


# --- The whole picture of a run: the curve, the jars, the botanicals, and what is to be known beside them.


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
    """A row of the picture."""

    height_in: float  # its height [in]
    above_in: float  # room for words above and below it [in]
    below_in: float  # room for words above and below it [in]


def figure_of_run(run: Run, sure: Ensemble | None = None, *, words: bool = True) -> Figure:
    """Return the whole picture of a run: the curve, the jars, the botanicals."""
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
    plot_jars(run, axes[1])
    if len(run.flavours):
        plot_flavours(run, axes[2])
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
    texts = [words for _, words, _ in end_words(run)] + [jar_words(run)]
    texts += [flavour_words(flavour) for flavour in run.flavours]
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
