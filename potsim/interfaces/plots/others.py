"""Pictures of more than one run: two trials, a number varied, a run followed, lines over each other."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator
from numpy.typing import NDArray

from potsim.errors import RequestError, UnknownNameError, require_sort
from potsim.interfaces import plots as ink
from potsim.interfaces.plots import (
    WIDTH_IN,
    Picture,
    Volumes,
    of_style,
    picture_of,
    shown_axes,
    volumes_up_to,
)
from potsim.interfaces.plots.run import figure_of_run, plot_run
from potsim.interfaces.report import Facts, Part
from potsim.interfaces.report.card import facts
from potsim.interfaces.report.sheet import part_of_page
from potsim.interfaces.report.sweep import (
    number_words,
    sections_of_sweep,
    short_words,
    sure_section,
    value_words,
)
from potsim.interfaces.report.trials import sections_of_comparison
from potsim.interfaces.report.underway import now_section
from potsim.interfaces.report.words import minute
from potsim.interfaces.trialfile import oil, ratio
from potsim.interfaces.wording import as_planned, in_units, say, units_of
from potsim.liquid.strength import REFERENCE_C
from potsim.planning.ensemble import Ensemble
from potsim.planning.forecast import Forecast, in_short
from potsim.planning.learnt import observed_of
from potsim.planning.reach import Reach
from potsim.planning.run import Run, distil
from potsim.planning.sweep import Row, Sweep, card
from potsim.planning.trials import Comparison, Pair, pairs
from potsim.records import dataclass
from potsim.still.observed import places

if TYPE_CHECKING:
    import pandas as pd

    from potsim.planning.ensemble import Ensemble
    from potsim.planning.frames import Shown
    from potsim.planning.run import Run

ROW_IN = 0.36  # height of a row


def plot_comparison(made: Comparison, ax: Axes | None = None) -> Axes:
    """Draw the predicted oil of each botanical in both trials."""
    every = sorted(pairs(made.run_a, made.run_b), key=_largest)
    ax = shown_axes(_height(len(every))) if ax is None else ax
    contents = [content for pair in every for content in _contents(pair) if content > 0.0]
    low, high = (min(contents), max(contents)) if contents else (0.1, 1.0)
    ax.set_xscale("log")
    ax.set_xlim(low / 1.6, high * 1.6)
    ax.set_ylim(-0.7, len(every) - 0.3)
    for row, pair in enumerate(every):
        _draw(ax, row, pair)
    ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.set_yticks(range(len(every)), [pair.label for pair in every])
    ax.set_xlabel("oil in the bottled spirit, mg/L")
    ink.plain(ax)
    ax.tick_params(axis="y", length=0)
    return ax


def figure_of_comparison(made: Comparison) -> Figure:
    """Return the whole picture of two trials."""
    count = len(pairs(made.run_a, made.run_b))
    figure = Picture(figsize=(WIDTH_IN, _height(count)), layout="constrained")
    plot_comparison(made, figure.add_subplot())
    title = f"A  ○  {made.a.plan.title}\nB  ●  {made.b.plan.title}"
    figure.suptitle(title, x=0.01, ha="left", fontsize=ink.SIZE + 1, color=ink.ink())
    return figure


def _height(rows: int) -> float:
    return 1.3 + ROW_IN * max(rows, 2)


def _contents(pair: Pair) -> tuple[float, float]:
    return tuple(0.0 if side is None else side.oil_mg_per_l for side in (pair.a, pair.b))  # type: ignore[return-value]


def _largest(pair: Pair) -> float:
    return max(_contents(pair))


def _draw(ax: Axes, row: int, pair: Pair) -> None:
    a, b = _contents(pair)
    moved = pair.differs
    colour = ink.VERMILION if moved else ink.faint()
    left = ax.get_xlim()[0]
    if a > 0.0 and b > 0.0:
        ax.plot([a, b], [row, row], color=colour, linewidth=2.2, zorder=1)
    else:
        ax.plot([left, max(a, b)], [row, row], color=colour, linewidth=0.8, linestyle=(0, (1, 2)), zorder=1)
    if a > 0.0:
        ax.plot(a, row, "o", mfc=ink.paper_of_style(), mec=ink.ink(), mew=1.4, ms=8, zorder=2)
    if b > 0.0:
        size = 6 if moved else 3.5
        ax.plot(b, row, "o", mfc=ink.ink(), mec=ink.ink(), ms=size, zorder=3)
    if not moved:
        words = oil(b)
    elif a > 0.0 and b > 0.0:
        words = f"{oil(a)} to {oil(b)}  ({ratio(pair.change)})"
    else:
        words = f"{oil(b)} (new)" if b > 0.0 else f"{oil(a)} to none"
    ax.annotate(
        words,
        xy=(1.02, row),
        xycoords=("axes fraction", "data"),
        fontsize=ink.SIZE,
        color=ink.ink() if moved else ink.faint(),
        va="center",
        annotation_clip=False,
    )


# --- The picture of a run being followed: what was read, on what was to be expected, and what is to come.


ODD: dict[str, Any] = {"marker": "x", "s": 46, "linewidths": 1.8, "color": ink.VERMILION, "zorder": 5}
FITS: dict[str, Any] = {"s": 30, "linewidths": 1.3, "zorder": 5}
LABEL = 0.34  # width of the label of the band, of the axes
MARK = {"stream": "o", "parrot": "s", "jar": "D", "pooled": "^"}


@as_planned
def plot_follow(forecast: Forecast, ax: Axes | None = None) -> Axes:
    """Draw readings on the predicted band, the forecast ahead, and the stop."""
    ax = shown_axes() if ax is None else ax
    curve = forecast.curve
    volumes = _volumes(forecast)
    over = curve.collected_l
    places = volumes.per_l * over
    now, stop = forecast.collected_l, forecast.stop_l.value
    ax.fill_between(places, curve.low_abv, curve.high_abv, color=ink.blue(), alpha=0.18, linewidth=0)
    past, ahead = over <= now, (over >= now) & (over <= stop)
    ax.plot(places[past], curve.abv[past], color=ink.blue(), linewidth=2.8, solid_capstyle="round")
    ax.plot(places[ahead], curve.abv[ahead], color=ink.blue(), linewidth=2.2, linestyle=(0, (4, 2)))
    _draw_readings(forecast, ax)
    shown = [curve.low_abv, curve.high_abv, [r.abv for r in forecast.readings if r.abv is not None]]
    low, high = (f(np.concatenate([np.asarray(v, dtype=float) for v in shown])) for f in (np.min, np.max))
    ax.set_xlim(0.0, float(places[-1]))
    ax.set_ylim(max(0.0, float(low) - 4.0), min(100.0, float(high) + 5.0))
    ax.set_xlabel(f"distillate collected, {volumes.label} at {say('temperature_about', REFERENCE_C)}")
    ink.plain(ax)
    ink.strengths(ax, "strength at the spout")
    _mark(forecast, ax)
    return ax


def _draw_readings(forecast: Forecast, ax: Axes) -> None:
    """Strengths as points, a jar's as a bar over what it holds; what does not fit is crossed."""
    named: set[str] = set()
    fits: dict[str, Any] = {"facecolors": ink.paper_of_style(), "edgecolors": ink.ink()}
    odd = {r.line for r in forecast.fit.residuals if r.left_out and r.kind == "strength"}
    strengths = [r for r in forecast.fit.residuals if r.kind == "strength"]
    per_l = _volumes(forecast).per_l
    places = [per_l * place for place in _places(forecast)]
    for residual in strengths:
        reading = forecast.readings[residual.line]
        place, abv = places[residual.line], residual.read
        if residual.line in odd:
            ax.scatter([place], [abv], **ODD)
            label = "left out"
        else:
            ax.scatter([place], [abv], marker=MARK[reading.entry.of], **fits, **FITS)
            label = "" if reading.entry.of == "stream" else reading.entry.of
        if reading.from_l is not None and reading.collected_l is not None:
            ends = [per_l * reading.from_l, per_l * reading.collected_l]
            ax.plot(ends, [abv, abv], color=ink.ink(), linewidth=1.3, zorder=4)
        if label and label not in named:
            named.add(label)
            ax.annotate(
                label,
                xy=(place, abv),
                xytext=(0, -12),
                textcoords="offset points",
                ha="center",
                fontsize=ink.SIZE,
                color=ink.VERMILION if label == "left out" else ink.ink(),
            )


