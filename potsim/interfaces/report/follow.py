"""A forecast as a distiller wants to read it beside the still."""

from __future__ import annotations

from collections.abc import Sequence

from potsim.interfaces.report.cloud import watch_words
from potsim.interfaces.report.tables import Column, Facts, Part, Points, Section, Table, render
from potsim.interfaces.wording import (
    Step,
    as_planned,
    format_abv,
    format_minutes,
    format_volume,
    number,
    step_of,
    unit_of,
)
from potsim.planning.forecast import Band, FlavourNow, Forecast, JarNow, in_short
from potsim.planning.notes import sentences
from potsim.planning.readings import Reading

MODEL = (
    "The bands hold the truth nine times in ten where the still is as the model has it, and what was read is "
    "as good as half a per cent, 2 mL, half a degree and half a minute (common practice, no source)."
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
        ("collected", f"{collected} at minute {forecast.elapsed_min:.0f}, {_abv(forecast.mean_abv)} pooled"),
        ("stream", _abv(forecast.stream_abv)),
    ]
    if forecast.jar is not None:
        pairs.append((f"jar {forecast.jar.number}", _jar(forecast.jar)))
    if not forecast.over:
        pairs += [
            ("to come", f"{_volume(forecast.to_come_l)} at {_abv(forecast.to_come_abv)}"),
            ("in", f"{_minutes(forecast.to_come_min)}"),
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
                f"in {format_volume(forecast.bare.in_l)}, {forecast.bare.in_min:.0f} min: switch off before",
            )
        )
    return Section("Now, and still to come", (Facts(tuple(pairs)),))


def _volume(band: Band) -> str:
    return f"{format_volume(band.value)} ({format_volume(band.low)} to {format_volume(band.high)})"


def _abv(band: Band) -> str:
    return f"{format_abv(band.value)} ({band.low:.1f} to {band.high:.1f})"


def _minutes(band: Band) -> str:
    return f"{band.value:.0f} min ({band.low:.0f} to {band.high:.0f})"


def _jar(jar: JarNow) -> str:
    held = f"{format_volume(jar.holds_l)} at {format_abv(jar.abv)} in it" if jar.holds_l > 0.0 else "empty"
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
    places = [r.collected_l for r in forecast.readings if r.collected_l is not None]
    step = step_of("volume_column", max(places, default=0.0))
    columns = (
        Column("minute"),
        Column("collected", step.unit),
        Column("of", align="left"),
        Column("read", "% vol"),
        Column("at", unit_of("temperature")),
        Column("is", "% vol"),
        Column("fit", "% vol"),
        Column("vapour", unit_of("temperature")),
        Column("fit", unit_of("temperature")),
        Column("", align="left"),
    )
    rows = tuple(_row(forecast, k, one, step) for k, one in enumerate(forecast.readings))
    return (Section("Readings", (Table(columns, rows),)),)


def _row(forecast: Forecast, line: int, reading: Reading, step: Step) -> tuple[str, ...]:
    entry = reading.entry
    fits = {r.kind: r for r in forecast.fit.residuals if r.line == line}
    strength, vapour = fits.get("strength"), fits.get("vapour")
    place = reading.collected_l
    return (
        "" if entry.elapsed_min is None else f"{entry.elapsed_min:.0f}",
        _mass(reading) if place is None else number("volume_column", place, step),
        entry.of if reading.abv is not None else "",
        "" if entry.read_abv is None else f"{entry.read_abv:.1f}",
        "" if entry.read_c is None else number("temperature_about", entry.read_c),
        "" if reading.abv is None else f"{reading.abv:.1f}",
        "" if strength is None else f"{strength.fitted:.1f}",
        "" if entry.vapour_c is None else number("temperature", entry.vapour_c),
        "" if vapour is None else number("temperature", vapour.fitted - 273.15),
        "odd" if any(r.left_out for r in fits.values()) else "",
    )


def _mass(reading: Reading) -> str:
    return "" if reading.mass_g is None else f"{reading.mass_g:.0f} g"
