"""A run under way or over, as the page shows it; and the table of all that the processes can be asked."""

from __future__ import annotations

import dataclasses
import functools
import time
import tomllib
from collections import OrderedDict
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from potsim.errors import PotsimError, RequestError
from potsim.interfaces import quantities
from potsim.interfaces.ownfile import NUMBERS, read_still, still_text
from potsim.interfaces.page import answers, told
from potsim.interfaces.page.answers import column, plan_of_run, run_of, shelf_at
from potsim.interfaces.page.shelf import Kept, merged, verdicts
from potsim.interfaces.planfile import tables_of
from potsim.interfaces.quantities import System
from potsim.interfaces.report import underway as words
from potsim.interfaces.wording import SYSTEMS, in_units, units_of
from potsim.planning.cloud import Glass
from potsim.planning.events import Clouded, Full, HoldUp, Read, Record, Start, Titled, Undo, Water
from potsim.planning.forecast import Band, Follower, Forecast
from potsim.planning.journal import Journal
from potsim.planning.learnt import check_reading, mark_of
from potsim.planning.learnt import learn as refine
from potsim.planning.next_trial import next_trial as follow
from potsim.planning.notes import sentences
from potsim.planning.plan import TABLES, Plan, Tasting
from potsim.planning.readings import next_reading
from potsim.planning.run import Run
from potsim.planning.trials import Trial
from potsim.planning.underway import Poured, UnderWay
from potsim.records import dataclass

STILL = TABLES["still"].keys
HELD = 16  # runs that are followed at a time
POINTS = 61
LOOK_S = 3.0  # in which the shelf is looked through before it answers with what it has
SEEN = 4000  # things on the shelf that are remembered


# What is followed -------------------------------------------------------------------------------------------


_UNDER_WAY: OrderedDict[tuple[str, str, int], UnderWay] = OrderedDict()
_SEEN: OrderedDict[tuple[str, str, int], dict[str, Any]] = OrderedDict()


def under_way(name: str, root: str) -> UnderWay:
    """Return a run with its forecast, the same as that of `potsim follow`; computed once for each event."""
    journal = shelf_at(root).journal(name)
    first = journal.records[0]  # two runs of one name, one after the other, are two
    key = (root, f"{name} {first.id} {first.at}", len(journal.records))
    if key not in _UNDER_WAY:
        run = _seen(run_of(plan_of_run(journal, root)), journal)
        still = run.setting.still
        fits = functools.partial(check_reading, run)
        journal.belongs_to(still.conditions.pressure_pa, still.parrot_l, fits)
        forecast = Follower(run, _held(journal)).update(journal.readings)
        _UNDER_WAY[key] = UnderWay(run, journal, forecast, off_before(run))
    _UNDER_WAY.move_to_end(key)
    while len(_UNDER_WAY) > HELD:
        _UNDER_WAY.popitem(last=False)
    return _UNDER_WAY[key]


def _seen(run: Run, journal: Journal) -> Run:
    """The run with the glass of it that hazed, if it can be of this keep: the next trial refuses another."""
    clouded: Clouded | None = journal.latest(Clouded)
    if clouded is None or clouded.abv is None or clouded.abv > run.let_down.abv:
        return run
    return dataclasses.replace(run, glass=Glass(clouded.abv, clouded.at_c))


def off_before(run: Run) -> float:
    """How long before the stop a plate is turned off [min]; 0 for what stops giving heat at once."""
    found = run.turn_off
    return 0.0 if found is None else run.stop.elapsed_min - found.elapsed_min


# What is shown ----------------------------------------------------------------------------------------------