def _places(forecast: Forecast) -> list[float]:
    """Where each reading stands [L]; a jar's in its middle, one by the clock or by mass as it was fitted."""
    if not forecast.readings:
        return []
    tracks = forecast.fit.tracks
    held, caught = float(tracks.rows.hold_up_l[0] + tracks.bench.parrot_l), 1.0 - float(tracks.rows.lost[0])
    collected = caught * (places(tracks, observed_of(forecast.readings))[0] - held)
    return [
        float(u) if r.from_l is None else 0.5 * (r.from_l + float(u))
        for u, r in zip(collected, forecast.readings, strict=True)
    ]


def _volumes(forecast: Forecast) -> Volumes:
    return volumes_up_to(float(forecast.curve.collected_l[-1]))


def _mark(forecast: Forecast, ax: Axes) -> None:
    """Name the lines beside them, and the stop with its band at the top."""
    volumes, found = _volumes(forecast), forecast.stop_l
    now, stop = (volumes.per_l * place for place in (forecast.collected_l, found.value))
    right, top = ax.get_xlim()[1], ax.get_ylim()[1]
    ax.axvline(stop, color=ink.ink(), linewidth=0.8)
    band = [volumes.per_l * found.low, min(volumes.per_l * found.high, right)]
    ax.plot(band, [top, top], color=ink.ink(), linewidth=3.0, solid_capstyle="butt", clip_on=False)
    if forecast.readings and now < stop:
        ax.axvline(now, color=ink.faint(), linewidth=0.8)
        early = now < 0.5 * LABEL * right
        ax.annotate(
            f"now, {volumes.words(forecast.collected_l)}",
            xy=(now, ax.get_ylim()[0]),
            xytext=(3 if early else -3, 3),
            textcoords="offset points",
            ha="left" if early else "right",
            fontsize=ink.SIZE,
            color=ink.ink(),
        )
    reach = f"{volumes.number(found.low)} to {volumes.number(found.high)}"
    ax.annotate(
        f"stop at {volumes.words(found.value)} ({reach}), {minute(forecast.stop_min.value)}",
        xy=(stop, top),
        xytext=(0, 5),
        textcoords="offset points",
        ha="right" if stop > 0.55 * right else "left",
        fontsize=ink.SIZE,
        color=ink.ink(),
        annotation_clip=False,
    )
    curve = forecast.curve
    at = 0.85 * stop
    height = float(np.interp(at, volumes.per_l * curve.collected_l, curve.low_abv))
    ax.annotate(
        "expected, with its band\nof nine in ten",
        xy=(at, height),
        xytext=(_beside_now(now / right, stop / right), 0.2),
        textcoords="axes fraction",
        ha="center",
        fontsize=ink.SIZE,
        color=ink.blue(),
        arrowprops={"arrowstyle": "-", "color": ink.faint(), "linewidth": 0.6},
    )


