"""The picture of a run: a strip of distillate, what is pooled and left, and lanes of flavour, on one scale.

Width is volume and height is strength, so that area is alcohol; jars are slices of the strip. Under it, for
each group of flavour, a lane as thick as a nose would have it, all on one scale, dark where that group marks
the stream. Light and dark inks differ in lightness first, so that the picture holds in grey and for every
eye.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from potsim.interfaces.plots import (
    LIGHT,
    WIDTH_IN,
    Ground,
    Picture,
    Volumes,
    of_style,
    shown_axes,
    strengths,
    volumes_up_to,
)
from potsim.interfaces.report.flavours import sentences
from potsim.interfaces.report.words import minute
from potsim.interfaces.wording import as_planned, number, say, step_of
from potsim.liquid.strength import REFERENCE_C
from potsim.planning.lanes import Lane, Lanes, lanes
from potsim.planning.run import Run

if TYPE_CHECKING:
    from potsim.planning.ensemble import Ensemble


LEFT_IN, RIGHT_IN, PAD_IN = 0.55, 0.42, 0.1
STRIP_IN, UPPER_IN, AXIS_IN = 1.9, 0.66, 0.56  # strip, its upper scale, the scale under a panel
LINES_IN, LANE_IN, GAP_IN = 1.05, 0.36, 0.16
SIZE = 9.0  # points
LINE_IN = 1.35 * SIZE / 72.0
DIGIT_IN = 0.085  # a digit of a jar's number
WORDS = 84  # letters in a line under the picture
UPPER = 5  # marks of the upper scale
THICKEST = 0.5  # of a lane's row
GROUP_WIDTH = 0.14  # of the strip, kept clear for the name of a group
LANES = "Lanes: as thick as a nose has it, dark where a group stands furthest above its own mean."
CLASH = 0.085  # of the strip: marks of the scale nearer than this are left out


@as_planned
def plot_run(run: Run, ax: Axes | None = None, ground: Ground | None = None) -> Axes:
    """Draw the strip of a run: width is volume, height is strength, jars are its slices."""
    ground = of_style() if ground is None else ground
    ax = shown_axes(3.4) if ax is None else ax
    volumes = volumes_up_to(float(run.collected_l[-1]))
    scale, end = volumes.per_l, volumes.per_l * float(run.collected_l[-1])
    top = 5.0 * max(np.ceil(1.06 * float(run.stream_abv.max()) / 5.0), 1.0)  # water, too, has a scale
    kept = set(run.keep.jars)
    for jar in run.jars:
        inside = (run.collected_l > jar.from_l) & (run.collected_l < jar.to_l)
        x = scale * np.concatenate([[jar.from_l], run.collected_l[inside], [jar.to_l]])
        y = np.concatenate([[jar.start_abv], run.stream_abv[inside], [jar.end_abv]])
        in_keep = jar.number in kept
        ax.fill_between(
            x,
            0.0,
            y,
            facecolor=ground.tint if in_keep else ground.paper,
            edgecolor=ground.hatch if not in_keep else ground.tint,
            hatch=None if in_keep else {"heads": "////"}.get(jar.role, "...."),
            linewidth=0.0,
        )
        _number(
            ax,
            jar.number,
            0.5 * scale * (jar.from_l + jar.to_l),
            scale * (jar.to_l - jar.from_l) / end,
            not in_keep,
            ground,
        )
    ax.vlines([scale * jar.from_l for jar in run.jars[1:]], 0.0, top, color=ground.paper, linewidth=2.2)
    ax.plot(scale * run.collected_l, run.stream_abv, color=ground.deep, linewidth=2.4, solid_capstyle="butt")
    ax.set_xlim(0.0, end)
    ax.set_ylim(0.0, top)
    _cuts(run, ax, volumes, ground)
    _scale(ax, _ends(run, scale, end), volumes, ground)
    strengths(ax, "stream")
    ax.yaxis.label.set(fontsize=SIZE, color=ground.ink)
    at = say("temperature_about", REFERENCE_C)
    ax.set_xlabel(f"distillate collected, {volumes.label} at {at}", fontsize=SIZE, color=ground.ink)
    _cloud(run, ax, volumes, ground)
    _upper(run, ax, scale, end, ground)
    return ax


@as_planned
def figure_of_run(
    run: Run, sure: Ensemble | None = None, *, words: bool = True, ground: Ground = LIGHT
) -> Figure:
    """Return the whole picture of a run: strip, what is pooled and left, lanes of flavour, and words."""
    told = lanes(run.flavours)
    foot = foot_words(run, told, words)
    head = stop_lines(run) if words else []
    title_in = LINE_IN * (1.5 + len(head) if words else 0.0)
    lanes_in = LANE_IN * len(told.lanes)
    height = PAD_IN + title_in + UPPER_IN + STRIP_IN + AXIS_IN + LINES_IN + GAP_IN + lanes_in
    height += GAP_IN + LINE_IN * len(foot) + PAD_IN
    figure = Picture(figsize=(WIDTH_IN, height), facecolor=ground.paper)
    across = (LEFT_IN / WIDTH_IN, (WIDTH_IN - LEFT_IN - RIGHT_IN) / WIDTH_IN)

    def panel(below_in: float, high_in: float) -> Axes:
        bottom = 1.0 - (below_in + high_in) / height
        axes: Axes = figure.add_axes((across[0], bottom, across[1], high_in / height))
        axes.set_facecolor(ground.paper)
        return axes

    at = PAD_IN + title_in + UPPER_IN
    strip = plot_run(run, panel(at, STRIP_IN), ground)
    if sure is not None:
        plot_band(sure, strip, ground)
    at += STRIP_IN + AXIS_IN
    plot_lines(run, panel(at, LINES_IN), ground)
    at += LINES_IN + GAP_IN
    if told.lanes:
        plot_lanes(told, panel(at, lanes_in), ground)
    x, y = PAD_IN / WIDTH_IN, 1.0 - PAD_IN / height
    style: dict[str, Any] = {"va": "top", "color": ground.ink}
    if words and run.plan.title:
        figure.text(x, y, run.plan.title, fontsize=SIZE + 3, fontweight="bold", **style)
        y -= 1.5 * LINE_IN / height
    if head:
        figure.text(x, y, "\n".join(head), fontsize=SIZE, **style)
    if foot:
        figure.supxlabel(
            "\n".join(foot),
            x=PAD_IN / WIDTH_IN,
            y=PAD_IN / height,
            ha="left",
            va="bottom",
            fontsize=SIZE - 0.5,
            linespacing=1.35,
            color=ground.ink,
        )
    return figure


def plot_lines(run: Run, ax: Axes, ground: Ground = LIGHT) -> Axes:
    """Draw the strength of all collected and of the pot, and the alcohol over, on the strip's scale."""
    x = volumes_up_to(float(run.collected_l[-1])).per_l * run.collected_l
    step = step_of("abv_column", 1.0)
    lines: list[tuple[Any, Any, str, float, bool]] = [
        (run.mean_abv, "-", f"all collected, {step.unit}", 0.03, True),
        (run.pot_abv, (0, (4, 2)), f"left in the pot, {step.unit}", 0.03, True),
        (100.0 * run.recovered, (0, (1, 1.4)), "alcohol over, %", 0.62, False),
    ]
    if run.parrot_abv is not None:
        lines.append((run.parrot_abv, (0, (6, 1.5, 1, 1.5)), f"parrot shows, {step.unit}", 0.3, False))
    for values, dash, name, place, above in lines:
        ax.plot(x, values, color=ground.ink, linewidth=1.1, linestyle=dash)
        k = int(np.searchsorted(x, place * x[-1]))
        ax.annotate(
            name,
            (x[k], values[k]),
            (0, 3 if above else -3),
            textcoords="offset points",
            fontsize=SIZE - 1,
            va="bottom" if above else "top",
            color=ground.ink,
        )
    kinds = {False: "percent_about", True: "abv_about"}
    ends = sorted((float(values[-1]), kinds[name.endswith(step.unit)]) for values, _, name, *_ in lines)
    for place, (value, kind) in zip(_apart([value for value, _ in ends], 15.0), ends, strict=True):
        one_unit = kind == "abv_about" or step.times == 1.0
        ax.annotate(
            number(kind, value) if one_unit else say(kind, value),
            (1.0, place),
            (4, 0),
            xycoords=("axes fraction", "data"),
            textcoords="offset points",
            va="center",
            fontsize=SIZE,
            color=ground.ink,
            annotation_clip=False,
        )
    ax.set_xlim(0.0, x[-1])
    ax.set_ylim(0.0, 104.0)
    _plain(ax, ground)
    ax.set_xticks([])
    ax.set_yticks([0, 50, 100], [number("abv_about", tick) for tick in (0.0, 50.0, 100.0)])
    return ax