def run(sent: dict[str, Any]) -> dict[str, Any]:
    """Return all that the page shows of a run."""
    name, root = str(sent["run"]), str(sent["root"])
    trouble = ""
    try:
        made = under_way(name, root)
    except RequestError as error:
        made, trouble = _as_planned(name, root), str(error)
    journal, planned = made.journal, made.run
    return {
        "id": name,
        "title": title_of(journal, planned.plan),
        "version": len(journal.records),
        "live": journal.heat_on is not None and journal.heat_off is None,
        "plan": tables_of(planned.plan),
        "units": units_of(planned.plan),
        "begun_ms": _ms(journal.records[0].at),
        "heat_ms": _ms(journal.heat_on),
        "off_ms": _ms(journal.heat_off),
        "first_drop_min": made.first_drop_min,
        "working": made.working_l is not None,
        "bottle_l": planned.plan.bottling.bottle_l,
        "target_abv": planned.plan.bottling.abv,
        "condenser_w": planned.condenser_w,
        "ticks": words.ticks(planned),
        "orders": [_order(order) for order in made.orders],
        "changes": [_order(order) for order in made.changes],
        "forecast": _forecast(made, trouble),
        "strip": strip(made),
        "lanes": answers.lanes(planned),
        "noted": noted(journal),
        "damaged": len(journal.damaged),
        "verdicts": {
            name: {"verdict": one.verdict, "words": one.words, "tasted_in": one.tasted_in}
            for name, one in verdicts(journal).items()
        },
        "botanicals": [dose["name"] for dose in answers.doses(planned)],
        "result": _result(journal),
        "pour": _pour(made, None),
    }


def _as_planned(name: str, root: str) -> UnderWay:
    """A run whose readings cannot be of it: the plan stands, and the page says so."""
    journal = shelf_at(root).journal(name)
    planned = run_of(plan_of_run(journal, root))
    return UnderWay(planned, journal, Follower(planned).update(()), off_before(planned))


def title_of(journal: Journal, plan: Plan) -> str:
    """Return what a run is called."""
    named: Titled | None = journal.latest(Titled)
    return plan.title if named is None else named.title


def _ms(at: datetime | None) -> int | None:
    return None if at is None else round(at.timestamp() * 1000.0)


def _order(order: Any) -> dict[str, Any]:
    return {
        "kind": order.kind,
        "jar": order.jar,
        "min": order.at_min,
        "l": order.collected_l,
    }


def _band(band: Band) -> dict[str, float]:
    return {name: getattr(band, name) for name in ("value", "low", "high")}


def _forecast(made: UnderWay, trouble: str) -> dict[str, Any]:
    forecast = made.forecast
    stop, litres = forecast.stop_min, forecast.stop_l
    bare = forecast.bare
    least = None
    if bare is not None:
        least = {
            "min": forecast.elapsed_min + bare.in_min,
            "l": forecast.collected_l + bare.in_l,
        }
    return {
        "of_version": len(made.journal.records),
        "readings": len(forecast.readings),
        "at_min": forecast.elapsed_min,
        "at_l": forecast.collected_l,
        "stop": {
            "min": made.stop_min,
            "low_min": stop.low,
            "high_min": stop.high,
            "l": made.end_l,
            "low_l": litres.low,
            "high_l": litres.high,
        },
        "stream_abv": _band(forecast.stream_abv),
        "mean_abv": _band(forecast.mean_abv),
        "why": words.why_forecast(forecast),
        "off_before_min": made.off_before_min,
        "least": least,
        "slower": words.pace(forecast),
        "trouble": trouble,
        "odd": list(sentences(forecast.odd)),
        "tells": list(sentences(forecast.verdicts)) if forecast.readings else [],
        "aside": [{"id": record.id, "message": error.message} for record, error in made.journal.aside],
        "abv_pm": 0.5 * (forecast.stream_abv.high - forecast.stream_abv.low),
    }


