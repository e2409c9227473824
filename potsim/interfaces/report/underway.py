"""A plan in short, and a run under way: what is to come, what was noted, what is poured, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from potsim.interfaces.report import Facts, Part, Points, Section, Told, render, tabulate
from potsim.interfaces.report.flavours import watch_words
from potsim.interfaces.report.words import minute
from potsim.interfaces.wording import (
    Step,
    as_planned,
    counted,
    format_abv,
    format_mass,
    format_minutes,
    format_numbers,
    format_power,
    format_volume,
    in_column,
    number,
    pieces_of,
    say,
    step_of,
)
from potsim.liquid.compounds import ZERO_C_K
from potsim.planning.botanicals import ResolvedDose
from potsim.planning.events import (
    Bottled,
    Clouded,
    Event,
    Full,
    Heat,
    HoldUp,
    Measured,
    Pool,
    Read,
    Remark,
    Taste,
    Titled,
    Verdict,
    Volume,
    Water,
)
from potsim.planning.forecast import Band, FlavourNow, Forecast, JarNow, in_short
from potsim.planning.notes import sentences
from potsim.planning.plan import Ingredient, Plan
from potsim.planning.readings import Entry, Reading
from potsim.planning.run import Run
from potsim.planning.underway import Poured
from potsim.still.fit import Residual

GROUPS = {"": "Other"}


def why(run: Run) -> dict[str, Any]:
    """Say when and why a run stops; ``edge`` if that is not what was asked for."""
    asked = run.setting.stop.named
    text = f"Stops at {minute(run.stop.elapsed_min)}: {run.end.words}."
    return {"text": text, "strong": run.end.words, "edge": run.end.reason not in asked}


def why_forecast(forecast: Forecast) -> dict[str, Any]:
    """Say why a run under way will stop."""
    asked = forecast.run.setting.stop.named
    text = f"Stops when {forecast.stop_words}."
    return {"text": text, "strong": forecast.stop_words, "edge": forecast.stop_reason not in asked}


def then(run: Run) -> str:
    """Say what is done with the keep."""
    made = run.proofing
    if made is None:
        return ""
    water = f"{say('water', 1000.0 * made.water_kg)} of water to {format_abv(made.target_abv)}"
    over = f"; {format_volume(made.left_over_l)} left over" if made.bottles else ""
    return f"{water}{over}."


def rows(plan: Plan, run: Run) -> dict[str, str]:
    """Say each part of a plan on one line."""
    charge, still = run.charge, run.setting.still
    named = [part.name for part in plan.charge if not isinstance(part, Ingredient) or part.abv > 0.0]
    grams = sum(dose.wet_mass_g for dose in run.bill)
    jars = [f"{n} of {format_volume(size)}" for size, n in _counted([j.size_l for j in run.jars])]
    bottling = plan.bottling
    bottle = f"{format_volume(bottling.bottle_l)}, " if bottling.bottle_l is not None else ""
    return {
        "pot": f"{format_volume(charge.volume_l)}, {format_abv(charge.abv)}: {', '.join(named)}",
        "botanicals": f"{len(run.bill)}, {format_mass(grams)}" if run.bill else "none",
        "cuts": f"heads {format_volume(run.setting.heads_l)}, until {run.end.words}",
        "jars": ", ".join(jars),
        "bottle": "not let down" if bottling.abv is None else f"{bottle}{format_abv(bottling.abv)}",
        "still": f"{format_volume(still.capacity_l)}, "
        f"{format_power(still.on_plate_w(still.conditions.power_w))}",
    }


def _counted(sizes: Sequence[float]) -> list[tuple[float, int]]:
    found: dict[float, int] = {}
    for size in sizes:
        found[size] = found.get(size, 0) + 1
    return list(found.items())


def dose(one: ResolvedDose) -> str:
    """Say how much of a botanical goes in."""
    pieces = one.dose.pieces
    if pieces is not None:
        piece = one.botanical.piece_counted(one.dose.counted)
        return pieces_of(pieces, "piece" if piece is None else piece.name)
    return format_mass(one.dose.mass_g or one.wet_mass_g)


def noted(event: Event, jar: Any = None) -> str:
    """Say an event of a journal in a few words."""
    match event:
        case Heat(on=True):
            return "Heat on"
        case Heat():
            return "Heat off"
        case Full():
            held = "" if event.volume_l is None else f", {format_volume(event.volume_l)}"
            what = {True: "emptied into the keep", False: "left out", None: "full"}[event.kept]
            return f"Jar {event.jar} {what}{held}"
        case Volume():
            return f"Jar {event.jar} holds {format_volume(event.volume_l)}"
        case Taste():
            return f"Jar {event.jar}: {event.word}"
        case Read():
            return reading(event.entry, event.jar)
        case Pool():
            return f"Jars {format_numbers(event.jars)} poured together"
        case Measured():
            parts = [
                None if event.mass_g is None else format_mass(event.mass_g),
                None if event.volume_l is None else format_volume(event.volume_l),
                None if event.read_abv is None else format_abv(event.read_abv),
                None if event.read_c is None else say("temperature_short", event.read_c),
            ]
            return f"In the jug: {', '.join(p for p in parts if p)}"
        case Water():
            return f"{format_mass(event.mass_g)} of water poured in"
        case Bottled():
            return f"{counted(event.count, 'bottle')} filled"
        case Clouded():
            return "Did not cloud" if event.abv is None else f"Clouded at {format_abv(event.abv)}"
        case Verdict():
            return ": ".join(part for part in (event.botanical, event.verdict or "", event.words) if part)
        case HoldUp():
            held = "not known" if event.volume_l is None else format_volume(event.volume_l)
            return f"Condenser holds back: {held}"
        case Remark():
            return event.words
        case Titled():
            return f"Called {event.title}"
    return ""


def reading(entry: Entry, jar: int | None) -> str:
    """Say a reading in a few words."""
    at = "" if entry.read_c is None else f" at {say('temperature_short', entry.read_c)}"
    parts = [
        "" if jar is None else f"jar {jar}",
        "pooled" if entry.of == "pooled" else "",
        "" if entry.collected_l is None else format_volume(entry.collected_l),
        "" if entry.mass_g is None else format_mass(entry.mass_g),
        "" if entry.jar_l is None else format_volume(entry.jar_l),
        "" if entry.jar_g is None else format_mass(entry.jar_g),
        "" if entry.read_abv is None else f"{format_abv(entry.read_abv)}{at}",
        "" if entry.vapour_c is None else f"vapour {say('temperature_short', entry.vapour_c)}",
        "" if entry.pot_c is None else f"pot {say('temperature_short', entry.pot_c)}",
        "" if entry.power_w is None else format_power(entry.power_w),
        "hazy" if entry.hazy else "",
        entry.words,
    ]
    said = ", ".join(part for part in parts if part)
    return said[:1].upper() + said[1:]


def poured(made: Poured) -> str:
    """Say what to pour in, and what comes of it."""
    if made.target_abv is None or made.water_g is None:
        return f"{format_volume(made.jug_l)} at {format_abv(made.jug_abv)}."
    if made.weak:
        return (
            f"It has {format_abv(made.jug_abv)}: no water, it is weaker than {format_abv(made.target_abv)}."
        )
    bottles = "" if made.bottles is None else f", {counted(made.bottles, 'bottle')}"
    end = f"{format_volume(made.end_l)} at {format_abv(made.target_abv)}{bottles}"
    later = made.water_g.value - made.first_g
    if made.measured is None:
        return f"Measure the jug before the rest. Makes {end}."
    if later < 0.5:
        return f"Makes {end}."
    return f"Let it cool, read again. Some {say('water', later)} more makes {end}."


def band(of: Band) -> str:
    """Say a strength with its band."""
    return f"{in_column(of.value)} ± {number('abv_column', 0.5 * (of.high - of.low))}"


def fits(read_abv: float, expected: Band) -> dict[str, Any]:
    """Say whether a strength fits the forecast."""
    inside = expected.low - 0.5 <= read_abv <= expected.high + 0.5
    off = read_abv - expected.value
    if inside:
        return {"fits": True, "text": f"Fits the forecast, {band(expected)}."}
    side = "below" if off < 0.0 else "above"
    asked = "cold hydrometer, or typing?" if off < 0.0 else "warm hydrometer, or typing?"
    read, by = number("abv_column", read_abv), number("abv_difference", abs(off))
    return {"fits": False, "text": f"{read} is {by} {side} the forecast: {asked}"}


SAME_L = 1e-4  # a jar with so little in it is empty
SAME_MIN = 0.075  # a stop moved by less is the same


def moved(before: Forecast, after: Forecast) -> str:
    """Say what a reading does to the stop."""
    minutes = after.stop_min.value - before.stop_min.value
    place = f"at {format_volume(after.stop_l.value)}, {minute(after.stop_min.value)}"
    if abs(minutes) < SAME_MIN:
        return f"Stop as before, {place}."
    return (
        f"Stop then {say('minutes_short', abs(minutes))} {'sooner' if minutes < 0.0 else 'later'}, {place}."
    )


def pace(forecast: Forecast) -> str | None:
    """Say how much slower or faster than planned a run is; ``None`` where that is not told yet."""
    scale = forecast.fit.value("time_scale")
    off = say("share_about", abs(scale - 1.0))
    if forecast.fit.told("time_scale") < 0.2 or off == say("share_about", 0.0):
        return None
    return f"{off} {'slower' if scale > 1.0 else 'faster'} than planned"


TICKS = (
    ("cooling", "Cooling on", "It has to carry off up to {watts}."),
    ("outlet", "Outlet open", "Nothing may block the way of the vapour."),
    ("flame", "No flame near", "Spirit and its vapour catch fire."),
    ("stays", "Someone stays", "A still is never left alone."),
)


def ticks(run: Run) -> list[dict[str, str]]:
    """Say what is made sure of before the heat goes on."""
    watts = format_power(run.condenser_w)
    return [{"key": key, "label": label, "why": text.format(watts=watts)} for key, label, text in TICKS]


# --- A forecast as a distiller wants to read it beside the still.


MODEL = (
    "Bands hold nine times in ten where the still is as the model has it, and what was read is as good as "
    "half a per cent, 2 mL, half a degree and half a minute (common practice, no source)."
)


@as_planned
def text_of_forecast(forecast: Forecast, notes: Sequence[str] = ()) -> str:
    """Return a forecast as text of at most 80 columns."""
    return render(sections_of_forecast(forecast, notes))


def sections_of_forecast(forecast: Forecast, notes: Sequence[str] = ()) -> tuple[Section, ...]:
    """Return a forecast, section by section."""
    read = (Section("How it was read", (Points(tuple(notes)),)),) if notes else ()
    return (
        Section(forecast.run.plan.title, (*_odd(forecast), in_short(forecast))),
        now_section(forecast),
        *_flavours(forecast),
        *_readings(forecast),
        Section("This still", (Points((*sentences(forecast.verdicts), MODEL)),)),
        *read,
    )


def _odd(forecast: Forecast) -> tuple[Part, ...]:
    """Readings that are left out, before all else: what follows is without them."""
    return (Points(sentences(forecast.odd)),) if forecast.odd else ()


def now_section(forecast: Forecast) -> Section:
    """Return what is so now and what is still to come."""
    collected = format_volume(forecast.collected_l)
    pairs = [
        ("collected", f"{collected} at {minute(forecast.elapsed_min)}, {_abv(forecast.mean_abv)} pooled"),
        ("stream", _abv(forecast.stream_abv)),
    ]
    if forecast.jar is not None:
        pairs.append((f"jar {forecast.jar.number}", _jar(forecast.jar)))
    if not forecast.over:  # how much and how long is said above
        pairs += [
            ("to come", f"at {_abv(forecast.to_come_abv)}"),
            ("then", f"{_volume(forecast.stop_l)} collected at {_abv(forecast.stop_mean_abv)}"),
        ]
    if forecast.next_jar is not None:
        pairs.append(("next jar", _next(forecast.next_jar)))
    haze = watch_words(forecast.haze, forecast.collected_l, forecast.hazy_l)
    if haze:
        pairs.append(("haze", haze))
    if forecast.bare is not None:
        pairs.append(
            (
                "element bare",
                f"in {format_volume(forecast.bare.in_l)}, {say('minutes', forecast.bare.in_min)}: "
                "switch off before",
            )
        )
    return Section("Now, and still to come", (Facts(tuple(pairs)),))


def _volume(band: Band) -> str:
    return f"{format_volume(band.value)} ({format_volume(band.low)} to {format_volume(band.high)})"


def _abv(band: Band) -> str:
    return f"{format_abv(band.value)} ({in_column(band.low)} to {in_column(band.high)})"


def _jar(jar: JarNow) -> str:
    held = f"{format_volume(jar.holds_l)} at {format_abv(jar.abv)} in it" if jar.holds_l > SAME_L else "empty"
    return (
        f"{held}; takes {format_volume(jar.full_in_l)} more, {format_minutes(jar.full_in_min)}, then at "
        f"{format_abv(jar.full_abv)}"
    )


def _next(jar: JarNow) -> str:
    return f"{jar.number}, {format_volume(jar.size_l)}: comes out at {format_abv(jar.full_abv)}"


def _flavours(forecast: Forecast) -> tuple[Section, ...]:
    on, later = forecast.flavours_now, forecast.flavours_next
    if not on and not later:
        return ()
    parts: list[Part] = []
    if on:
        parts.append(f"On now: {_named(on)}.")
    if later:
        begins = ", ".join(f"{f.botanical} in {format_volume(f.from_in_l)}" for f in later)
        parts.append(f"Next: {begins}.")
    return (Section("Flavours, as planned", tuple(parts)),)


def _named(flavours: Sequence[FlavourNow]) -> str:
    return ", ".join(
        f"{f.botanical} ({'fades' if f.to_in_l <= 0.0 else 'for another ' + format_volume(f.to_in_l)})"
        for f in flavours
    )


def _readings(forecast: Forecast) -> tuple[Section, ...]:
    """Raw and corrected, beside the fit."""
    if not forecast.readings:
        return ()
    step = step_of("volume_column", max((r.collected_l or 0.0 for r in forecast.readings), default=0.0))
    fits = [{r.kind: r for r in forecast.fit.residuals if r.line == k} for k in range(len(forecast.readings))]
    table = tabulate(
        zip(forecast.readings, fits, strict=True),
        Told("minute", lambda row: row[0].entry.elapsed_min, "count"),
        Told("collected", lambda row: _place(row[0], step), "right", step.unit),
        Told("of", lambda row: row[0].entry.of if row[0].abv is not None else ""),
        Told("read", lambda row: row[0].entry.read_abv, "abv_column"),
        Told("at", lambda row: row[0].entry.read_c, "temperature_about"),
        Told("is", lambda row: row[0].abv, "abv_column"),
        Told("fit", lambda row: _fitted(row[1], "strength"), "abv_column"),
        Told("vapour", lambda row: row[0].entry.vapour_c, "temperature"),
        Told("fit", lambda row: _fitted(row[1], "vapour"), "temperature"),
        Told("", lambda row: "odd" if any(r.left_out for r in row[1].values()) else ""),
    )
    return (Section("Readings", (table,)),)


def _place(reading: Reading, step: Step) -> str:
    place = reading.collected_l
    return _mass(reading) if place is None else number("volume_column", place, step)


def _fitted(fits: Mapping[str, Residual], kind: str) -> float | None:
    """What fits a reading, in the unit that it was read in."""
    if kind not in fits:
        return None
    return fits[kind].fitted - (ZERO_C_K if kind == "vapour" else 0.0)


def _mass(reading: Reading) -> str:
    return "" if reading.mass_g is None else say("mass_about", reading.mass_g)