def plot_lanes(told: Lanes, ax: Axes, ground: Ground = LIGHT) -> Axes:
    """Draw lanes of flavour, all on one scale, dark where a group marks the stream."""
    x = told.collected_l / told.collected_l[-1]
    for row, lane in enumerate(told.lanes):
        middle = row + 0.68
        half = 0.5 * THICKEST * np.maximum(lane.thick, 0.03)
        ax.fill_between(x, middle - half, middle + half, facecolor=ground.tint, linewidth=0.0)
        _lane_words(ax, lane, row, float(told.collected_l[-1]), ground)
        for stretch in lane.stretches:
            left, right = (end / float(told.collected_l[-1]) for end in stretch[:2])
            inside = np.concatenate([[left], x[(x > left) & (x < right)], [right]])
            thick = np.interp(inside, x, half)
            for start, finish, alpha in _faded(left, right, stretch.fades_in, stretch.fades_out):
                part = (inside >= start - 1e-12) & (inside <= finish + 1e-12)
                along = np.concatenate([[start], inside[part], [finish]])
                wide = np.interp(along, inside, thick)
                ax.fill_between(
                    along, middle - wide, middle + wide, facecolor=ground.deep, alpha=alpha, linewidth=0.0
                )
    ax.set_xlim(0.0, 1.0)
    ax.set_ylim(len(told.lanes), 0.0)
    ax.set_axis_off()
    return ax