def strip(made: UnderWay) -> dict[str, Any]:
    """Return a run under way as a strip: what is over, what flows, what is to come."""
    forecast, planned = made.forecast, made.run
    end = max(made.end_l, 1e-6)
    places = np.linspace(0.0, end, POINTS)
    minutes = made.minutes(places)
    known = forecast.curve
    abv, low, high = (
        np.interp(places, known.collected_l, of)
        for of in (known.abv, known.low_abv, np.minimum(known.high_abv, 100.0))
    )
    marks, leads = planned.flavours.marks, planned.flavours.leads
    return {
        **answers.outline(end, made.jars),
        "curve": answers.curve(places, abv, minutes, made.vapour_k(places) - 273.15),
        "tail": None,
        "clouds_l": answers.clouds(planned),
        "band": {"l": column(places[::2], 4), "low": column(low[::2], 2), "high": column(high[::2], 2)},
        "readings": [
            {"id": one.id, "l": one.l, "abv": one.abv} for one in _read_off(made.journal, minutes, places)
        ],
        "jars": [
            {
                **answers.slice_of(jar),
                "leads": list(leads[min(jar.number, len(leads)) - 1]) if leads else [],
                "marks": list(marks[min(jar.number, len(marks)) - 1]) if marks else [],
                "state": jar.state,
                "word": jar.word,
                "abv_pm": jar.abv_pm,
                "measured_l": jar.volume_l if jar.state in ("over", "safe", "out") else None,
                "measured_abv": jar.abv if jar.measured else None,
                "fitted_abv": jar.fitted_abv,
            }
            for jar in made.jars
        ],
    }


@dataclass(frozen=True)
class _ReadOff:
    id: str
    l: float  # noqa: E741 - as the page calls it
    abv: float


def _read_off(journal: Journal, minutes: np.ndarray, places: np.ndarray) -> list[_ReadOff]:
    """Strengths read off, and where: those of jars in their middle, without a volume by their minute."""
    found = []
    for record in journal.standing:
        reading = journal.reading_of(record.id)
        if reading is None or reading.abv is None:
            continue
        end = reading.collected_l
        if end is None and reading.entry.of == "stream" and reading.entry.elapsed_min is not None:
            end = float(np.interp(reading.entry.elapsed_min, minutes, places))
        if end is not None:
            begin = end if reading.from_l is None else reading.from_l
            found.append(_ReadOff(record.id, 0.5 * (begin + end), reading.abv))
    return found


def noted(journal: Journal) -> list[dict[str, Any]]:
    """Return what was noted of a run, the newest last; what was taken back is struck."""
    standing = {record.id for record in journal.standing}
    found = []
    for record in journal.records:
        if isinstance(record.event, (Start, Undo)):
            continue
        found.append(
            {
                "id": record.id,
                "kind": record.event.kind,
                "at_ms": _ms(record.at),
                "min": _minute(journal, record),
                "device": record.device,
                "text": words.noted(record.event),
                "jar": getattr(record.event, "jar", None),
                "struck": record.id not in standing,
            }
        )
    return sorted(found, key=lambda one: one["at_ms"])


def _minute(journal: Journal, record: Record) -> float | None:
    """Minute of an event: as typed, else when it was told."""
    typed = record.event.entry.elapsed_min if isinstance(record.event, Read) else None
    return journal.minute(record.at) if typed is None else typed


def _result(journal: Journal) -> dict[str, Any]:
    clouded: Clouded | None = journal.latest(Clouded)
    held: HoldUp | None = journal.latest(HoldUp)
    return {
        "clouded_at": None if clouded is None else clouded.abv,
        "clouded_at_c": None if clouded is None else clouded.at_c,
        "hold_up_l": None if held is None else held.volume_l,
        "water_g": sum(event.mass_g for event in journal.all_of(Water)),
    }


# Pouring ----------------------------------------------------------------------------------------------------


def _pour(made: UnderWay, jars: Sequence[int] | None) -> dict[str, Any] | None:
    """Return jars poured together; ``None`` as long as there are none."""
    try:
        poured = made.pour(jars)
    except RequestError:
        if jars is not None:
            raise
        return None
    return plain_pour(poured)


