"""What came of a run: in a dozen numbers, as plain data for programs, as tables of pandas.

A table has the unit of each column in ``attrs["units"]``: what becomes of the alcohol, heat and water of a
run, what was taken for granted, vapour over liquid, water to add, and a still that was learnt.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from potsim import __version__, faces
from potsim.errors import RequestError, require
from potsim.liquid import strength
from potsim.liquid.equilibrium import bubble_point
from potsim.planning import flavours, release
from potsim.planning.charge import between
from potsim.planning.cloud import to_dict
from potsim.planning.notes import EVERY_RUN, Note, plain_notes, sentences
from potsim.planning.schema import unit_of
from potsim.planning.stops import quantities_of
from potsim.records import dataclass, plain

if TYPE_CHECKING:
    import pandas as pd

    from potsim.planning.charge import Portion
    from potsim.planning.forecast import Forecast
    from potsim.planning.run import Run


__all__ = ["balance", "energy", "equilibrium", "learnt", "proofing", "taken"]

WATER_J_PER_L_K = 4160.0  # of cooling water near 30 °C: 4.18 kJ/(kg K) by 0.996 kg/L, from memory
POINTS = 401  # of an integral over time, from the first drop to the stop


def frame(
    rows: Iterable[Mapping[str, Any]] | Mapping[str, Any], units: Mapping[str, str] | None = None
) -> pd.DataFrame:
    """Return rows, or columns, as a table with ``attrs["units"]``: name of a column to its unit."""
    import pandas as pd  # start-up: pandas only for a frame

    made = pd.DataFrame(rows if isinstance(rows, Mapping) else list(rows))
    told = {name: unit_of(str(name)) for name in made.columns} | dict(units or {})
    made.attrs["units"] = {name: unit for name, unit in told.items() if unit}
    return made


def balance(run: Run) -> pd.DataFrame:
    """Return where the alcohol of a run goes.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    pandas.DataFrame
        Rows ``charge``, ``heads``, ``keep``, ``tails``, ``lost`` and ``pot``, and ``unaccounted``, which is
        rounding; ``volume_l``, ``abv``, ``ethanol_l`` and ``share`` of the charged alcohol. The keep is all
        between heads and tails, whichever jars are pooled.
    """
    points, charge = run.points, run.charge
    spans = {"heads": (0.0, points.heads), "keep": (points.heads, points.keep_end)}
    spans["tails"] = (points.keep_end, points.end)
    parts = {name: between(run.course, *span) for name, span in spans.items() if span[1] > span[0]}
    there = run.course.at(np.array([points.end]))
    left = float(there.pot_mol[0] * there.pot_x[0]), float(there.pot_mol[0] * (1.0 - there.pot_x[0]))
    parts |= {"lost": run.lost, "pot": type(run.lost)(*left)}
    rows: list[dict[str, Any]] = [
        {"part": "charge", "volume_l": charge.volume_l, "abv": charge.abv, "ethanol_l": charge.ethanol_l}
    ]
    rows += [_part(name, parts.get(name)) for name in ("heads", "keep", "tails", "lost", "pot")]
    accounted = sum(float(row["ethanol_l"]) for row in rows[1:])
    rows.append({"part": "unaccounted", "ethanol_l": charge.ethanol_l - accounted})
    whole = charge.ethanol_l
    return frame({**row, "share": row["ethanol_l"] / whole if whole > 0.0 else 0.0} for row in rows)


def _part(name: str, of: Portion | None) -> dict[str, Any]:
    if of is None or of.ethanol_mol + of.water_mol <= 0.0:
        return {"part": name, "volume_l": 0.0, "abv": np.nan, "ethanol_l": 0.0}
    return {"part": name, "volume_l": of.volume_l, "abv": of.abv, "ethanol_l": of.volume_l * of.abv / 100.0}


def energy(
    run: Run, price_per_kwh: float | None = None, *, water_in_c: float = 15.0, water_out_c: float = 45.0
) -> pd.DataFrame:
    """Return what heat and cooling water a run takes.

    Parameters
    ----------
    run : Run
        The run.
    price_per_kwh : float, optional
        Price of a kilowatt-hour.
    water_in_c, water_out_c : float
        Cooling water as it enters and leaves [°C].

    Returns
    -------
    pandas.DataFrame
        Rows ``heat-up``, ``run`` and ``whole``: minutes, ``energy_kwh`` drawn on the plate or element,
        ``price`` (missing without one), and ``water_l`` through the condenser.

    Raises
    ------
    RangeError
        For a price below 0, or water that leaves no warmer than it enters.
    """
    require("price_per_kwh", price_per_kwh, 0.0)
    require("water_in_c", water_in_c, 0.0, 60.0, "°C")
    require("water_out_c", water_out_c, water_in_c, 90.0, "°C", open_low=True)
    course, still = run.course, run.setting.still
    ends = [
        *(leg.from_depletion for leg in course.legs if leg.from_depletion < run.points.end),
        run.points.end,
    ]
    joule = cooled = 0.0
    for leg, begin, end in zip(course.legs, ends[:-1], ends[1:], strict=False):
        states = course.at(np.linspace(begin, np.nextafter(end, begin), POINTS))
        joule += still.on_plate_w(leg.curves.conditions.power_w) * float(np.ptp(states.elapsed_s))
        cooled += float(np.trapezoid(states.condenser_w, states.elapsed_s))
    drop_s = course.first_drop_s
    water_l = cooled / (WATER_J_PER_L_K * (water_out_c - water_in_c))
    rows = [
        ("heat-up", drop_s / 60.0, still.on_plate_w(still.heat_up_power_w) * drop_s / 3.6e6, 0.0),
        ("run", run.stop.elapsed_min - drop_s / 60.0, joule / 3.6e6, water_l),
    ]
    whole = np.array([row[1:] for row in rows]).sum(axis=0).tolist()
    price = np.nan if price_per_kwh is None else price_per_kwh
    return frame(
        {"part": part, "elapsed_min": minutes, "energy_kwh": kwh, "price": price * kwh, "water_l": water}
        for part, minutes, kwh, water in (*rows, ("whole", *whole))
    )


def taken(run: Run) -> pd.DataFrame:
    """Return what a run takes that its plan does not say: ``about`` which key, and ``words`` why."""
    return frame({"about": note.subject, "words": str(note)} for note in run.taken)


def equilibrium(pressure_pa: float = 101325.0, points: int = 51) -> pd.DataFrame:
    """Return the x-y table of ethanol and water.

    Parameters
    ----------
    pressure_pa : float
        Pressure [Pa].
    points : int
        Rows, evenly spaced in mole fraction.

    Returns
    -------
    pandas.DataFrame
        ``liquid_x``, ``vapour_x``, ``liquid_abv``, ``vapour_abv`` and ``boils_c``.
    """
    require("points", points, 2, 100_000)
    x = np.linspace(0.0, 1.0, int(points))
    boils_k, y = (np.asarray(one) for one in bubble_point(x, pressure_pa))
    abv = (np.asarray(strength.abv_from_x(one)) for one in (x, y))
    names = ("liquid_abv", "vapour_abv")
    return frame(
        {"liquid_x": x, "vapour_x": y, **dict(zip(names, abv, strict=True)), "boils_c": boils_k - 273.15}
    )


def proofing(volume_l: float, abv: float, targets_abv: Iterable[float]) -> pd.DataFrame:
    """Return the water that lets a spirit down to each of several strengths.

    Parameters
    ----------
    volume_l, abv : float
        The spirit [L at 20 °C, % vol].
    targets_abv : iterable of float
        Strengths wanted [% vol], at most ``abv``.

    Returns
    -------
    pandas.DataFrame
        ``target_abv``, ``water_l`` and ``volume_l``, what it comes to.

    Raises
    ------
    RangeError
        If a strength lies above that of the spirit.
    """
    wanted = [float(one) for one in targets_abv]
    water = [float(strength.water_to_reach(volume_l, abv, one)) for one in wanted]
    whole = [float(strength.mix([volume_l, each], [abv, 0.0]).volume_l) for each in water]
    return frame({"target_abv": wanted, "water_l": water, "volume_l": whole})


def learnt(forecast: Forecast) -> pd.DataFrame:
    """Return a still that was learnt from readings.

    Parameters
    ----------
    forecast : Forecast
        What `Run.follow` gave.

    Returns
    -------
    pandas.DataFrame
        ``name``, ``value``, ``standard_error`` (missing for what is held) and ``unit`` of what pot and neck
        shed, the net power, and the shares of the heat that arrives and of the spirit that is lost.

    Raises
    ------
    RequestError
        If there are no readings.
    """
    if not forecast.readings:
        raise RequestError.of("nothing_read", "readings")
    fit = forecast.fit
    rows = (
        ("neck_loss_w_per_k", fit.neck_loss_w_per_k, fit.neck_loss_error),
        ("pot_loss_w_per_k", fit.pot_loss_w_per_k, np.nan),
        ("net_power_w", fit.net_power_w, np.nan),
        ("heat_share", fit.heat_share, fit.heat_share_error),
        ("lost", fit.value("lost"), fit.error("lost")),
    )
    return frame(
        {"name": name, "value": value, "standard_error": error, "unit": unit_of(name)}
        for name, value, error in rows
    )


def read_only(arrays: Iterable[NDArray[Any]]) -> None:
    """Hold arrays of a result against being written to."""
    for one in arrays:
        one.setflags(write=False)


# --- What results have in common: a picture, and how a notebook shows them.


class Shown:
    """A result that can be drawn, and that a notebook shows as a small table beside its picture."""

    def plot(self, ax: faces.Axes | None = None) -> faces.Axes:
        """Draw it.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure's, which a notebook shows, when left out.

        Returns
        -------
        matplotlib.axes.Axes
            The axes drawn on; colours are those of matplotlib's style.
        """
        return faces.plot_result(self, ax)

    def figure(self) -> faces.Figure:
        """Return the whole picture, ready to be saved."""
        return faces.figure_of_result(self)

    def _repr_html_(self) -> str:
        return faces.page_part(self)


class Line(Shown):
    """A result whose picture is a line over which others can be laid."""

    def plot(
        self,
        ax: faces.Axes | None = None,
        *,
        label: str | None = None,
        color: str | tuple[float, ...] | None = None,
    ) -> faces.Axes:
        """Draw the strength of the stream over what is collected.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure's, which a notebook shows, when left out.
        label : str, optional
            What the line is called beside others; the plan's title when left out.
        color : str or tuple, optional
            Colour of the line, as matplotlib takes it; the next of the style when left out.

        Returns
        -------
        matplotlib.axes.Axes
            The axes drawn on. A run alone on its axes, without label and colour, is drawn with its jars as
            slices; else as a line.
        """
        return faces.plot_result(self, ax, label, color)


# --- What came of a run in a dozen numbers, so that runs can stand side by side.


@dataclass(frozen=True)
class Outcome:
    """What came of a run; all volumes at 20 °C."""

    charge_l: float  # what was in the pot [L]
    charge_abv: float  # its strength [% vol]
    distillate_l: float  # all collected to the stop, heads included [L]
    distillate_abv: float  # its strength [% vol]
    recovered: float  # share of the charged alcohol in it, 0 to 1
    minutes: float  # from switch-on to the stop [min]
    boils_c: float  # where the charge boils [°C]
    vapour_c: float  # the vapour at the stop [°C]
    stop: str  # what ended the run: a key of the plan file, ``"min_level"`` or ``"exhausted"``
    keep_l: float  # the keep [L]
    keep_abv: float  # its strength [% vol]
    kept: float  # share of the charged alcohol in the keep, 0 to 1
    water_l: float | None  # water to bottling strength [L]; ``None`` if the plan names no strength
    bottled_l: float | None  # what it comes to [L]; ``None`` if the plan names no strength
    bottles: int | None  # full bottles; ``None`` if the plan names no bottle
    # distillate collected from where the stream may cloud [L]; ``None`` if it stays clear to the stop
    may_cloud_l: float | None
    # distillate collected when the stream clouds, by the middle estimate [L]; ``None`` if it stays clear
    clouds_l: float | None
    bottle_clouds: str | None  # the bottled spirit; ``None`` if none is bottled, or nothing in it can cloud


NOWHERE = (None, None, None, None)


@dataclass(frozen=True)
class Place:
    """Where one botanical comes over; all volumes pooled distillate at 20 °C."""

    botanical: str  # which
    klass: str  # when, see `potsim.planning.release`
    # 5, 50 and 95 % of what is over by the stop is over, and the stream holds most [L]; ``None`` for what
    # stays
    start_l: float | None
    half_l: float | None
    peak_l: float | None
    end_l: float | None
    gives_up: float  # share of its oil that is over by the stop, 0 to 1
    noticed: str  # in the bottle

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        told = plain(self)
        return {"botanical": told.pop("botanical"), "class": told.pop("klass"), **told}


NAMES = tuple(field.name for field in fields(Outcome))


def outcome(run: Run) -> Outcome:
    """Return what came of a run."""
    stop, made = run.stop, run.proofing
    alcohol = run.charge.ethanol_l
    return Outcome(
        charge_l=run.charge.volume_l,
        charge_abv=run.charge.abv,
        distillate_l=stop.collected_l,
        distillate_abv=stop.mean_abv,
        recovered=stop.recovered,
        minutes=stop.elapsed_min,
        boils_c=float(run.pot_c[0]),
        vapour_c=stop.vapour_c,
        stop=run.end.reason,
        keep_l=run.keep.volume_l,
        keep_abv=run.keep.abv,
        kept=run.keep.ethanol_l / alcohol if alcohol > 0.0 else 0.0,
        water_l=made.water_l if made else None,
        bottled_l=made.volume_l if made else None,
        bottles=made.bottles if made else None,
        may_cloud_l=None if run.cloud is None else run.cloud.may_cloud_l,
        clouds_l=None if run.cloud is None else run.cloud.clouds_l,
        bottle_clouds=run.cloud.verdict if run.cloud else None,
    )


def places(run: Run) -> tuple[Place, ...]:
    """Return where each botanical comes over, in the order of the bill."""
    found = []
    for one in sorted(run.flavours, key=lambda one: one.line):
        start, half, peak, end = one.passage or NOWHERE
        place = Place(one.botanical, one.klass, start, half, peak, end, one.gives_up.value, one.noticed)
        found.append(place)
    return tuple(found)


def particular(run: Run) -> tuple[Note, ...]:
    """What this run calls to heed, without what every run does."""
    return tuple(note for note in run.heed if note.kind != EVERY_RUN)


# --- A run as plain data for programs.


FORMAT = 0  # of what a run is as plain data


def document(run: Run) -> dict[str, Any]:
    """Return a run as plain data."""
    return {
        "potsim": __version__,
        "format": FORMAT,
        "plan": faces.tables_of(run.plan),
        "glass": plain(run.glass),
        "title": run.plan.title,
        "charge": {
            **_fields(run.charge, ("volume_l", "abv", "ethanol_l", "mass_kg")),
            "boiling_c": float(run.pot_c[0]),
        },
        **_fields(run, run.PLAIN),
        "curve": {name: getattr(run.profile, name).tolist() for name in quantities_of(run.course)},
        "stop": {
            "reason": run.end.reason,
            "words": run.end.words,
            **_fields(run.stop, quantities_of(run.course)),
        },
        "jars": _jars(run),
        "jar_notes": list(sentences(run.row.notes)),
        "beyond_jars": _fields(run.row.left_over, ("volume_l", "abv", "mass_g")),
        "at_stake": plain(run.row.at_stake),
        "working": plain(run.emptied),
        "cuts": plain(run.cuts),
        "cuts_add": {name: list(shares) for name, shares in run.added.items()},
        "heads": plain(run.heads),
        "keep": {
            **_fields(run.keep, ("volume_l", "abv", "ethanol_l", "mass_g")),
            "oil_mg_per_l": flavours.keep_mg_per_l(run),
            "jars": list(run.keep.jars),
        },
        "proofing": _proofing(run),
        "costs": plain(run.costs),
        "flavours": run.flavours.to_dict(),
        "base_spirit": [release.plain_compound(one) for one in run.flavours.base],
        "cloud": to_dict(run.cloud),
        "condenser_duty_w": run.condensing.duty_w,
        **({"lost_l": run.lost.volume_l} if run.setting.still.lost else {}),
        **({} if run.turn_off is None else {"turn_off": run.turn_off._asdict()}),
        "assumed": list(run.assumed),
        "cautions": list(run.cautions),
        "notes": plain_notes(run.notes),
    }


# What of a jar and of a proofing stands there as it is.
JAR = (
    *("number", "role", "size_l", "volume_l", "from_l", "to_l", "abv"),
    *("start_abv", "end_abv", "vapour_c", "full_min", "mass_g"),
)
PROOFING = (
    *("from_l", "from_abv", "target_abv", "water_l", "water_kg", "volume_l", "mass_kg"),
    *("bottles", "left_over_l", "at_c", "calibrated_c", "reading_abv"),
)


def _fields(of: Any, names: Iterable[str]) -> dict[str, Any]:
    return {name: getattr(of, name) for name in names}


def _jars(run: Run) -> list[dict[str, Any]]:
    oil = flavours.jars_mg_per_l(run).tolist()
    return [
        {
            **_fields(jar, JAR),
            "haze": haze,
            "oil_mg_per_l": mg,
            "leads": list(leads),
            "marks": list(marks),
        }
        for jar, haze, mg, leads, marks in zip(
            run.jars, run.hazy_jars, oil, run.flavours.leads, run.flavours.marks, strict=True
        )
    ]


def _proofing(run: Run) -> dict[str, Any] | None:
    made = run.proofing
    if made is None:
        return None
    found = run.cloud
    return {
        **_fields(made, PROOFING),
        "stretch": _stretch(run),
        "oil_mg_per_l": 0.0 if found is None else found.oil_mg_per_l,
    }


def _stretch(run: Run) -> dict[str, float] | None:
    by, both = run.plan.bottling.stretch, run.let_down
    if by is None:
        return None
    together = {"together_l": both.volume_l, "together_abv": both.abv}
    return {"spirit_l": by.spirit_l, "abv": by.abv, **together}