def _beside_now(now: float, stop: float) -> float:
    """Middle of a label clear of the line of now: after it if there is room before the stop."""
    if stop - now > LABEL:
        return 0.5 * (now + stop)
    return max(now - 0.55 * LABEL, 0.5 * LABEL)


@as_planned
def figure_of_follow(forecast: Forecast) -> Figure:
    """Return the whole picture of a run being followed."""
    figure = Picture(figsize=(WIDTH_IN, 4.2), layout="constrained")
    plot_follow(forecast, figure.add_subplot())
    words = in_short(forecast)
    title = f"{forecast.run.plan.title}\n{words if len(words) < 90 else words.partition(' (')[0] + '.'}"
    figure.suptitle(title, x=0.01, ha="left", fontsize=ink.SIZE + 1, color=ink.ink())
    return figure


# --- The picture of runs that differ in one number: a fan of curves, each labelled where it is free.


Array = NDArray[np.float64]

MAP, PALEST = "cividis", 0.82  # its lightness only rises, so that grey tells the order, too
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


@as_planned
def plot_sweep(sweep: Sweep, ax: Axes | None = None) -> Axes:
    """Draw the strength of the stream against the distillate, a curve for each value.

    The labels stand beside the first drop or beside the stop, wherever the curves lie further apart.
    Where there are more curves than room, some labels are left out; that of the plan never is.
    """
    unit, curves = _curves(sweep)
    ax = shown_axes() if ax is None else ax
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
    ink.plain(ax)
    ink.strengths(ax, "strength of the stream")
    _label(ax, curves, short_words(sweep.number))
    return ax


@as_planned
def figure_of_sweep(sweep: Sweep) -> Figure:
    """Return the whole picture of a sweep."""
    figure = Picture(figsize=(WIDTH_IN, 4.6), layout="constrained")
    plot_sweep(sweep, figure.add_subplot())
    stays = "" if sweep.same is None else f", the same {sweep.same}"
    title = f"{sweep.plan.title}: {number_words(sweep.number)}{stays}"
    figure.suptitle(title, x=0.01, ha="left", fontsize=ink.SIZE + 2, color=ink.ink())
    return figure


