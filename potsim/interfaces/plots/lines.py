"""Lines to be laid over each other on one axes: runs, bands, and contours over two numbers of a study."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from potsim.errors import RequestError, UnknownNameError
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.ink import Volumes, shown_axes, volumes_up_to
from potsim.interfaces.wording import as_planned

if TYPE_CHECKING:
    import pandas as pd

    from potsim.planning.ensemble import Ensemble
    from potsim.planning.run import Run

Array = NDArray[np.float64]

DASHES = ("-", (0, (6, 2)), (0, (1, 1.4)), (0, (6, 1.5, 1, 1.5)))  # told apart in grey, too
BAND = 0.22  # opacity
LEVELS = 8
_UNITS: WeakKeyDictionary[Axes, Volumes] = WeakKeyDictionary()
_DRAWN: WeakKeyDictionary[Axes, int] = WeakKeyDictionary()


@as_planned
def plot_line(run: Run, ax: Axes | None = None, label: str | None = None, color: Any = None) -> Axes:
    """Draw the strength of the stream as a line that ends at the stop; more can be laid over it."""
    ax = shown_axes() if ax is None else ax
    _draw(ax, run.collected_l, run.stream_abv, label or run.plan.title, color)
    return ax


@as_planned
def plot_ensemble(
    sure: Ensemble, ax: Axes | None = None, label: str | None = None, color: Any = None
) -> Axes:
    """Draw the strength of the stream with its band of nine runs in ten."""
    ax = shown_axes() if ax is None else ax
    curve = sure.curves["stream_abv"]
    band = (curve.low, curve.high)
    _draw(ax, curve.collected_l, curve.value, label or f"{sure.plan.title}, nine runs in ten", color, band)
    return ax


def _draw(
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
    ax.set_xlabel(f"distillate collected, {volumes.label} at 20 °C")
    ax.set_ylabel("strength of the stream, % vol at 20 °C")
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
    if answer not in table:
        raise UnknownNameError("answer of the study", answer, [str(name) for name in table])
    down, across = (str(name) for name in table.columns[:2])
    try:
        grid = table.pivot(index=down, columns=across, values=answer).astype(float)
    except ValueError as error:
        raise RequestError(
            f"{down} and {across} are no grid: {error}.", "Study a grid of two numbers."
        ) from None
    if min(grid.shape) < 2 or not np.isfinite(grid.to_numpy()).any():
        raise RequestError(
            f"{answer} over {down} and {across} is no surface.", "Give each number two values or more."
        )
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
