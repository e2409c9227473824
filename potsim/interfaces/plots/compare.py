"""Picture of two trials: the oil of each botanical in the bottle, before and after."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import WIDTH_IN, new_axes
from potsim.interfaces.trial_words import oil, ratio
from potsim.planning.trials.comparing import Comparison, Pair, pairs

ROW_IN = 0.36  # height of a row


def plot_comparison(made: Comparison, ax: Axes | None = None) -> Axes:
    """Draw the predicted oil of each botanical in both trials.

    Parameters
    ----------
    made : Comparison
        Two trials.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure's when left out.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on: an open ring for A, a full dot for B, both figures beside them.
    """
    every = sorted(pairs(made.run_a, made.run_b), key=_largest)
    ax = new_axes(_height(len(every))) if ax is None else ax
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
    """Return the whole picture of two trials.

    Parameters
    ----------
    made : Comparison
        Two trials.

    Returns
    -------
    matplotlib.figure.Figure
        Ready to be saved.
    """
    count = len(pairs(made.run_a, made.run_b))
    figure = Figure(figsize=(WIDTH_IN, _height(count)), layout="constrained")
    plot_comparison(made, figure.add_subplot())
    title = f"A  ○  {made.a.plan.title}\nB  ●  {made.b.plan.title}"
    figure.suptitle(title, x=0.01, ha="left", fontsize=ink.SIZE + 1, color=ink.INK)
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
    colour = ink.VERMILION if moved else ink.FAINT
    left = ax.get_xlim()[0]
    if a > 0.0 and b > 0.0:
        ax.plot([a, b], [row, row], color=colour, linewidth=2.2, zorder=1)
    else:
        ax.plot([left, max(a, b)], [row, row], color=colour, linewidth=0.8, linestyle=(0, (1, 2)), zorder=1)
    if a > 0.0:
        ax.plot(a, row, "o", mfc="white", mec=ink.INK, mew=1.4, ms=8, zorder=2)
    if b > 0.0:
        size = 6 if moved else 3.5
        ax.plot(b, row, "o", mfc=ink.INK, mec=ink.INK, ms=size, zorder=3)
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
        color=ink.INK if moved else ink.FAINT,
        va="center",
        annotation_clip=False,
    )