def plain_pour(poured: Poured) -> dict[str, Any]:
    """Return what is poured together as plain data."""
    measured, water = poured.measured, poured.water_g
    first = None
    if water is not None:
        share = poured.first_g / water.value if water.value > 0.0 else 0.0
        low, high = share * water.low, share * water.high
        first = {
            "first_g": poured.first_g,
            "first_low_g": min(low, poured.first_g),
            "first_high_g": max(high, poured.first_g),
            "later_g": water.value - poured.first_g,
            "total_g": water.value,
            "low_g": water.low,
            "high_g": water.high,
            "in_g": poured.poured_g,
        }
    return {
        "jars": list(poured.jars),
        "pool": {
            "volume_l": poured.volume_l.value,
            "abv": poured.abv.value,
            "abv_pm": 0.5 * (poured.abv.high - poured.abv.low),
            "mass_g": poured.mass_g.value,
        },
        "jug": {"volume_l": poured.jug_l, "abv": poured.jug_abv},
        "measured": None
        if measured is None
        else {
            "mass_g": measured.mass_g,
            "volume_l": measured.volume_l,
            "abv": measured.read_abv,
            "at_c": measured.read_c,
        },
        "water": first,
        "volume_l": poured.end_l,
        "bottles": poured.bottles,
        "left_over_l": poured.left_over_l,
        "target_abv": poured.target_abv,
        "weak": poured.weak,
        "text": words.poured(poured),
    }


def pour(sent: dict[str, Any]) -> dict[str, Any]:
    """Return what some jars make, poured together."""
    jars = sent.get("jars")
    numbers = None
    if isinstance(jars, str) and jars:
        parts = jars.split(",")
        if not all(part.strip().isascii() and part.strip().isdecimal() and len(part) < 5 for part in parts):
            raise RequestError.of("no_jar_list", "jars", given=jars[:60])
        numbers = [int(part) for part in parts]
    made = _pour(under_way(str(sent["run"]), str(sent["root"])), numbers)
    if made is None:
        raise RequestError.of("no_jar_poured", "jars")
    return made


def fit(sent: dict[str, Any]) -> dict[str, Any]:
    """Return whether a reading fits the forecast, and what it would change."""
    made = under_way(str(sent["run"]), str(sent["root"]))
    thing = sent.get("thing")
    event = told.event_of(thing) if isinstance(thing, dict) else None
    if not isinstance(event, Read):
        raise RequestError.of("unknown_thing")
    journal, before = made.journal, made.forecast
    minute = event.entry.elapsed_min
    at = thing.get("at_ms") if isinstance(thing, dict) else None
    if minute is None and isinstance(at, (int, float)) and journal.heat_on is not None:
        minute = max(float(at) / 1000.0 - journal.heat_on.timestamp(), 0.0) / 60.0
    entry = dataclasses.replace(event.entry, elapsed_min=minute)
    readings = list(journal.readings)
    reading = next_reading(readings, entry, pressure_pa=journal.pressure_pa, parrot_l=journal.parrot_l)
    after = Follower(made.run, _held(journal)).update([*readings, reading])
    found: dict[str, Any] = {"fits": True, "text": "", "then": words.moved(before, after)}
    if reading.abv is not None and entry.of == "stream":
        found |= words.fits(reading.abv, _expected(before, made, reading.collected_l, minute))
    return found


def _held(journal: Journal) -> float | None:
    held: HoldUp | None = journal.latest(HoldUp)
    return None if held is None else held.volume_l


def _expected(before: Forecast, made: UnderWay, collected_l: float | None, minute: float | None) -> Band:
    """The strength that the forecast has where a reading was taken."""
    place = collected_l
    if place is None:
        place = before.collected_l if minute is None else made.collected_at(minute)
    curve = before.curve
    return Band(
        *(float(np.interp(place, curve.collected_l, v)) for v in (curve.abv, curve.low_abv, curve.high_abv))
    )