def plot_band(sure: Ensemble, ax: Axes, ground: Ground = LIGHT) -> Axes:
    """Lay the band of the stream's strength over the strip."""
    band = sure.curves["stream_abv"]
    collected = volumes_up_to(float(band.collected_l[-1])).per_l * band.collected_l
    ax.fill_between(collected, band.low, band.high, facecolor=ground.deep, alpha=0.35, linewidth=0.0)
    middle = len(collected) // 2
    ax.annotate(
        "9 runs in 10",
        (float(collected[middle]), float(band.low[middle])),
        (0, -4),
        textcoords="offset points",
        ha="center",
        va="top",
        fontsize=SIZE - 1,
        color=ground.ink,
    )
    return ax


def stop_lines(run: Run) -> list[str]:
    """Lines about the stop, which stand above the picture."""
    stop = run.stop
    where = volumes_up_to(float(run.collected_l[-1])).words(stop.collected_l)
    return textwrap.wrap(f"Stop at {where}, {minute(stop.elapsed_min)}: {run.end.words}.", WORDS)


def foot_words(run: Run, told: Lanes, cloud: bool) -> list[str]:
    """Lines under the picture: who leads by size, what is never noticed, what the lanes are, the cloud."""
    said = []
    if told.lanes:
        said.append(f"By size {leaders_in_words(run)}. {LANES}")
    if told.below:
        said.append(f"Never ten times its threshold in the stream: {', '.join(told.below)}.")
    if cloud and run.cloud is not None:
        said.append(" ".join(sentences(run.cloud)[:2]))
    # A number and its unit stay on one line.
    kept = (one.replace(" °", "\xa0°").replace(" %", "\xa0%") for one in said)
    return [line for one in kept for line in textwrap.wrap(one, WORDS)]


