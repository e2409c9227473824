"""The picture of a run being followed: what was read, on what was to be expected, and what is to come."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import WIDTH_IN, new_axes
from potsim.interfaces.plots.volumes import Volumes, volumes_up_to
from potsim.planning.following.outlook import Forecast
from potsim.planning.following.outlook_words import in_short

ODD: dict[str, Any] = {"marker": "x", "s": 46, "linewidths": 1.8, "color": ink.VERMILION, "zorder": 5}
FITS: dict[str, Any] = {"s": 30, "facecolors": "white", "edgecolors": ink.INK, "linewidths": 1.3, "zorder": 5}
LABEL = 0.34  # width of the label of the band, of the axes
MARK = {"stream": "o", "parrot": "s", "jar": "D"}


def plot_follow(forecast: Forecast, ax: Axes | None = None) -> Axes:
    """Draw readings on the predicted band, the forecast ahead, and the stop.

    Parameters
    ----------
    forecast : Forecast
        The forecast.
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure's when left out.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.
    """
    ax = new_axes() if ax is None else ax
    curve = forecast.curve
    volumes = _volumes(forecast)
    over = curve.collected_l
    places = volumes.per_l * over
    now, stop = forecast.collected_l, forecast.stop_l.value
    ax.fill_between(places, curve.low_abv, curve.high_abv, color=ink.BLUE, alpha=0.18, linewidth=0)
    past, ahead = over <= now, (over >= now) & (over <= stop)
    ax.plot(places[past], curve.abv[past], **ink.STREAM.style, solid_capstyle="round")
    ax.plot(places[ahead], curve.abv[ahead], color=ink.BLUE, linewidth=2.2, linestyle=(0, (4, 2)))
    _draw_readings(forecast, ax)
    shown = [curve.low_abv, curve.high_abv, [r.abv for r in forecast.readings if r.abv is not None]]
    low, high = (f(np.concatenate([np.asarray(v, dtype=float) for v in shown])) for f in (np.min, np.max))
    ax.set_xlim(0.0, float(places[-1]))
    ax.set_ylim(max(0.0, float(low) - 4.0), min(100.0, float(high) + 5.0))
    ax.set_xlabel(f"distillate collected, {volumes.unit} at 20 °C")
    ax.set_ylabel("strength at the spout, % vol at 20 °C")
    ink.plain(ax)
    _mark(forecast, ax)
    return ax


def _draw_readings(forecast: Forecast, ax: Axes) -> None:
    """Strengths as points, a jar's as a bar over what it holds; what does not fit is crossed."""
    named: set[str] = set()
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
            ax.scatter([place], [abv], marker=MARK[reading.entry.of], **FITS)
            label = "" if reading.entry.of == "stream" else reading.entry.of
        if reading.from_l is not None and reading.collected_l is not None:
            ends = [per_l * reading.from_l, per_l * reading.collected_l]
            ax.plot(ends, [abv, abv], color=ink.INK, linewidth=1.3, zorder=4)
        if label and label not in named:
            named.add(label)
            ax.annotate(
                label,
                xy=(place, abv),
                xytext=(0, -12),
                textcoords="offset points",
                ha="center",
                fontsize=ink.SIZE,
                color=ink.VERMILION if label == "left out" else ink.INK,
            )


def _places(forecast: Forecast) -> list[float]:
    """Where each reading stands [L]; a jar's in its middle, one by the clock or by mass as it was fitted."""
    from potsim.planning.following.known import observed_of
    from potsim.still.observed import places

    if not forecast.readings:
        return []
    tracks = forecast.fit.tracks
    held = float(tracks.rows.hold_up_l[0] + tracks.bench.parrot_l)
    over = places(tracks, observed_of(forecast.readings))[0] - held
    return [
        float(u) if r.from_l is None else 0.5 * (r.from_l + float(u))
        for u, r in zip(over, forecast.readings, strict=True)
    ]


def _volumes(forecast: Forecast) -> Volumes:
    return volumes_up_to(float(forecast.curve.collected_l[-1]))


def _mark(forecast: Forecast, ax: Axes) -> None:
    """Name the lines beside them, and the stop with its band at the top."""
    volumes, found = _volumes(forecast), forecast.stop_l
    now, stop = (volumes.per_l * place for place in (forecast.collected_l, found.value))
    right, top = ax.get_xlim()[1], ax.get_ylim()[1]
    ax.axvline(stop, color=ink.INK, linewidth=0.8)
    band = [volumes.per_l * found.low, min(volumes.per_l * found.high, right)]
    ax.plot(band, [top, top], color=ink.INK, linewidth=3.0, solid_capstyle="butt", clip_on=False)
    if forecast.readings and now < stop:
        ax.axvline(now, color=ink.FAINT, linewidth=0.8)
        early = now < 0.5 * LABEL * right
        ax.annotate(
            f"now, {volumes.words(forecast.collected_l)}",
            xy=(now, ax.get_ylim()[0]),
            xytext=(3 if early else -3, 3),
            textcoords="offset points",
            ha="left" if early else "right",
            fontsize=ink.SIZE,
            color=ink.INK,
        )
    reach = f"{volumes.number(found.low)} to {volumes.number(found.high)}"
    ax.annotate(
        f"stop at {volumes.words(found.value)} ({reach}), minute {forecast.stop_min.value:.0f}",
        xy=(stop, top),
        xytext=(0, 5),
        textcoords="offset points",
        ha="right" if stop > 0.55 * right else "left",
        fontsize=ink.SIZE,
        color=ink.INK,
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
        color=ink.BLUE,
        arrowprops={"arrowstyle": "-", "color": ink.FAINT, "linewidth": 0.6},
    )


def _beside_now(now: float, stop: float) -> float:
    """Middle of a label clear of the line of now: after it if there is room before the stop."""
    if stop - now > LABEL:
        return 0.5 * (now + stop)
    return max(now - 0.55 * LABEL, 0.5 * LABEL)


def figure_of_follow(forecast: Forecast) -> Figure:
    """Return the whole picture of a run being followed.

    Parameters
    ----------
    forecast : Forecast
        The forecast.

    Returns
    -------
    matplotlib.figure.Figure
        Ready to be saved.
    """
    figure = Figure(figsize=(WIDTH_IN, 4.2), layout="constrained")
    plot_follow(forecast, figure.add_subplot())
    words = in_short(forecast)
    title = f"{forecast.run.plan.title}\n{words if len(words) < 90 else words.partition(' (')[0] + '.'}"
    figure.suptitle(title, x=0.01, ha="left", fontsize=ink.SIZE + 1, color=ink.INK)
    return figure