def next_trial(sent: dict[str, Any]) -> dict[str, Any]:
    """Return the trial that follows from the verdicts of a run, each change with its place in the plan."""
    root, name = str(sent["root"]), str(sent["run"])
    journal = shelf_at(root).journal(name)
    given = [
        Tasting(n.botanical, n.verdict, n.words, tasted_in=_jars(n.tasted_in))
        for n in verdicts(journal).values()
    ]
    if not any(note.verdict for note in given):
        raise RequestError.of("no_verdict_yet")
    plan = plan_of_run(journal, root)
    made = follow(Trial(name, plan, notes=tuple(given)))
    before, after = tables_of(plan), tables_of(made.plan)
    dropped = {change.line for change in made.changes if change.after is None}
    kept = [k for k in range(len(plan.botanicals)) if k not in dropped]
    return {
        "plan": after,
        "before": before,
        "changes": [
            {
                "path": f"botanical.{kept.index(change.line)}" if change.after is not None else None,
                "row": change.line,
                "botanical": change.label,
                "verdict": change.note.verdict,
                "words": change.note.words,
                "factor": change.factor,
                "before": _amount(before, change.line),
                "after": None if change.after is None else _amount(after, kept.index(change.line)),
            }
            for change in made.changes
        ],
        "advice": list(made.advice),
    }


def _jars(typed: str) -> tuple[int, ...]:
    return quantities.numbers(typed) if typed else ()


def _amount(tables: dict[str, Any], row: int) -> str:
    table = tables["botanical"][row]
    amount = table.get("amount") or table.get("mass")
    return str(amount) if amount is not None else f"{table.get('pieces')}"


def learn(sent: dict[str, Any]) -> dict[str, Any]:
    """Return the file of a still, refined by what a run told of it."""
    root, name, still = str(sent["root"]), str(sent["of"]), str(sent["id"])
    made = under_way(name, root)
    shelf = shelf_at(root)
    path = Path(root) / f"{shelf.checked(still)}.toml"
    before = read_still(path) if path.is_file() else None
    if before is not None and before.neck_w_per_k is None and before.heat_share is None:
        before = None
    readings = made.forecast.readings
    if not readings:
        raise RequestError.of("nothing_to_learn")
    refined = refine(made.forecast.fit, mark_of(made.run.plan.title, readings), before)
    text = _refined(shelf.text(still) if path.is_file() else "", still_text(refined, path.name))
    return {"id": still, "text": text, "notes": list(sentences(refined.notes))}


def _refined(before: str, after: str) -> str:
    """The file of a still with what it has learnt in it; its title and all else that it says stay."""
    known, new = tomllib.loads(before), tomllib.loads(after)
    still = {**known.get("still", {}), **new["still"]}
    return merged(before, {**known, "still": still, "learnt": new["learnt"]}) if before else after


# The shelf --------------------------------------------------------------------------------------------------


def shelf(sent: dict[str, Any]) -> dict[str, Any]:
    """Return all that is on the shelf, each with its figures and a strip in small.

    What takes long is computed for a few seconds at a time and kept; ``partial`` if some is still missing.
    """
    root = str(sent["root"])
    there = shelf_at(root)
    until = time.monotonic() + LOOK_S
    found: dict[str, Any] = {"stills": [], "plans": [], "runs": [], "partial": False}
    for kept in there.list():
        key = (root, kept.id, kept.changed_ms)
        shown = _SEEN.get(key)
        if shown is None:
            whole = time.monotonic() < until
            try:
                shown = _SHOWN[kept.kind](kept, root, whole)
            except (PotsimError, OSError) as error:
                shown = {"id": kept.id, "title": kept.id, "changed": kept.changed_ms}
                shown["refused"] = told.refused(error)
            if whole:
                _SEEN[key] = shown
            found["partial"] |= not whole
        found[f"{kept.kind}s"].append(shown)
    while len(_SEEN) > SEEN:
        _SEEN.popitem(last=False)
    return found