def leaders_in_words(run: Run) -> str:
    """Who leads the stream by size, and up to where."""
    volumes = volumes_up_to(float(run.collected_l[-1]))
    first = [names[0] if names else "" for names in run.flavours.leads]
    parts: list[list[str]] = []
    for jar, name in zip(run.jars, first, strict=True):
        if parts and parts[-1][0] == name:
            parts[-1][1] = volumes.words(jar.to_l)
        else:
            parts.append([name, volumes.words(jar.to_l)])
    named = [
        f"{name or 'nothing'} leads" + (f" to {upto}" if k < len(parts) - 1 else "")
        for k, (name, upto) in enumerate(parts)
    ]
    return (
        named[0] + (" throughout" if len(named) == 1 else "") + "".join(f", then {one}" for one in named[1:])
    )


def _number(ax: Axes, number: int, x: float, share: float, hatched: bool, ground: Ground) -> None:
    """A jar's number at the foot of its slice; upright where the slice is wide enough, else turned."""
    room_in = share * (WIDTH_IN - LEFT_IN - RIGHT_IN)
    turned = room_in < DIGIT_IN * (len(str(number)) + 0.6)
    ax.annotate(
        str(number),
        (x, 0.0),
        (0, 4),
        textcoords="offset points",
        ha="center",
        va="bottom",
        color=ground.ink,
        fontsize=max(SIZE - 2.5 if turned else SIZE, 5.5),
        fontweight="bold",
        rotation=90 if turned else 0,
        bbox={"facecolor": ground.paper, "edgecolor": "none", "pad": 0.6} if hatched else None,
    )


def _cuts(run: Run, ax: Axes, volumes: Volumes, ground: Ground) -> None:
    """Name the ends of heads and keep over the curve."""
    end = float(run.collected_l[-1])
    named = []
    if 0.0 < run.setting.heads_l < end:
        named.append((run.setting.heads_l, "heads end", "left"))
    kept = [jar for jar in run.jars if jar.number in run.keep.jars]
    if kept and kept[-1].to_l < end - 1e-9:
        named.append((kept[-1].to_l, "keep ends", "right"))
    for place, text, side in named:
        ax.axvline(volumes.per_l * place, color=ground.ink, linewidth=1.0)
        ax.annotate(
            f" {text} ",
            (volumes.per_l * place, ax.get_ylim()[1]),
            ha=side,
            va="top",
            fontsize=SIZE - 1,
            color=ground.ink,
        )


def _cloud(run: Run, ax: Axes, volumes: Volumes, ground: Ground) -> None:
    """The stretch of the curve where the first haze falls, and a ring where the stream likely turns."""
    stream = None if run.cloud is None else run.cloud.stream
    if stream is None or stream.possible_l is None or stream.possible_l >= stream.end_l:
        return
    from_l, end_l = stream.possible_l, float(run.collected_l[-1])
    to_l = end_l if stream.sure_l is None else min(stream.sure_l, end_l)
    between = np.linspace(from_l, max(to_l, from_l), 40)
    along = np.interp(between, run.collected_l, run.stream_abv)
    ax.plot(
        volumes.per_l * between, along, color=ground.hatch, linewidth=6, solid_capstyle="butt", zorder=1.9
    )
    at_l = from_l if run.cloud is None or run.cloud.clouds_l is None else run.cloud.clouds_l
    place = (volumes.per_l * at_l, float(np.interp(at_l, run.collected_l, run.stream_abv)))
    ax.plot(
        *place, "o", markersize=8, markerfacecolor="none", markeredgecolor=ground.ink, markeredgewidth=1.6
    )
    right = from_l < 0.5 * end_l
    ax.annotate(
        f"may be hazy\nfrom {volumes.words(from_l)}",
        (volumes.per_l * from_l, float(along[0])),
        (7 if right else -7, -4),
        textcoords="offset points",
        ha="left" if right else "right",
        va="top",
        fontsize=SIZE - 1,
        color=ground.ink,
        bbox={"facecolor": ground.paper, "edgecolor": "none", "pad": 1.0},
    )