def _curves(sweep: Sweep) -> tuple[str, list[_Curve]]:
    """Unit of volume, and curves of all that can be run, the lowest value first and darkest."""
    rows = [(row, row.curve) for row in sweep.with_own if row.curve is not None]
    if not rows:
        why = sweep.rows[0].refusal
        raise RequestError.of("none_runs", sweep.number.name, why=why, cautions="")
    curves = []
    dark = ink.is_dark()
    volumes = volumes_up_to(max(float(curve.collected_l[-1]) for _, curve in rows))
    for k, (row, along) in enumerate(rows):
        share = k / max(len(rows) - 1, 1)
        colour = (
            ink.ink() if row.planned else colormaps[MAP](1.0 - share * PALEST if dark else share * PALEST)
        )
        words = ("plan, " if row.planned else "") + value_words(sweep.number, row.value, planned=row.planned)
        curves.append(_Curve(row, volumes.per_l * along.collected_l, along.stream_abv, colour, words))
    return volumes.label, curves


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
            color=ink.ink(),
            fontweight="bold" if curve.row.planned else "normal",
            arrowprops={
                "arrowstyle": "-",
                "color": ink.faint(),
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
        color=ink.ink(),
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


# --- Lines to be laid over each other on one axes: runs, bands, and contours over two numbers of a study.


DASHES = ("-", (0, (6, 2)), (0, (1, 1.4)), (0, (6, 1.5, 1, 1.5)))  # told apart in grey, too
BAND = 0.22  # opacity
LEVELS = 8
_UNITS: WeakKeyDictionary[Axes, Volumes] = WeakKeyDictionary()
_DRAWN: WeakKeyDictionary[Axes, int] = WeakKeyDictionary()


@as_planned
def plot_line(run: Run, ax: Axes | None = None, label: str | None = None, color: Any = None) -> Axes:
    """Draw the strength of the stream as a line that ends at the stop; more can be laid over it."""
    ax = shown_axes() if ax is None else ax
    _draw_line(ax, run.collected_l, run.stream_abv, label or run.plan.title, color)
    return ax


@as_planned
def plot_ensemble(
    sure: Ensemble, ax: Axes | None = None, label: str | None = None, color: Any = None
) -> Axes:
    """Draw the strength of the stream with its band of nine runs in ten."""
    ax = shown_axes() if ax is None else ax
    curve = sure.curves["stream_abv"]
    band = (curve.low, curve.high)
    _draw_line(
        ax, curve.collected_l, curve.value, label or f"{sure.plan.title}, nine runs in ten", color, band
    )
    return ax


def _draw_line(
    ax: Axes, collected_l: Array, abv: Array, label: str, color: Any, band: tuple[Array, Array] | None = None
) -> None:
    """Lay one more line on axes: its dash and colour are the next, its volumes in the unit of the first."""
    volumes = _UNITS.setdefault(ax, volumes_up_to(float(collected_l[-1])))
    number = _DRAWN.get(ax, 0)
    _DRAWN[ax] = number + 1
    x = volumes.per_l * collected_l
    style = {} if color is None else {"color": color}
    (line,) = ax.plot(x, abv, linestyle=DASHES[number % len(DASHES)], linewidth=2.0, label=label, **style)
    ax.plot(x[-1:], abv[-1:], "o", color=line.get_color(), markersize=5)
    if band is not None:
        ax.fill_between(x, *band, facecolor=line.get_color(), alpha=BAND, linewidth=0.0)
    ax.set_xlabel(f"distillate collected, {volumes.label} at {say('temperature_about', REFERENCE_C)}")
    ink.strengths(ax, "strength of the stream")
    ax.set_xlim(left=0.0)
    ink.plain(ax)
    ax.legend(fontsize=ink.SIZE, frameon=False)


def contours(table: pd.DataFrame, answer: str, ax: Axes | None = None) -> Axes:
    """Draw an answer of a study over its two numbers as lines of equal height.

    Parameters
    ----------
    table : pandas.DataFrame
        What `potsim.study` made of a grid of two numbers: its first two columns.
    answer : str
        A column, such as ``"keep.volume_l"``.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure's when left out.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on; refused runs are left white.

    Raises
    ------
    UnknownNameError
        If there is no such column; the nearest are suggested.
    RequestError
        If the table is no grid of two numbers, or nothing of it can be run.

    Examples
    --------
    >>> import potsim
    >>> grid = {"charge.abv": [30, 35, 40], "still.power": [500, 700, 900]}
    >>> ax = potsim.contours(potsim.study(potsim.example_plan(), grid), "keep.abv")
    >>> ax.get_xlabel()
    'charge.abv, % vol'
    """
    if not hasattr(table, "pivot"):
        require_sort("table", table, (), "grid")
    if answer not in table:
        raise UnknownNameError("answer", answer, [str(name) for name in table])
    down, across = (str(name) for name in table.columns[:2])
    try:
        grid = table.pivot(index=down, columns=across, values=answer).astype(float)
    except ValueError:
        raise RequestError.of("no_grid", given=[down, across]) from None
    if min(grid.shape) < 2 or not np.isfinite(grid.to_numpy()).any():
        raise RequestError.of("no_surface", given=[down, across], answer=answer)
    ax = shown_axes() if ax is None else ax
    units = table.attrs.get("units", {})

    def titled(name: str) -> str:
        return f"{name}, {units[name]}" if name in units else name

    x, y = grid.index.to_numpy(float), grid.columns.to_numpy(float)
    z = np.ma.masked_invalid(grid.to_numpy().T)
    ax.contourf(x, y, z, levels=LEVELS, cmap="cividis", alpha=0.55)
    lines = ax.contour(x, y, z, levels=LEVELS, colors=[ink.ink()], linewidths=0.9)
    ax.clabel(lines, fontsize=ink.SIZE, fmt="%g")
    ax.set_xlabel(titled(down))
    ax.set_ylabel(titled(across))
    ax.set_title(titled(answer), loc="left", fontsize=ink.SIZE + 1, color=ink.ink())
    ink.plain(ax)
    return ax


# --- Any result as a notebook shows it: its picture, and the small table beside it.


def plot_result(result: Shown, ax: Axes | None, label: str | None = None, color: Any = None) -> Axes:
    """Draw a result on axes."""
    result = _drawn(result)
    if isinstance(result, Run):
        alone = label is None and color is None and (ax is None or not ax.has_data())
        return plot_run(result, ax) if alone else plot_line(result, ax, label, color)
    if isinstance(result, Ensemble):
        return plot_ensemble(result, ax, label, color)
    if isinstance(result, Sweep):
        return plot_sweep(result, ax)
    if isinstance(result, Forecast):
        return plot_follow(result, ax)
    assert isinstance(result, Comparison)
    return plot_comparison(result, ax)


def figure_of_result(result: Shown) -> Figure:
    """Return the whole picture of a result."""
    result = _drawn(result)
    if isinstance(result, Run):
        return figure_of_run(result, ground=of_style())
    if isinstance(result, Ensemble):
        return figure_of_run(distil(result.plan), result, ground=of_style())
    if isinstance(result, Sweep):
        return figure_of_sweep(result)
    if isinstance(result, Forecast):
        return figure_of_follow(result)
    assert isinstance(result, Comparison)
    return figure_of_comparison(result)


def page_part(result: Shown) -> str:
    """Return a result as a notebook shows it: a small table, and its picture."""
    plan = result.a.plan if isinstance(result, Comparison) else getattr(result, "plan", None)
    with in_units(units_of(plan if plan is not None else result.run.plan)):  # type: ignore[attr-defined]
        told = "".join(map(part_of_page, _parts(result)))
    if isinstance(result, Sweep) and all(row.outcome is None for row in result.rows):
        return f"<div>{told}</div>"
    picture = base64.b64encode(picture_of(figure_of_result(result))).decode()
    return f'<div>{told}<img alt="" src="data:image/png;base64,{picture}"></div>'


def _drawn(result: Shown) -> Shown:
    """What there is to see of a result: of a question turned round, the run that answers it."""
    return result.run if isinstance(result, Reach) else result


def _parts(result: Shown) -> Sequence[Part]:
    result = _drawn(result)
    if isinstance(result, Run):
        return (Facts(tuple(facts(card(result), "run.notes"))),)
    if isinstance(result, Ensemble):
        return sure_section(result).parts[:1]
    if isinstance(result, Sweep):
        return sections_of_sweep(result)[0].parts
    if isinstance(result, Forecast):
        return now_section(result).parts
    assert isinstance(result, Comparison)
    return [part for section in sections_of_comparison(result) for part in section.parts]