def _shown_plan(kept: Kept, root: str, full: bool) -> dict[str, Any]:
    tables = shelf_at(root).tables(kept.id)
    title = str(tables.get("title") or kept.id)
    shown = {"id": kept.id, "title": title, "changed": kept.changed_ms}
    return {**shown, **(answers.card(tables, root) if full else {"answer": None, "thumb": None})}


def _shown_still(kept: Kept, root: str, full: bool) -> dict[str, Any]:
    document = tomllib.loads(shelf_at(root).text(kept.id))
    still = document.get("still", {})
    learnt = document.get("learnt", {})
    known = [
        {"of": STILL[key].noun, "value": still.get(key), "error": learnt.get(f"{key}_error")}
        for key in NUMBERS
        if f"{key}_error" in learnt
    ]
    return {
        "id": kept.id,
        "title": str(document.get("title") or kept.id),
        "changed": kept.changed_ms,
        "still": still,
        "from_file": f"{kept.id}.toml",
        "learnt": known,
        "runs": len(learnt.get("runs", [])),
    }


def _shown_run(kept: Kept, root: str, full: bool) -> dict[str, Any]:
    journal = shelf_at(root).journal(kept.id)
    plan = plan_of_run(journal, root)
    on, off = journal.heat_on, journal.heat_off
    shown: dict[str, Any] = {
        "id": kept.id,
        "title": title_of(journal, plan),
        "begun": _ms(journal.records[0].at),
        "changed": kept.changed_ms,
        "heat": _ms(on),
        "live": on is not None and off is None,
        "ended": _ms(off),
        "readings": sum(isinstance(r.event, (Read, Full)) for r in journal.standing),
        "version": len(journal.records),
        "thumb": None,
    }
    if full and journal.readings:
        made = under_way(kept.id, root)
        shown["thumb"] = answers.thumb(strip(made))
        poured = _pour(made, None)
        if poured is not None:
            shown["answer"] = {key: poured["pool"][key] for key in ("volume_l", "abv")}
            shown["answer"] |= {"bottles": poured["bottles"], "units": units_of(plan)}
    elif full:
        shown["thumb"] = answers.card(tables_of(plan), root)["thumb"]
    return shown


_SHOWN = {"plan": _shown_plan, "still": _shown_still, "run": _shown_run}


def _in_its_units(task: answers.Task) -> answers.Task:
    """Tell what a task answers in the units chosen on the device that asked, else in those of the plan."""

    def told(sent: dict[str, Any]) -> Any:
        chosen = next((system for system in SYSTEMS if system == sent.get("units")), None)
        with in_units(chosen or _units(sent)):
            return task(sent)

    return told


def _units(sent: dict[str, Any]) -> System:
    """The units of the plan that is asked about, which is put in the place of its tables; else metric."""
    root, parts = str(sent.get("root")), sent.get("parts")
    if isinstance(sent.get("plan"), dict):
        sent["plan"] = answers.plan_from(sent["plan"], sent.get("root"))
        return units_of(sent["plan"])
    if isinstance(run := sent.get("run", sent.get("of")), str):
        return units_of(plan_of_run(run, root))
    if isinstance(parts, list) and parts and isinstance(parts[-1], dict):
        return units_of(answers.plan_of_part(parts[-1], root))
    return "metric"


TASKS: dict[str, Any] = {
    **{
        task.__name__: _in_its_units(task)
        for task in (
            *(answers.start, answers.classes, answers.answer, answers.beside, answers.sure, answers.reach),
            *(answers.compare, answers.blend, answers.opened, answers.sheet, answers.numbers),
            *(answers.saved, answers.begin, answers.plan, shelf, run, pour, fit, next_trial, learn),
        )
    },
    "refusal": answers.refusal,
}
"""What a process can be asked, by name."""