def _ends(run: Run, scale: float, end: float) -> list[float]:
    """Ends of jars for the scale; those too near each other are left out, the last never."""
    wanted = [scale * run.setting.heads_l, *(scale * jar.to_l for jar in run.jars)]
    found: list[float] = []
    for place in wanted:
        if 0.0 < place < end * (1.0 - CLASH) and (not found or place - found[-1] > CLASH * end):
            found.append(place)
    return [*found, end]


def _scale(ax: Axes, places: list[float], volumes: Volumes, ground: Ground) -> None:
    _plain(ax, ground)
    step = volumes.step._replace(decimals={"L": 2}.get(volumes.unit, volumes.step.decimals))
    ax.set_xticks(places, [number("volume_axis", place / step.times, step) for place in places])
    ax.get_xticklabels()[-1].set_fontweight("bold")


def _upper(run: Run, ax: Axes, scale: float, end: float, ground: Ground) -> None:
    """Minutes and the vapour's temperature along the top."""
    places = np.linspace(0.0, end, UPPER)
    minutes, vapour = (
        np.interp(places / scale, run.collected_l, each) for each in (run.elapsed_min, run.vapour_c)
    )
    upper = ax.secondary_xaxis("top")
    labels = [f"{say('minutes', m)}\n{say('temperature', v)}" for m, v in zip(minutes, vapour, strict=True)]
    upper.set_xticks(places, labels)
    upper.tick_params(labelsize=SIZE - 1, colors=ground.faint, length=3, color=ground.hatch)
    upper.spines["top"].set_visible(False)
    first, *_, last = upper.get_xticklabels()
    first.set_horizontalalignment("left")
    last.set_horizontalalignment("right")
    ax.annotate(
        "minutes from switch-on, vapour",
        (0.0, 1.0),
        (0, 29),
        xycoords="axes fraction",
        textcoords="offset points",
        fontsize=SIZE - 1,
        color=ground.faint,
        annotation_clip=False,
    )


def _lane_words(ax: Axes, lane: Lane, row: int, end_l: float, ground: Ground) -> None:
    """The group at the left, and at the head of each dark stretch who gives most of it."""
    ax.annotate(
        lane.group.capitalize(),
        (0.0, row + 0.4),
        va="bottom",
        fontsize=SIZE,
        color=ground.faint,
        annotation_clip=False,
    )
    taken = GROUP_WIDTH
    for stretch in lane.stretches:
        text = ", ".join(stretch.names)
        wide = 0.0155 * len(text)
        left = max(stretch.from_l / end_l, taken)
        left = min(left, 1.0 - wide) if 1.0 - wide >= taken else taken
        if left + wide > 1.0 + 0.08:
            continue
        ax.annotate(
            text,
            (left, row + 0.4),
            va="bottom",
            fontsize=SIZE,
            fontweight="bold",
            color=ground.ink,
            annotation_clip=False,
        )
        taken = left + wide + 0.02


def _faded(left: float, right: float, fades_in: bool, fades_out: bool) -> list[tuple[float, float, float]]:
    """Parts of a stretch and how dark each is."""
    fade = min(0.025, 0.3 * (right - left))
    a, b = left + fade * fades_in, right - fade * fades_out
    parts = [(a, b, 1.0)]
    if fades_in:
        parts.append((left, a, 0.5))
    if fades_out:
        parts.append((b, right, 0.5))
    return parts


def _apart(values: list[float], least: float) -> list[float]:
    """Rising values moved apart, upwards first and back down where the room ends."""
    placed = list(values)
    for k in range(1, len(placed)):
        placed[k] = max(placed[k], placed[k - 1] + least)
    over = placed[-1] - 100.0
    return [value - max(over, 0.0) if k > 0 else value for k, value in enumerate(placed)]


def _plain(ax: Axes, ground: Ground) -> None:
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)
    ax.spines["left"].set_color(ground.hatch)
    ax.tick_params(colors=ground.ink, labelsize=SIZE, length=3, color=ground.hatch)
